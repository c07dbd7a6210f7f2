"""The step list and training sheet of a station, from the rows and sentences that the findings use."""

from __future__ import annotations

import json
import string
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from takeup.errors import NotPossible
from takeup.files.beside import write_bytes
from takeup.lab.places import station, stations
from takeup.lab.port import FILE_NAME, open_lab
from takeup.lab.wordings import keep_wording, wording
from takeup.media.sheet_pdf import Heading, Line, Pair, Part, Stepping, sheet_pdf
from takeup.pages.drawings import drawing
from takeup.pages.guide import Guide, Limit, Step, Stepped, Watched, carrier_name, guide_page
from takeup.settings import Settings
from takeup.tables.loader import load_rows
from takeup.tables.rows import Row, Rows
from takeup.words.sentences import LANGUAGES, load_sentences, say

MOST_STEPS = 40
OPEN = "…"  # stands where a sentence holds a time or a figure


def carriers_at(kind: str) -> list[str]:
    """The carriers that a station of this kind plays; none when no table knows the kind."""
    rows = load_rows()
    key = f"guides.stations.{kind}"
    return list(rows.value(key)) if key in rows else []


@cache
def first_steps(carrier: str, lang: str) -> tuple[Step, ...]:
    """The table's own steps, their figures filled in from the rows that the findings rest on."""
    rows = load_rows()
    key = f"guides.lists.{carrier}"
    return tuple(_step(name, rows, lang) for name in (rows.value(key) if key in rows else ()))


def _step(name: str, rows: Rows, lang: str) -> Step:
    about = rows.section(f"guides.steps.{name}")
    facts = {key.removeprefix("facts."): rows.value(row) for key, row in about.items() if key.startswith("facts.")}
    text = about[LANGUAGES[lang]].format(**facts)
    return Step(text=text, picture=about.get("picture", ""), caution=about.get("caution", ""))


def wording_key(station_id: str, carrier: str) -> str:
    """Under which key the lab keeps its own steps for a carrier at a machine."""
    return f"steps/{station_id}/{carrier}"


def steps_at(db: sa.Connection, station_id: str, carrier: str, lang: str) -> Stepped:
    """The steps in force at a station: the lab's own edition, else the table's."""
    kept = wording(db, wording_key(station_id, carrier), lang)
    if kept is None:
        return Stepped(carrier=carrier, steps=first_steps(carrier, lang))
    steps = tuple(Step(**{name: str(step.get(name, "")) for name in ("text", "picture", "caution")})
                  for step in json.loads(kept["body"]))  # fmt: skip
    return Stepped(carrier=carrier, steps=steps, edition=kept["edition"])


def keep_steps(
    db: sa.Connection, station_id: str, carrier: str, steps: Mapping[str, Sequence[Step]], after: Mapping[str, int],
    who: str,
) -> None:  # fmt: skip
    """Keep the lab's own steps in both languages as a new edition; earlier ones stay.

    Raises
    ------
    Stale
        When somebody kept another edition meanwhile.
    """
    for lang, listed in steps.items():
        body = [{"text": step.text, "picture": step.picture, "caution": step.caution} for step in listed]
        keep_wording(
            db, wording_key(station_id, carrier), lang, json.dumps(body, ensure_ascii=False), after=after[lang], who=who
        )  # fmt: skip


@cache
def watched_in(media: tuple[str, ...], lang: str) -> tuple[Watched, ...]:
    """What the judge may say of captures of these media, with the figures it rests on."""
    rows, found = load_rows(), []
    for medium in media:
        names = [name for name in rows.names("guides") if name.startswith(f"judged.{medium}.")]
        for name in names:
            about = rows.section(f"guides.{name}")
            found.append(
                Watched(
                    name=name.rsplit(".", 1)[-1],
                    told=tuple((_open(key, lang), _open(key, lang, do=True)) for key in about["says"]),
                    limits=tuple(limit for start in about["rows"] for limit in _limits(rows, start)),
                )
            )
    return tuple(found)


def _limits(rows: Rows, start: str) -> list[Limit]:
    found = [row for key, row in rows.items() if key.startswith(f"{start}.")]
    return [
        Limit(row=row.key.removeprefix(f"{start.split('.')[0]}."), value=_said(row), grade=row.grade, source=row.source)
        for row in found
    ]


def _said(row: Row) -> str:
    values = row.value if isinstance(row.value, list) else [row.value]
    return f"{', '.join(_figure(value) for value in values)} {row.unit}".strip()


def _figure(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, (int, float)) else str(value)


class _Open(string.Formatter):
    """Leaves the places of times and figures open."""

    def get_field(self, field_name: str, args: Any, kwargs: Any) -> tuple[str, str]:
        return OPEN, field_name

    def format_field(self, value: Any, format_spec: str) -> str:
        return OPEN


def _open(key: str, lang: str, *, do: bool = False) -> str:
    sentence = load_sentences("findings")[f"{key}.{'do.' if do else ''}{LANGUAGES[lang]}"]
    return _Open().vformat(sentence, (), {})


def guide_for(name: str, settings: Settings, lang: str, home: Path | None = None) -> Guide:
    """The guide of a station (its id in the lab's database), of a kind of station, or of one carrier.

    Raises
    ------
    NotPossible
        ``guide.no-station``: nothing is called so.
    """
    rows = load_rows()
    kinds = list(rows.section("guides.stations"))
    if name in kinds:
        return guide_of(say_kind(name, lang), carriers_at(name), lang, lab=settings.lab)
    if f"guides.lists.{name}" in rows:
        return guide_of(carrier_name(name, lang), [name], lang, lab=settings.lab)
    known: list[str] = []
    if home is not None and (settings.database or (home / FILE_NAME).is_file()):
        lab = open_lab(home, settings.database)
        try:
            with lab.reading() as db:
                if row := station(db, name):
                    return station_guide(db, row, lang, lab=settings.lab)
                known = [row["id"] for row in stations(db)]
        finally:
            lab.close()
    raise NotPossible(
        "guide.no-station", name=name, known=", ".join(dict.fromkeys([*known, *kinds, *rows.section("guides.lists")]))
    )


def station_guide(db: sa.Connection, row: Mapping[str, Any], lang: str, *, lab: str = "") -> Guide:
    """The guide of one of the lab's stations, with the lab's own steps."""
    lists = [steps_at(db, row["id"], carrier, lang) for carrier in carriers_at(row["kind"])]
    name = row["name_zh"] if lang == "zh-Hans" else row["name_en"]
    return _guide(name or row["id"], lists, lang, lab)


def guide_of(name: str, carriers: Sequence[str], lang: str, *, lab: str = "") -> Guide:
    """The guide of some carriers with the table's own steps."""
    lists = [Stepped(carrier=carrier, steps=first_steps(carrier, lang)) for carrier in carriers]
    return _guide(name, lists, lang, lab)


def _guide(name: str, lists: Sequence[Stepped], lang: str, lab: str) -> Guide:
    rows = load_rows()
    media = dict.fromkeys(rows.value(f"carriers.{one.carrier}.medium") for one in lists)
    return Guide(station=name, lang=lang, lists=tuple(lists), watched=watched_in(tuple(media), lang), lab=lab)


def say_kind(kind: str, lang: str) -> str:
    """What a kind of station is called."""
    return load_sentences("guide").get(f"kind.{kind}.{LANGUAGES[lang]}", kind)


def write_guide(guide: Guide, target: Path) -> Path:
    """Write the guide as a page (``.html``) or for printing (``.pdf``); whole or not at all.

    Raises
    ------
    NotPossible
        ``guide.unknown-ending``, or the disk's refusal.
    """
    ending = target.suffix.lower()
    if ending == ".html":
        write_bytes(target, guide_page(guide).encode())
    elif ending == ".pdf":
        write_bytes(target, _pdf(guide))
    else:
        raise NotPossible("guide.unknown-ending", path=str(target))
    return target


def told_caution(key: str, lang: str) -> str:
    """A caution with what it is about; nothing for none."""
    return f"{say('guide', f'mind.{key}', lang)} {say('cautions', key, lang)}" if key else ""


def _pdf(guide: Guide) -> bytes:
    parts: list[Part] = [Heading(text=guide.station, size=26.0), Line(text=guide.lab)]
    for at, one in enumerate(guide.lists):
        parts.append(Heading(text=carrier_name(one.carrier, guide.lang), fresh=at > 0))
        for number, step in enumerate(one.steps, 1):
            parts.append(
                Stepping(
                    number=number,
                    svg=drawing(step.picture) if step.picture else "",
                    text=step.text,
                    caution=told_caution(step.caution, guide.lang),
                )
            )
        parts.append(Line(text=say("guide", "call", guide.lang)))
    parts.append(Heading(text=say("guide", "training", guide.lang), fresh=True))
    parts.append(Line(text=say("guide", "training.why", guide.lang)))
    parts.append(Pair(left=say("guide", "heard", guide.lang), right=say("guide", "then", guide.lang)))
    for watched in guide.watched:
        parts += [Pair(left=why, right=do) for why, do in watched.told]
        if watched.limits:
            rests = "; ".join(
                f"{limit.row} {limit.value} ({say('guide', f'grade.{limit.grade}', guide.lang)})"
                for limit in watched.limits
            )
            parts.append(Line(text=f"{say('guide', 'rests', guide.lang)} {rests}", size=8.0))
    return sheet_pdf([part for part in parts if getattr(part, "text", " ")], title=guide.station, language=guide.lang)


def guide_answer(guide: Guide) -> dict[str, Any]:
    """``guide --json``."""
    return {
        "station": guide.station,
        "lang": guide.lang,
        "lists": [
            {
                "carrier": one.carrier,
                "edition": one.edition,
                "steps": [
                    {"text": step.text, "picture": step.picture or None, "caution": step.caution or None}
                    for step in one.steps
                ],
            }
            for one in guide.lists
        ],
        "noticed": [
            {
                "name": one.name,
                "told": [{"why": why, "do": do} for why, do in one.told],
                "rests_on": [
                    {"row": limit.row, "value": limit.value, "grade": limit.grade, "source": limit.source}
                    for limit in one.limits
                ],
            }
            for one in guide.watched
        ],
    }
