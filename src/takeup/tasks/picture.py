"""Draw a capture with its findings: SVG or PNG, by the ending of the name."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from takeup.errors import NotPossible, Unreadable
from takeup.files.beside import write_bytes
from takeup.media.excerpt import stills_at
from takeup.pages.capture import WORST, Place, capture_picture
from takeup.pages.kinds import kinds, more_of_a_kind
from takeup.streams import CaptureFile, Original, Report, Still
from takeup.tasks.reporting import sentences_of

OF_A_KIND = 2  # places of one kind that are told one by one
JUST_BEFORE_S = 0.2  # a place at the very end is seen in what came just before it
SHARP = 2.0  # a PNG has so many pixels to a unit of the drawing: crisp on a desk's screen and on paper


def draw(
    report: Report,
    original: Original,
    target: Path,
    lang: str,
    *,
    file: str = "",
    capture: CaptureFile | None = None,
    source: Path | None = None,
) -> Path:
    """Write the picture of a checked capture; whole or not at all.

    Parameters
    ----------
    target : Path
        Its name ends in ``.svg`` or ``.png``, whatever the case.
    file : str
        The capture's name, told in the picture.
    capture : CaptureFile or None
        What the file is; gives a scan its true size. Guessed from what lies on the glass when it is not given.
    source : Path or None
        The capture itself, where the worst places of moving pictures are to be seen beside their sentences.

    Raises
    ------
    NotPossible
        ``picture.unknown-ending``, or the disk's refusal.
    """
    ending = check_name(target)
    image = capture.image if capture is not None else None
    glass = (float(image.width), float(image.height)) if image is not None else None
    places = places_of(report, lang)
    if source is not None and report.medium in ("video", "film"):
        places = seen(places, source)
    svg = capture_picture(report, original, places, lang, file=file, glass=glass)
    write_bytes(target, svg.encode() if ending == ".svg" else as_png(svg))
    return target


def seen(places: list[Place], source: Path) -> list[Place]:
    """The gravest places with a small picture of each; a place without a picture stays one of words."""
    found = []
    for at, place in enumerate(places):
        stills: tuple[Still, ...] = ()
        if at < WORST and place.verdict != "good" and place.from_s is not None:
            with suppress(Unreadable):
                stills = stills_at(source, [place.from_s]) or stills_at(
                    source, [max(0.0, place.from_s - JUST_BEFORE_S)]
                )
        found.append(replace(place, still=stills[0]) if stills else place)
    return found


def check_name(target: Path) -> str:
    """The ending of a picture's name; asked before a long check begins.

    Raises
    ------
    NotPossible
        ``picture.unknown-ending``
    """
    ending = target.suffix.lower()
    if ending not in (".svg", ".png"):
        raise NotPossible("picture.unknown-ending", path=str(target))
    return ending


def places_of(report: Report, lang: str) -> list[Place]:
    """What was noticed, in words: the gravest first, then in the order of time; the same sentence once.

    Of many findings of one kind (dropouts) those that there is most of are told, and that there are more.
    """
    order = ("redo", "look", "good")
    findings = sorted(report.findings, key=lambda finding: (order.index(finding.verdict), finding.from_s or 0.0))
    once = {sentences_of(finding, lang)[0]: finding for finding in reversed(findings)}  # the first of each is kept
    sentences, findings = list(reversed(once)), list(reversed(once.values()))
    places = []
    for kind in kinds(findings, most=OF_A_KIND):
        told = [
            Place(verdict=findings[at].verdict, sentence=sentences[at], from_s=findings[at].from_s) for at in kind.told
        ]
        if kind.rest:
            more = more_of_a_kind([findings[at].from_s or 0.0 for at in kind.rest], lang)
            told[-1] = replace(told[-1], more=more)
        places += told
    return sorted(places, key=lambda place: (order.index(place.verdict), place.from_s or 0.0))


def as_png(svg: str) -> bytes:
    """The drawing in pixels, its words in letters that came along: a computer need not have Han letters of its own."""
    import pylopdf_fonts_zh_cn as letters
    import pyvips

    for path in (letters.sans_path(), letters.serif_path()):
        pyvips.Image.text("a", fontfile=str(path))  # makes the font known to all that is drawn after it

    return (
        pyvips.Image.svgload_buffer(svg.encode(), scale=SHARP).flatten(background=[255]).pngsave_buffer(compression=7)
    )
