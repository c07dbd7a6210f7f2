"""Judges what single lines show: sideways shaking, streaks, colour that lies beside its picture."""

from __future__ import annotations

from takeup.measure.video.whole import Pictures
from takeup.streams import Finding
from takeup.tables.rows import Rows


def judge_lines(pictures: Pictures, rows: Rows) -> list[Finding]:
    """Jitter that a line-correcting player would take away (``redo``, once), many dropouts, colour delay (``look``)."""
    return [*_jitter(pictures, rows), *_dropouts(pictures, rows), *_colour(pictures, rows)]


def _jitter(pictures: Pictures, rows: Rows) -> list[Finding]:
    shaken = pictures.sampled.jitter_px
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


def _dropouts(pictures: Pictures, rows: Rows) -> list[Finding]:
    minutes = max(pictures.recorded * pictures.picture_s / 60, 1e-9)
    often = pictures.dropouts / minutes
    if pictures.dropouts < rows.value("video.dropout.least") or often < rows.value("video.dropout.look_per_minute"):
        return []
    return [
        Finding(
            name="dropout",
            verdict="look",
            again="may help",
            value=round(often, 1),
            unit="per minute",
            facts={"streaks": pictures.dropouts},
            rows=("video.dropout.look_per_minute", "video.dropout.least"),
        )
    ]


def _colour(pictures: Pictures, rows: Rows) -> list[Finding]:
    delay = pictures.sampled.colour_delay_px
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
