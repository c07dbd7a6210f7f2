"""Judges what single lines show: sideways shaking, streaks, torn bands, colour beside its picture, lost height."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from takeup.judge.video_streaks import judge_streaks
from takeup.measure.video.whole import Pictures
from takeup.streams import Finding, Measured, PictureStream
from takeup.tables.rows import Rows


def judge_lines(pictures: Pictures, stream: PictureStream, rows: Rows) -> list[Finding]:
    """Jitter that a line-correcting player takes away and bands that the tracking control mends (``redo``); streaks and
    colour delay (``look``); pictures that the capture program halved (``redo``)."""
    return [
        *_jitter(pictures, rows),
        *judge_streaks(pictures, rows),
        *_tracking(pictures, rows),
        *_colour(pictures, rows),
        *_half_height(pictures, rows),
    ]


def measures_of_lines(pictures: Pictures, stream: PictureStream) -> dict[str, Measured]:
    """What single lines tell: jitter, colour delay, head switching, noise, dropouts."""
    found = pictures.lines.sampled
    minutes = pictures.recorded * pictures.picture_s / 60
    if not pictures.recorded:
        units = {"line_jitter": "px", "chroma_delay": "px", "head_switch_lines": "lines", "picture_snr": "dB",
                 "dropouts": "per minute"}  # fmt: skip
        return {name: Measured(value=None, unit=unit, why="video.nothing-recorded") for name, unit in units.items()}
    after = {"after": stream.codec} if stream.lossy else {}
    at_least = after | {"at_least": True} if pictures.predicted else {}  # such codecs smooth a tenth or two of it away
    down = found.colour_down_lines
    number = len(pictures.lines.streaks)
    dropouts = Measured(value=round(number / minutes, 3), unit="per minute", extra={"streaks": number})
    return {
        "line_jitter": _known(found.jitter_px, 3, "px", "video.too-soft", at_least),
        "chroma_delay": _known(
            found.colour_delay_px,
            2,
            "px",
            "video.no-colour-edges",
            {"down": None if down is None else round(down, 2), "down_unit": "lines of one field"},
        ),
        "head_switch_lines": _known(found.head_switch_lines, 0, "lines", "video.no-left-edge"),
        "picture_snr": _snr(found.snr_db, pictures.predicted, after),
        "dropouts": dropouts
        if pictures.lines.looked
        else Measured(value=None, unit="per minute", why="video.not-a-tapes-lines"),
    }


def _snr(snr_db: float | None, predicted: bool, after: dict[str, Any]) -> Measured:
    """Codecs that predict pictures take away 2 to 10 dB of a tape's noise: what is left is a bound and no value."""
    if snr_db is None or not predicted:
        return _known(snr_db, 2, "dB", "video.no-even-area", after)
    extra = after | {"at_most": round(snr_db, 2)}
    return Measured(value=None, unit="dB", why="video.noise-coded-away", extra=extra)


def _known(value: float | None, places: int, unit: str, why: str, extra: Mapping[str, Any] | None = None) -> Measured:
    if value is None:
        return Measured(value=None, unit=unit, why=why, extra=extra or {})
    return Measured(value=round(float(value), places) if places else int(value), unit=unit, extra=extra or {})


def _jitter(pictures: Pictures, rows: Rows) -> list[Finding]:
    shaken = pictures.lines.sampled.jitter_px
    if shaken is None or shaken <= rows.value("video.jitter.look_px"):
        return []
    redo = shaken > rows.value("video.jitter.redo_px")
    return [
        Finding(
            name="jitter",
            verdict="redo" if redo else "look",
            again="may help",
            value=round(shaken, 2),
            unit="px",
            rows=("video.jitter.redo_px" if redo else "video.jitter.look_px",),
        )
    ]


def _stretches(pictures: Pictures, numbers: list[int], join_s: float) -> list[tuple[int, int, int]]:
    """Pictures that lie no further apart than ``join_s`` made one stretch: (first, last, how many)."""
    found: list[tuple[int, int, int]] = []
    for number in numbers:
        if found and pictures.at_s[number] - pictures.at_s[found[-1][1]] <= join_s:
            found[-1] = (found[-1][0], number, found[-1][2] + 1)
        else:
            found.append((number, number, 1))
    return found


def _tracking(pictures: Pictures, rows: Rows) -> list[Finding]:
    """Bands of noise that stay for a while: the tracking control, or a head that runs beside its track."""
    findings = []
    numbers = [number for number, _ in pictures.lines.bands]
    high = dict(pictures.lines.bands)
    for first, last, count in _stretches(pictures, numbers, rows.value("video.tracking.join_s")):
        from_s, to_s = float(pictures.at_s[first]), float(pictures.at_s[last]) + pictures.picture_s
        if to_s - from_s < rows.value("video.tracking.least_s") or count < rows.value("video.tracking.least_pictures"):
            continue
        lines = max(torn.end - torn.first for number, torn in high.items() if first <= number <= last)
        findings.append(band(from_s, to_s, lines))
    return findings


def band(from_s: float, to_s: float, lines: int) -> Finding:
    """A band of noise that lay over the picture from and to [s], so many lines of a field high."""
    return Finding(
        name="tracking",
        verdict="redo",
        again="helps",
        from_s=round(from_s, 3),
        to_s=round(to_s, 3),
        value=lines,
        unit="lines of a field",
        facts={"lines": lines},
        rows=("video.tracking.least_s", "video.tracking.least_lines", "video.tracking.rough"),
    )


def _colour(pictures: Pictures, rows: Rows) -> list[Finding]:
    delay = pictures.lines.sampled.colour_delay_px
    if delay is None or abs(delay) <= rows.value("video.chroma.look_px"):
        return []
    return [
        Finding(
            name="chroma_delay",
            verdict="look",
            again="may help",
            value=round(delay, 1),
            unit="px",
            facts={"px": abs(delay), "right": delay > 0},
            rows=("video.chroma.look_px",),
        )
    ]


def _half_height(pictures: Pictures, rows: Rows) -> list[Finding]:
    half = pictures.lines.sampled.half_height
    if half is None:
        return []
    return [
        Finding(
            name="half_height",
            verdict="redo",
            again="helps",
            says=f"half_height.{half}",
            rows=("video.half_height.alike", "video.half_height.joined"),
        )
    ]
