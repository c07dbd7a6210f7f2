"""What a scan shows of its own machine: streaks and lines while it passes by a second time, specks and rings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from takeup.judge.scan_machine import Machine
from takeup.measure.scan import rings, scan_lines, specks, streaks
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.lid_only import lid_only
from takeup.measure.scan.windows import Place, Window
from takeup.tables.rows import Rows

DUSTY = ("print", "film")


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineLook:
    """The folds over the whole scan, and the places that are wanted."""

    first: FirstLook
    family: str
    lines: scan_lines.ScanLinesState
    streaks: streaks.StreaksState | None
    places: tuple[Place, ...] = ()


def machine_begin(first: FirstLook, family: str) -> MachineLook:
    """Start: where lid is, and which pictures are looked at for dust."""
    lid = lid_only(first)
    places = tuple(specks.dust_places(first)) if family in DUSTY else ()
    return MachineLook(
        first=first, family=family, lines=scan_lines.begin(lid, first.full_scale),
        streaks=None if lid is None else streaks.begin(lid, first.full_scale), places=places,
    )  # fmt: skip


def machine_step(look: MachineLook, strip: np.ndarray) -> MachineLook:
    """Take the next rows of the scan."""
    return replace(
        look,
        lines=scan_lines.step(look.lines, strip),
        streaks=None if look.streaks is None else streaks.step(look.streaks, strip),
    )


def machine_finish(look: MachineLook, kept: Mapping[str, Sequence[Window]], rows: Rows) -> Machine:
    """What was measured of the machine while the scan passed by, and of dust in the places kept."""
    first, family = look.first, look.family
    known = rows.section("scan.streaks")
    found = None
    if look.streaks is not None:
        found = streaks.finish(
            look.streaks, certain=known["certain"], least_levels=known["least"], least_seen=known["seen"]
        )
    return Machine(
        lid=look.streaks is not None,
        streaks=found,
        lines=scan_lines.finish(look.lines, most=rows.value("scan.lines.most")),
        dust=specks.specks(kept.get(specks.DUST, ()), first.full_scale, dark_only=family == "film"),
    )


def machine_marks(first: FirstLook, family: str) -> tuple[tuple[rings.Rings, ...], tuple[specks.Spot, ...]]:
    """What the miniature alone shows: rings, and marks on glass and lid."""
    return rings.rings(first) if family in DUSTY else (), specks.spots(first)


def with_marks(machine: Machine, told: tuple[rings.Rings, ...], spots: tuple[specks.Spot, ...]) -> Machine:
    """All that was measured of the machine."""
    return replace(machine, rings=told, spots=spots)
