"""The step list and training sheet of a station, to print and to hang up. Pure: steps and findings in, HTML out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from takeup.pages.drawings import drawing
from takeup.pages.signs import sign
from takeup.words.sentences import say

TEMPLATES = Path(__file__).parent / "templates"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing to do. ``picture``: the name of a drawing, or empty; ``caution``: a key of ``words/cautions``."""

    text: str
    picture: str = ""
    caution: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stepped:
    """The steps for one carrier. ``edition``: 0 while the lab has written none of its own."""

    carrier: str
    steps: tuple[Step, ...]
    edition: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A row that a finding rests on, as a person reads it."""

    row: str
    value: str
    grade: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Watched:
    """One finding of the judge: the sentences it may say, what to do then, the rows it rests on."""

    name: str
    told: tuple[tuple[str, str], ...]  # (what is heard or seen, what to do)
    limits: tuple[Limit, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """All that is printed for one station in one language."""

    station: str  # its name
    lang: str
    lists: tuple[Stepped, ...]
    watched: tuple[Watched, ...]
    lab: str = ""


def guide_page(guide: Guide) -> str:
    """A page that stands alone: style, drawings and words in one file."""
    style = (TEMPLATES / "guide_alone.css").read_text("utf-8") + guide_style()
    return _room().get_template("guide.html").render(
        guide=guide, lang=guide.lang, style=Markup(style), body=guide_body(guide)
    )  # fmt: skip


def guide_style() -> str:
    """The style of the lists and sheets, wherever they stand."""
    return (TEMPLATES / "guide.css").read_text("utf-8")


def guide_body(guide: Guide) -> Markup:
    """What stands between head and foot of the page; the desk lays it into a page of its own."""
    return Markup(_room().get_template("guide_body.html").render(guide=guide, lang=guide.lang))


def carrier_name(carrier: str, lang: str) -> str:
    """``an audio cassette`` as a heading: ``Audio cassette``."""
    words = say("terms", f"carrier.{carrier}", lang)
    for article in ("an ", "a "):
        words = words.removeprefix(article)
    return words[:1].upper() + words[1:]


def cautions_of(steps: Sequence[Step], lang: str) -> list[str]:
    """The cautions that these steps name, each once."""
    return [say("cautions", key, lang) for key in dict.fromkeys(step.caution for step in steps if step.caution)]


@cache
def _room() -> Environment:
    room = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    room.globals |= {
        "say": lambda key, lang, **facts: say("guide", key, lang, facts),
        "drawn": lambda name: Markup(drawing(name)) if name else Markup(""),
        "carrier_name": carrier_name,
        "cautions_of": cautions_of,
        "caution": lambda key, lang: say("cautions", key, lang),
        "sign": sign,
    }
    return room
