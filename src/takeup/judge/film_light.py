"""Judges the light of a film scan: exposure cut off by the scanner, and flicker."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Literal

import numpy as np

from takeup.measure.film.exposure import Clipped, Exposure
from takeup.measure.film.occupied import Occupied
from takeup.streams import Finding
from takeup.tables.rows import Rows

Name = Literal["over_exposed", "under_exposed"]


def judge_exposure(
    exposure: Exposure, occupied: Occupied, second: Callable[[int], float], rate: float, rows: Rows
) -> list[Finding]:
    """Over and under exposure.

    ``redo`` where the scanner did it: most of the film is cut off (its setting), or one view is cut off here and
    whole beside it (its automatic). A single bright or dark scene may be the film's own: ``look``.
    """
    return [
        *_judge("over_exposed", exposure.high, exposure.over, "film.exposure.over_share", occupied, second, rate, rows),
        *_judge(
            "under_exposed", exposure.low, exposure.under, "film.exposure.under_share", occupied, second, rate, rows
        ),
    ]


def _judge(
    name: Name,
    share: np.ndarray,
    found: Sequence[Clipped],
    limit: str,
    occupied: Occupied,
    second: Callable[[int], float],
    rate: float,
    rows: Rows,
) -> list[Finding]:
    counted = occupied.pictures
    level = rows.value("film.exposure.whole_level") if name == "over_exposed" else rows.value(limit)
    if counted.any() and (share[counted] >= level).mean() >= rows.value("film.exposure.whole_share"):
        mean = float(share[counted].mean())
        rests = ("film.exposure.whole_share", "film.exposure.whole_level" if name == "over_exposed" else limit)
        return [
            Finding(
                name=name,
                verdict="redo",
                again="helps",
                says=f"{name}.whole",
                value=_per_cent(mean),
                unit="%",
                rows=rests,
            )
        ]
    findings = []
    for one in _merged(found, rows.value("film.exposure.merge_s") * rate):
        pumped = ("film.exposure.pump_gain", "film.exposure.pump_share")
        findings.append(
            Finding(
                name=name,
                verdict="redo" if one.pumps else "look",
                again="may help",
                says=f"{name}.pumps" if one.pumps else name,
                from_s=second(one.first),
                to_s=second(one.last + 1),
                value=_per_cent(one.share),
                unit="%",
                rows=pumped if one.pumps else (limit,),
            )
        )
    return findings


def _merged(found: Sequence[Clipped], gap: float) -> list[Clipped]:
    """Neighbouring stretches of one kind as one."""
    merged: list[Clipped] = []
    for one in found:
        last = merged[-1] if merged else None
        if last is not None and last.pumps == one.pumps and one.first - last.last <= gap:
            share = max(last.share, one.share)
            merged[-1] = Clipped(first=last.first, last=one.last, pumps=one.pumps, share=share)
        else:
            merged.append(one)
    return merged


def _per_cent(share: float) -> float:
    return round(100 * share, 1)


def judge_flicker(flicker: float | None, rows: Rows) -> list[Finding]:
    """Quick changes of brightness: the scanner's lamp or automatic, or the film's own."""
    if flicker is None or flicker < rows.value("film.flicker.look_share"):
        return []
    return [
        Finding(
            name="flicker",
            verdict="look",
            again="may help",
            value=round(100 * flicker, 2),
            unit="%",
            rows=("film.flicker.look_share",),
        )
    ]
