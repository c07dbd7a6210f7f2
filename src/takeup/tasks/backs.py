"""Proposes which pictures of an original are backs, and of which front: never more than a proposal."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pyvips

from takeup.box.folder import Box
from takeup.errors import TakeupError
from takeup.measure.scan.pairs import Pair, Side, is_back, pair_sides, tones_of
from takeup.measure.scan.same_print import straight
from takeup.media.probe import look_at
from takeup.media.still import OpenStill
from takeup.tasks.arrange import Arrangement, arrangement_of
from takeup.tasks.remembered import candidates_of

MM_PER_INCH = 25.4
LOOK_PX, CUT_PX = 1600, 320
NEIGHBOURS = 12  # scans before and after one that are looked through: a back follows its front


def proposed_backs(box: Box, item: str, stored: str) -> tuple[Pair, ...]:
    """Backs and fronts on one scan and the scans about it, by the ids of their pictures; none where nobody could say.

    What a person has set already is left out, as a front and as a back.
    """
    sides: list[Side] = []
    known: set[str] = set()
    captures = candidates_of(box, item)
    here = next((n for n, capture in enumerate(captures) if capture.stored == stored), 0)
    for scan, capture in enumerate(captures):
        if abs(scan - here) > NEIGHBOURS:
            continue
        try:
            stands = arrangement_of(box, item, capture.stored)
            sides += list(_sides(box, stands, scan))
        except TakeupError:
            continue  # a scan that cannot be opened has its own report
        known |= {one.back_of for one in stands.standing if one.back_of}
        known |= {stands.names[one.number] for one in stands.standing if one.back_of}
    return tuple(pair for pair in pair_sides(sides) if not {pair.front, pair.back} & known)


def _sides(box: Box, stands: Arrangement, scan: int) -> Iterator[Side]:
    path = box.path(stands.stored)
    still = OpenStill(path, look_at(path))
    across, down = still.image.ppi_stated, still.image.ppi_y_stated or still.image.ppi_stated
    if not across or not down or not stands.standing:
        return
    small = _small(still)
    times = small.shape[1] / still.width
    for one in stands.standing:
        corners = np.asarray(one.corners) * MM_PER_INCH / np.array([across, down])
        size = np.hypot(*(corners[1] - corners[0])), np.hypot(*(corners[3] - corners[0]))
        cut = straight(small, tuple((x * times, y * times) for x, y in one.corners), CUT_PX)
        cut = cut if cut.ndim == 3 else cut[..., None]
        if min(cut.shape[:2]) < 32:
            continue
        yield Side(
            name=stands.names[one.number], size_mm=(float(size[0]), float(size[1])), scan=scan,
            place_mm=(float(corners[:, 0].mean()), float(corners[:, 1].mean())), back=is_back(cut), tones=tones_of(cut),
        )  # fmt: skip


def _small(still: OpenStill) -> np.ndarray:
    image: pyvips.Image = still.vips()
    image = (image / 257).cast("uchar") if image.format == "ushort" else image
    small = image.thumbnail_image(LOOK_PX, height=LOOK_PX, size="down", no_rotate=True).numpy()
    return small if small.ndim == 3 else small[..., None]
