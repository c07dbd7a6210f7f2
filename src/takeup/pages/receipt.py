"""The printable slip of a delivery: what was copied to a drive and read back from it. Pure: facts in, HTML out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from markupsafe import Markup, escape

from takeup.pages.letter import both, day, environment, in_both
from takeup.words.sentences import LANGUAGES, say

HOWS = ("direct", "uncached", "dropped", "memory")  # ways of reading back that have words of their own


def receipt_page(facts: Mapping[str, Any], lang: str) -> str:
    """The slip as a page of its own, in both languages, opening in ``lang``.

    Parameters
    ----------
    facts : mapping
        ``box``, ``date`` (ISO 8601, a day or a moment with its zone), ``drive``, ``folder``, ``files``, ``bytes``,
        ``algorithm`` or ``algorithms``, ``how`` (a key of ``files.fresh.HOWS``, or a sentence), ``manifest_sha256``,
        ``receipt`` (its number), ``contents`` (``path``, ``bytes``, ``sha256``). What is not there is left out.
    lang : str
        ``en`` or ``zh-Hans``.
    """
    algorithm = str(facts.get("algorithm") or next(iter(facts.get("algorithms") or ()), "sha256"))
    return (
        environment()
        .get_template("receipt.html")
        .render(
            lang=lang,
            rows=rows_of(facts, algorithm),
            contents=list(facts.get("contents") or ()),
            algorithm=algorithm,
            box=str(facts.get("box") or ""),
        )
    )


def rows_of(facts: Mapping[str, Any], algorithm: str) -> list[tuple[Markup, Markup]]:
    """The slip's lines: what, and the figure; large first, what only a check needs last."""
    rows = [("box", plain(facts.get("box"))), ("date", moment(str(facts.get("date") or "")))]
    rows += [("drive", plain(facts.get("drive"))), ("folder", plain(facts.get("folder")))]
    rows += [("files", plain(facts.get("files"))), ("bytes", amount(facts.get("bytes")))]
    rows += [("how", how(facts.get("how"))), ("algorithm", plain(algorithm.upper().replace("SHA", "SHA-")))]
    rows += [("manifest", digest(facts.get("manifest_sha256"))), ("receipt", plain(facts.get("receipt")))]
    return [(both(f"slip.{name}"), value) for name, value in rows if value]


def plain(value: Any) -> Markup:
    """A fact as text, its direction its own."""
    return Markup(f"<bdi>{escape(value)}</bdi>") if value not in (None, "") else Markup("")


def moment(date: str) -> Markup:
    """A day, and the time of day where it is known; a moment with its zone is told in the time of this place."""
    if not date:
        return Markup("")
    if len(date) > 10:
        at = datetime.fromisoformat(date)
        date = (at.astimezone() if at.tzinfo else at).isoformat()
    time = f" {date[11:16]}" if len(date) > 10 else ""
    return in_both({lang: text + time for lang, text in day(date).items()})


def amount(count: Any) -> Markup:
    """Bytes in both ways: as drives are sold, and exactly."""
    return both("slip.bytes-are", bytes=count, exact=f"{count:,}") if isinstance(count, int) else Markup("")


def how(told: Any) -> Markup:
    """How the bytes were read back: past the computer's own memory, or not, and that is said."""
    if isinstance(told, Mapping):
        return in_both({lang: str(told[lang]) for lang in LANGUAGES if lang in told})
    if told in HOWS:
        return in_both({lang: say("letter", f"slip.how-{told}", lang) for lang in LANGUAGES})
    return plain(told)


def digest(text: Any) -> Markup:
    """A long fingerprint in groups of eight, so that two people can read it to each other."""
    groups = [str(text or "")[at : at + 8] for at in range(0, len(str(text or "")), 8)]
    return Markup(f'<span class="digest">{escape(" ".join(groups))}</span>') if groups else Markup("")
