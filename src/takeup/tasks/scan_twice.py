"""The same print scanned twice, found across all scans of a box, picture by picture; and which scan of it is better."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from takeup.errors import Unreadable
from takeup.judge.scan import FAMILY
from takeup.judge.scan_twice import Scanned, better_of, twice_finding
from takeup.measure.scan.miniature import Miniature
from takeup.measure.scan.pictures import Pictures
from takeup.measure.scan.same_print import LONG_PX, SIDE, alike_pairs, same_print, small_square, straight
from takeup.media.still import read_miniature
from takeup.streams import Finding, Report
from takeup.tables.rows import Rows

if TYPE_CHECKING:
    from takeup.tasks.check import Checked

MOST_PX = 4000  # long side of a bed at which its prints are cut for comparing
Corners = tuple[tuple[float, float], ...]


def squares_of(small: Miniature, pictures: Pictures | None, family: str) -> bytes:
    """What is remembered of each picture of a scan, one after the other; nothing of pages, which are compared whole."""
    if pictures is None or family not in ("print", "film"):
        return b""
    grey = small.pixels[..., 0] if small.pixels.shape[2] == 1 else cv2.cvtColor(small.pixels, cv2.COLOR_RGB2GRAY)
    cuts = [[(x / small.block, y / small.block) for x, y in one.corners] for one in pictures.prints]
    return b"".join(small_square(straight(grey, tuple(cut), 4 * SIDE)) for cut in cuts)


@dataclass(frozen=True, slots=True)
class _Picture:
    """One picture of one scan."""

    scan: int
    number: int  # from 0
    corners: Corners
    framed: bool


def print_duplicates(
    results: Sequence[Checked], rows: Rows, *, apart: Callable[[Checked, Checked], bool]
) -> list[tuple[Finding, tuple[Path, ...]]]:
    """Pairs of scans that show the same prints, the later first.

    Parameters
    ----------
    apart : callable
        Whether two captures are of different stretches: tries of one are no duplicates.
    """
    stacks = {n: _stack(one) for n, one in enumerate(results)}
    found: list[tuple[Finding, tuple[Path, ...]]] = []
    told: set[tuple[int, int]] = set()  # pictures that are known to repeat another
    opened = lru_cache(maxsize=4)(_miniature)
    for later in range(len(results)):
        for earlier in range(later):
            if not len(stacks[later]) or not len(stacks[earlier]) or not apart(results[later], results[earlier]):
                continue
            pairs: list[tuple[int, int]] = []
            for n, m, _, turn in alike_pairs(stacks[later], stacks[earlier]):
                if (later, n) in told or any(m == other for _, other in pairs):
                    continue
                if _is_same(_picture(results, later, n), _picture(results, earlier, m), turn, results, opened):
                    pairs.append((n, m))
                    told.add((later, n))
            if pairs:
                first, second = (
                    _scanned(results[at], [pair[k] for pair in pairs]) for k, at in enumerate((later, earlier))
                )
                better = better_of(first, second, rows)
                names = results[later].path.name, results[earlier].path.name
                finding = twice_finding(pairs, names, better)
                found.append((finding, (results[later].path, results[earlier].path)))
    return found


def _stack(one: Checked) -> np.ndarray:
    held = one.report.trace.prints if one.report is not None and one.report.medium == "scan" else b""
    family = FAMILY.get(one.original.carrier)
    if not held or family not in ("print", "film"):
        return np.zeros((0, SIDE, SIDE), np.uint8)
    return np.frombuffer(held, np.uint8).reshape(-1, SIDE, SIDE)


def _entries(report: Report) -> list[dict[str, Any]]:
    return list(report.measures["pictures"].value or [])


def _picture(results: Sequence[Checked], scan: int, number: int) -> _Picture:
    report = results[scan].report
    assert report is not None
    corners = tuple((float(x), float(y)) for x, y in _entries(report)[number]["corners"])
    lid = report.measures["pictures"].extra.get("ground") == "lid"
    cut = any(
        finding.name == "cut_off" and finding.area is not None and _over(finding.area, corners)
        for finding in report.findings
    )
    return _Picture(scan, number, corners, lid and not cut)


def _over(area: tuple[float, float, float, float], corners: Corners) -> bool:
    x, y = (sum(corner[axis] for corner in corners) / 4 for axis in (0, 1))
    return area[0] <= x <= area[0] + area[2] and area[1] <= y <= area[1] + area[3]


def _is_same(
    one: _Picture, other: _Picture, turn: int, results: Sequence[Checked],
    opened: Callable[[Path, int], tuple[np.ndarray, float]],
) -> bool:  # fmt: skip
    try:
        cuts = [_cut(picture, results[picture.scan], opened) for picture in (one, other)]
    except Unreadable:
        return False
    return same_print(cuts[0], cuts[1], framed=one.framed and other.framed, turn=turn).same


def _cut(picture: _Picture, checked: Checked, opened: Callable[[Path, int], tuple[np.ndarray, float]]) -> np.ndarray:
    points = np.asarray(picture.corners)
    long_side = max(np.hypot(*(points[1] - points[0])), np.hypot(*(points[3] - points[0])))
    assert checked.capture is not None and checked.capture.image is not None
    whole = max(checked.capture.image.width, checked.capture.image.height)
    grey, times = opened(checked.path, int(min(MOST_PX, -(-whole * LONG_PX * 1.2 // max(long_side, 1) // 500) * 500)))
    return straight(grey, tuple((x * times, y * times) for x, y in picture.corners))


def _miniature(path: Path, longest_px: int) -> tuple[np.ndarray, float]:
    from takeup.media.still import look_at_still

    grey = read_miniature(path, longest_px)
    image = look_at_still(path).image
    assert image is not None
    return grey, grey.shape[1] / image.width


def _scanned(one: Checked, numbers: list[int]) -> Scanned:
    report = one.report
    assert report is not None
    corners = np.asarray([_entries(report)[n]["corners"] for n in numbers], float)
    long_px = float(np.hypot(*(corners[:, 1] - corners[:, 0]).T).max())
    tall_px = float(np.hypot(*(corners[:, 3] - corners[:, 0]).T).max())
    return Scanned(
        long_px=max(long_px, tall_px),
        sharpness=_number(report, "sharpness"),
        faults=frozenset(finding.name for finding in report.findings),
    )


def _number(report: Report, name: str) -> float | None:
    value = report.measures[name].value if name in report.measures else None
    return float(value) if isinstance(value, (int, float)) else None
