"""A box's captures as people look at them: what was found, in words, where it is, its picture, what was decided."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from markupsafe import escape

from takeup.box.deciding import Decision
from takeup.box.folder import Box, look_into
from takeup.media.excerpt import stills_at
from takeup.media.probe import look_at
from takeup.pages import bed, thread
from takeup.pages.capture import SANS
from takeup.pages.figures import figures_of
from takeup.pages.kinds import kinds
from takeup.pages.over_time import GUTTER, has_history, over_time
from takeup.pages.signs import CARD, FOCUS, INK
from takeup.pages.written import text_at
from takeup.plan.chaptering import stretches_proposed
from takeup.settings import Settings
from takeup.streams import Finding, Original, Report, Still, Verdict
from takeup.tables.loader import load_rows
from takeup.tasks.chapters import Chapter, chapters_of
from takeup.tasks.check import medium_of
from takeup.tasks.judging import decisions_on
from takeup.tasks.remembered import candidates_of
from takeup.tasks.reporting import sentences_of

ORDER: tuple[Verdict, ...] = ("redo", "look", "good")
OF_A_KIND = 3  # places of one kind that are told one by one
MOST_REST = 40  # further places of a kind that can be played
STILLS = 12  # along the thread of moving pictures
WIDE, HIGH = 1120, 120  # of the drawn thread [units]
ROOM = 26  # under it, for what was described


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One place: what is there, what to do now, and where others of its kind are [s]."""

    verdict: Verdict
    sentence: str
    do: str
    from_s: float | None
    to_s: float | None
    area: tuple[float, float, float, float] | None
    rest_s: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One capture. ``report`` is None while nobody checked it; ``verdict`` is the report's own, before any decision."""

    number: int  # in the order the box took them, from 1
    original: Original
    stored: str
    part: str
    sha256: str
    path: Path
    medium: str
    report: Report | None
    repeats: str  # stored path of the earlier try of the same stretch
    decided: tuple[Decision, ...]
    chapters: tuple[Chapter, ...]

    @property
    def name(self) -> str:
        return self.stored.rsplit("/", 1)[-1]

    @property
    def decision(self) -> Decision | None:
        """What stands decided of it; None where nobody did, or it was taken back."""
        last = self.decided[-1] if self.decided else None
        return last if last is not None and last.said and last.sha256 == self.sha256 else None

    @property
    def version(self) -> int:
        return self.decided[-1].seq if self.decided else 0

    @property
    def proposed(self) -> list[tuple[float, float]]:
        """Recordings that were measured on it, while nobody has described a stretch of it [s]."""
        found = self.report.measures.get("recordings") if self.report is not None else None
        if found is None or self.chapters or not found.extra.get("programme"):
            return []
        return stretches_proposed(found.extra["from_s"], found.extra["programme"][1])


def looks(folder: Path, settings: Settings) -> list[Look]:
    """All captures of a box, in the order it took them."""
    box = look_into(folder, settings)
    rows = load_rows()
    originals = {original.id: original for original in box.originals()}
    numbers = {fact.key: at for at, fact in enumerate(box.record.latest("taken"), 1)}
    found = []
    for item, original in originals.items():
        for one in candidates_of(box, item):
            found.append(
                Look(
                    number=numbers[one.stored], original=original, stored=one.stored, part=one.part, sha256=one.sha256,
                    path=box.path(one.stored), medium=medium_of(original.carrier, rows), report=one.report,
                    repeats=one.repeats, decided=tuple(decisions_on(box, item, one.stored)),
                    chapters=tuple(chapters_of(box, item, one.stored)),
                )
            )  # fmt: skip
    return sorted(found, key=lambda look: look.number)


def seen_in(report: Report, lang: str) -> list[Seen]:
    """What was noticed, the gravest first, then in the order of time; of many of a kind the chief ones."""
    findings = sorted(report.findings, key=lambda one: (ORDER.index(one.verdict), one.from_s or 0.0))
    seen = []
    for kind in kinds(findings, most=OF_A_KIND):
        told = [_seen(findings[at], lang) for at in kind.told]
        rest = tuple(
            sorted({round(findings[at].from_s or 0.0, 1) for at in kind.rest if findings[at].from_s is not None})
        )
        if rest:
            told[-1] = replace(told[-1], rest_s=rest[:MOST_REST])
        seen += told
    once = {(one.sentence, one.from_s): one for one in seen}
    return sorted(once.values(), key=lambda one: (ORDER.index(one.verdict), one.from_s or 0.0))


def _seen(finding: Finding, lang: str) -> Seen:
    sentence, do = sentences_of(finding, lang)
    return Seen(
        verdict=finding.verdict, sentence=sentence, do=do, from_s=finding.from_s, to_s=finding.to_s, area=finding.area
    )


def figures(report: Report, lang: str) -> list[tuple[str, str]]:
    """What was measured, for who asks."""
    return figures_of(report, lang)


def thread_picture(look: Look, lang: str) -> str:
    """The whole of a sound, tape or film as one thread, as an SVG that stands alone; chapters as numbers under it."""
    assert look.report is not None
    stills = _stills(look) if look.report.medium in ("video", "film") else ()
    high = HIGH
    if stills:
        high = round(WIDE / len(stills) * stills[0].height / stills[0].width) + 40
    size = thread.Size(width=WIDE, height=high)
    inside = thread.parts([look.report], size=size, stills=stills, langs=(lang,))
    below = high + 32
    inside += _marks(look.chapters, look.report.seconds or 0.0, below)
    return _framed(inside, (-12, -6, WIDE + 24, below + (ROOM if look.chapters else 4)), lang)


def _stills(look: Look) -> tuple[Still, ...]:
    seconds = (look.report.seconds if look.report else None) or 0.0
    times = [seconds * (at + 0.5) / STILLS for at in range(STILLS)]
    return stills_at(look.path, times) if look.path.is_file() and seconds else ()


def _marks(chapters: Sequence[Chapter], seconds: float, y: float) -> str:
    """Where each described stretch runs, numbered as the list beside the picture."""
    lines = []
    for at, one in enumerate(chapters, 1):
        if seconds <= 0:
            continue
        left, right = (min(1.0, edge / seconds) * WIDE for edge in (one.from_s, one.to_s))
        lines.append(
            f'<path d="M{left:.1f} {y - 6:g}v10H{right:.1f}v-10" fill="none" stroke="{FOCUS}" stroke-width="2.5"/>'
        )
        lines.append(text_at((left + right) / 2, y + 20, str(at), 15, colour=INK, anchor="middle", halo=True))
    return "".join(lines)


def bed_picture(look: Look, glass: Path | None, size: tuple[int, int], names: Sequence[str], lang: str) -> str:
    """The glass in miniature, each picture's outline with its label, findings where they are."""
    assert look.report is not None
    still = Still(at_s=0.0, jpeg=glass.read_bytes(), width=1, height=1) if glass else None
    width = min(WIDE, round(WIDE * size[0] / size[1]))
    inside = bed.parts(look.report, glass=(float(size[0]), float(size[1])), still=still, labels=names, width=width)
    return _framed(inside, (0, 0, width, round(width * size[1] / size[0])), lang)


def history_picture(look: Look, lang: str) -> str:
    """Levels, noise and tones over the time, for who asks; empty where the medium has none."""
    if look.report is None or not has_history(look.report):
        return ""
    drawn = over_time(look.report, width=WIDE, langs=(lang,))
    return _framed(drawn.parts, (-GUTTER, 0, WIDE + GUTTER + 8, drawn.height), lang)


def _framed(inside: str, box: tuple[float, float, float, float], lang: str) -> str:
    x, y, wide, high = box
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{x:g} {y:g} {wide:g} {high:g}" width="{wide:g}" '
        f'height="{high:g}" lang="{lang}" font-family="{escape(SANS)}">'
        f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" fill="{CARD}"/>{inside}</svg>\n'
    )


def size_of(look: Look) -> tuple[int, int] | None:
    """A scan's size [px]."""
    image = look_at(look.path).image if look.path.is_file() else None
    return (image.width, image.height) if image else None


def box_at(folder: Path, settings: Settings) -> Box:
    """The box, to be read."""
    return look_into(folder, settings)
