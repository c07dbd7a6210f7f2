"""Judges a film scan: measures and rows in, figures and findings out. Reads no file.

``redo`` is kept for what a second scan can mend: exposure that the scanner cut off, a scan stopped too soon, a part
left on the card. What the film brings with it is ``look`` at most (decisions 0020 to 0023).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

import numpy as np

from takeup.judge.film_light import judge_exposure, judge_flicker
from takeup.measure.film.exposure import Exposure
from takeup.measure.film.occupied import Occupied
from takeup.measure.film.rhythm import Rhythm
from takeup.plan.film_time import Decided, feet_of, pictures_in, screen_time
from takeup.streams import CaptureFile, Finding, Measured, Original
from takeup.tables.rows import Rows

GoesOn = Literal["yes", "maybe", "no"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Film:
    """All that is known of a film scan when it has been read.

    ``frames_at`` file frame of each picture; ``goes_on``: whether the recording continues in a file of the next
    number; ``cut_at_limit``: the file ends just under a size that cards and recorders break files at.
    """

    capture: CaptureFile
    original: Original
    file_rate: Fraction
    decided: Decided
    rhythm: Rhythm
    occupied: Occupied
    exposure: Exposure
    flicker: float | None
    frames_at: np.ndarray
    goes_on: GoesOn = "no"
    is_part: bool = False
    cut_at_limit: bool = False
    broken: str | None = None

    @property
    def frames(self) -> int:
        return len(self.rhythm.new)

    def second(self, picture: int) -> float:
        """When a picture comes in the file. [s]"""
        at = int(self.frames_at[picture]) if picture < len(self.frames_at) else self.frames
        return round(float(at / self.file_rate), 3)


def judge_film(film: Film, rows: Rows) -> tuple[dict[str, Measured], list[Finding]]:
    """The contract's film measures and the findings of one scan."""
    findings = [
        *_judge_repeats(film, rows),
        *_judge_blank(film, rows),
        *judge_exposure(film.exposure, film.occupied, film.second, float(film.decided.rate), rows),
        *judge_flicker(film.flicker, rows),
        *_judge_end(film, rows),
    ]
    return measures_of(film, rows), findings


LATER = {"weave": "px", "dust": "specks per picture", "fade": "share", "sharpness": "cycles per pixel"}


def measures_of(film: Film, rows: Rows) -> dict[str, Measured]:
    """Every film measure of the contract, with its value or why it has none."""
    rhythm, carrier = film.rhythm, film.original.carrier
    pairs: Mapping[str, Any] = {
        "kept": [list(pair) for pair in rhythm.kept],
        "undetermined": [list(pair) for pair in rhythm.undetermined],
    }
    if rhythm.share is None:
        picture_rate = Measured(value=None, unit="1/s", why="film.no-pattern", extra=pairs)
    else:
        more = {"slips": list(rhythm.slips), "share": str(rhythm.share)}
        rate = _figure(film.file_rate * rhythm.share)
        picture_rate = Measured(value=rate, unit="1/s", extra={**pairs, **more})
    true = screen_time(rhythm.pictures, film.decided.rate)
    with_picture = int(film.occupied.pictures.sum())
    leader = film.occupied.head + film.occupied.tail
    return {
        "file_rate": Measured(value=_figure(film.file_rate), unit="1/s", extra={"exact": str(film.file_rate)}),
        "picture_rate": picture_rate,
        "pictures": Measured(value=rhythm.pictures, unit="pictures"),
        "true_seconds": Measured(
            value=round(float(true), 6),
            unit="s",
            extra={"rate": str(film.decided.rate), "decided_by": film.decided.by},
        ),
        "feet": Measured(
            value=round(feet_of(with_picture, carrier, rows), 3),
            unit="ft",
            extra={"leader_feet": round(feet_of(leader, carrier, rows), 3)},
        ),
        "flicker": Measured(value=None, unit="%", why="film.too-short")
        if film.flicker is None
        else Measured(value=round(100 * film.flicker, 3), unit="%"),
        **{name: Measured(value=None, unit=unit, why="later") for name, unit in LATER.items()},
    }


def _figure(rate: Fraction) -> float | int:
    return int(rate) if rate.denominator == 1 else round(float(rate), 6)


def _judge_repeats(film: Film, rows: Rows) -> list[Finding]:
    rhythm = film.rhythm
    if not rhythm.repeats:
        return []
    facts = {
        "count": rhythm.repeats,
        "pictures": rhythm.pictures,
        "file_rate": _figure(film.file_rate),
        "picture_rate": _figure(film.file_rate * rhythm.share) if rhythm.share is not None else None,
    }
    if rhythm.share is None:
        says, rests, again = "repeated_pictures.odd", "film.repeats.odd_share", "may help"
    elif rhythm.share != 1:
        says, rests, again = "repeated_pictures.pattern", "film.repeats.odds", "no"
    else:
        says, rests, again = "repeated_pictures.few", "film.repeats.odd_dip", "may help"
    return [
        Finding(
            name="repeated_pictures",
            verdict="look",
            again=again,  # type: ignore[arg-type]
            says=says,
            value=rhythm.repeats,
            unit="frames",
            facts=facts,
            rows=(rests,),
        )
    ]


def _judge_blank(film: Film, rows: Rows) -> list[Finding]:
    if not film.occupied.pictures.any():
        return [
            Finding(
                name="blank",
                verdict="redo",
                again="may help",
                says="blank.whole",
                value=len(film.occupied.pictures),
                unit="pictures",
                rows=("film.plain.span",),
            )
        ]
    return [
        Finding(
            name="blank",
            verdict="look",
            again="no",
            from_s=film.second(first),
            to_s=film.second(last + 1),
            value=last - first + 1,
            unit="pictures",
            rows=("film.plain.span", "film.plain.least_blank_s"),
        )
        for first, last in film.occupied.blank
    ]


def _judge_end(film: Film, rows: Rows) -> list[Finding]:
    """A file that breaks off, a part left on the card, a film cut in mid scene, a reel not scanned to its end."""
    whole = film.second(len(film.frames_at))
    if film.broken or film.capture.unclosed or _short_of_its_header(film, rows):
        facts = {"error": film.broken or ""}
        return [_end("ends_early.film-broken", "redo", "helps", whole, ("film.ending.missing_pictures",), facts)]
    if film.cut_at_limit and film.goes_on == "no":
        return [
            Finding(
                name="part_missing",
                verdict="redo",
                again="helps",
                from_s=whole,
                to_s=whole,
                value=film.capture.bytes,
                unit="bytes",
                rows=("film.ending.limits_bytes", "film.ending.near_limit_bytes"),
            )
        ]
    if film.goes_on == "yes" or not film.occupied.pictures.any():
        return []
    runs_out = film.occupied.tail >= rows.value("film.ending.tail")
    expected = _expected(film, rows)
    if runs_out:
        if expected is None or film.rhythm.pictures >= expected:
            return []
        return [_end("ends_early.film-short", "look", "may help", whole, _FEET, _lengths(film, expected, rows))]
    if expected is not None and film.rhythm.pictures >= expected:
        return []
    if film.goes_on == "maybe":
        return [_end("ends_early.film-goes-on", "look", "no", whole, ("film.ending.tail",), {})]
    if expected is not None:
        return [_end("ends_early.film-both", "redo", "helps", whole, _FEET, _lengths(film, expected, rows))]
    return [_end("ends_early.mid-scene", "look", "may help", whole, ("film.ending.tail",), {})]


def _short_of_its_header(film: Film, rows: Rows) -> bool:
    """Whether fewer frames came than the header counts: a cut AVI simply stops, without a fault to be seen."""
    stated = film.capture.picture.pictures_stated if film.capture.picture else None
    return stated is not None and film.frames < stated - rows.value("film.ending.missing_pictures")


_FEET = ("film.ending.short_share", "film.ending.leader_feet", "film.ending.tail")


def _expected(film: Film, rows: Rows) -> int | None:
    """Pictures that a scan of the whole reel must hold at least; None where the reel's length is not known."""
    feet = film.original.feet
    if not feet or film.is_part:
        return None
    less = rows.value("film.ending.leader_feet")
    return round(
        pictures_in(max(0.0, feet - less), film.original.carrier, rows) * rows.value("film.ending.short_share")
    )


def _lengths(film: Film, expected: int, rows: Rows) -> dict[str, Any]:
    return {
        "pictures": film.rhythm.pictures,
        "expected": expected,
        "feet": film.original.feet,
        "scanned_feet": round(feet_of(film.rhythm.pictures, film.original.carrier, rows), 1),
    }


def _end(says: str, verdict: Any, again: Any, at_s: float, rests: tuple[str, ...], facts: dict[str, Any]) -> Finding:
    return Finding(
        name="ends_early",
        verdict=verdict,
        again=again,
        says=says,
        from_s=at_s,
        to_s=at_s,
        value=facts.get("pictures"),
        unit="pictures" if "pictures" in facts else None,
        facts=facts,
        rows=rests,
    )
