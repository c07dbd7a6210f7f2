"""Draw a capture with its findings: SVG or PNG, by the ending of the name."""

from __future__ import annotations

from pathlib import Path

from takeup.errors import NotPossible
from takeup.files.beside import write_bytes
from takeup.pages.capture import Place, capture_picture
from takeup.streams import CaptureFile, Finding, Original, Report
from takeup.tasks.reporting import sentences_of

SHARP = 2.0  # a PNG has so many pixels to a unit of the drawing: crisp on a desk's screen and on paper


def draw(
    report: Report, original: Original, target: Path, lang: str, *, file: str = "", capture: CaptureFile | None = None
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

    Raises
    ------
    NotPossible
        ``picture.unknown-ending``, or the disk's refusal.
    """
    ending = check_name(target)
    image = capture.image if capture is not None else None
    glass = (float(image.width), float(image.height)) if image is not None else None
    svg = capture_picture(report, original, places_of(report, lang), lang, file=file, glass=glass)
    write_bytes(target, svg.encode() if ending == ".svg" else as_png(svg))
    return target


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
    """What was noticed, in words: the gravest first, then in the order of time; the same sentence once."""
    order = ("redo", "look", "good")
    findings = sorted(report.findings, key=lambda finding: (order.index(finding.verdict), finding.from_s or 0.0))
    places: dict[str, Place] = {}
    for finding in findings:
        sentence = _sentence(finding, lang)
        places.setdefault(sentence, Place(verdict=finding.verdict, sentence=sentence, from_s=finding.from_s))
    return list(places.values())


def _sentence(finding: Finding, lang: str) -> str:
    return sentences_of(finding, lang)[0]


def as_png(svg: str) -> bytes:
    """The drawing in pixels."""
    import pyvips

    return (
        pyvips.Image.svgload_buffer(svg.encode(), scale=SHARP).flatten(background=[255]).pngsave_buffer(compression=7)
    )
