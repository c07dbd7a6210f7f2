"""Pages of a box that show their other side, told by laying neighbours over each other in a mirror."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from takeup.errors import Unreadable
from takeup.judge.scan_reading import both_sides_finding
from takeup.measure.scan.ghost_text import GAMMA, LEAST_SHARE, pale_share
from takeup.measure.scan.show_through import find_ghost
from takeup.media.still import read_miniature
from takeup.plan.leaf_sides import may_be_one_leaf
from takeup.streams import Finding, StillImage
from takeup.tables.rows import Rows

if TYPE_CHECKING:
    from takeup.tasks.check import Checked

LONG_PX = 1100


def ghosts_between(results: Sequence[Checked], rows: Rows) -> Iterator[tuple[Finding, tuple[Path, ...]]]:
    """Each leaf both of whose sides were scanned one after the other and show through."""
    pages = [one for one in results if one.report is not None]
    told: set[Path] = set()
    opened = lru_cache(maxsize=3)(_opened)
    for one, other in zip(pages, pages[1:]):
        if one.path in told or not may_be_one_leaf(one.original, _image(one), other.original, _image(other)):
            continue
        try:
            front, back = opened(one.path), opened(other.path)
        except Unreadable:
            continue
        if max(front[1], back[1]) < LEAST_SHARE:
            continue
        finding = both_sides_finding(_shown(front[0], back[0]), (one.path.name, other.path.name), rows)
        if finding is not None:
            told.add(other.path)
            yield finding, (one.path, other.path)


def _image(checked: Checked) -> StillImage | None:
    return checked.capture.image if checked.capture is not None else None


def _opened(path: Path) -> tuple[np.ndarray, float]:
    """Light of a page in miniature, and how much of it is pale."""
    grey = read_miniature(path, LONG_PX)
    return (grey.astype(np.float32) / 255) ** GAMMA, pale_share(grey)


def _shown(front: np.ndarray, back: np.ndarray) -> float:
    """Share of the back's ink that shows on the front: turned over along its side, or head to foot."""
    found = [find_ghost(front, np.ascontiguousarray(turned)) for turned in (back[:, ::-1], back[::-1])]
    best = max(found, key=lambda ghost: ghost.clear)
    return 0.0 if best.why else best.share
