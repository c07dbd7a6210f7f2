"""How far the whole picture moves from one picture to the next, and within it from field to field.

A picture is folded into a few thin outlines: the mean of each of four bands of lines along x, and of four bands of
columns along y, of one field. Two pictures' outlines are laid over each other at every shift at once (correlation of
their slopes, through their spectra), all bands together: what moves alone in one corner does not carry it.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field

import numpy as np

from takeup.measure.video.loops import BANDS, loops
from takeup.measure.video.sums import Sums, add_up

FARTHEST = 0.2  # of a line or column: the overlap of what moved further is too small
SMALLEST = 64
SPRINT, SPRINT_PX = 1.4, 0.6  # fields are laid over each other only where the picture moves so much further than before


@dataclass(frozen=True, slots=True)
class _Slopes:
    bands: np.ndarray  # shape (BANDS, length - 1)
    power: float  # of all slopes


@dataclass(frozen=True, slots=True)
class Outlines:
    """State: the picture before; None before the first."""

    across: _Slopes | None = None
    down: _Slopes | None = None
    odd: np.ndarray | None = None  # bands of the other field, along x
    shape: tuple[int, ...] = ()
    far: float = float("nan")  # how far the picture before had moved


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Shift of what is seen, right and down, in picture pixels and picture lines; NaN where nothing can be told."""

    across: float
    down: float
    sure: float  # correlation of the outlines at that shift, the poorer of both ways
    inside: tuple[float, float] | None = None  # right, from even to odd lines of the picture before and of this one


@dataclass(frozen=True, slots=True)
class Path:
    """What :func:`step` gave for every picture, kept small; it grows in place."""

    across: array[float] = field(default_factory=lambda: array("f"))
    down: array[float] = field(default_factory=lambda: array("f"))
    sure: array[float] = field(default_factory=lambda: array("f"))
    inside: dict[int, tuple[float, float]] = field(default_factory=dict)

    def add(self, moved: Motion) -> None:
        """Keep the next picture's."""
        if moved.inside is not None:
            self.inside[len(self.across)] = moved.inside
        self.across.append(moved.across)
        self.down.append(moved.down)
        self.sure.append(moved.sure)

    def part(self, first: int, end: int) -> Path:
        """Of the pictures from ``first`` on up to ``end``, counted from 0 again."""
        inside = {number - first: self.inside[number] for number in range(first, end) if number in self.inside}
        return Path(self.across[first:end], self.down[first:end], self.sure[first:end], inside)


UNKNOWN = Motion(across=float("nan"), down=float("nan"), sure=0.0)


def begin() -> Outlines:
    return Outlines()


def step(state: Outlines, part: np.ndarray, sums: Sums | None = None) -> tuple[Outlines, Motion]:
    """Take the next picture.

    Parameters
    ----------
    part : ndarray of uint8, shape (rows, columns)
        :func:`~takeup.measure.video.glance.inner` luma, contiguous
    sums : Sums, optional
        what :func:`~takeup.measure.video.sums.add_up` gives of it, where it is at hand
    """
    if min(part.shape) < SMALLEST:
        return begin(), UNKNOWN
    even, beside, odd = _outlines(part, sums or add_up(np.ascontiguousarray(part)))
    across, down = _slopes(even), _slopes(beside)
    if state.across is None or state.down is None or state.odd is None or state.shape != part.shape:
        return Outlines(across, down, odd, part.shape), UNKNOWN
    x, sure_x = _shift(state.across, across, part.shape[1])
    y, sure_y = _shift(state.down, down, beside.shape[1])
    far = float(np.hypot(x, 2 * y))
    inside = None
    if far > SPRINT * state.far + SPRINT_PX:
        pairs = (state.across, state.odd), (across, odd)
        inside = tuple(_shift(first, _slopes(then), part.shape[1])[0] for first, then in pairs)
    now = Outlines(across, down, odd, part.shape, far)
    return now, Motion(across=x, down=2 * y, sure=min(sure_x, sure_y), inside=inside)  # type: ignore[arg-type]


def _outlines(part: np.ndarray, sums: Sums) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Means of the bands, one a row: of even lines along x and along y, of odd lines along x."""
    rows, wide = part.shape
    even, odd = sums.columns.astype(np.float32)
    beside = np.ascontiguousarray(sums.lines[::2, :BANDS].T, np.float32)
    return even / ((rows + 1) // 2 // BANDS), beside / (wide // BANDS), odd / (rows // 2 // BANDS)


def _slopes(outlines: np.ndarray) -> _Slopes:
    slopes = outlines[:, 1:] - outlines[:, :-1]
    slopes -= slopes.mean(axis=1, keepdims=True)
    return _Slopes(slopes, float(np.vdot(slopes, slopes)))


def _shift(before: _Slopes, now: _Slopes, length: int) -> tuple[float, float]:
    """Shift at which the outlines agree best, to a part of a pixel, and how well."""
    power = float(np.sqrt(before.power * now.power))
    if power <= 0:
        return float("nan"), 0.0
    reach = int(FARTHEST * length)
    near = np.empty((2 * reach + 4) // 4 * 4, np.float32)
    padded = np.zeros((BANDS, now.bands.shape[1] + 2 * reach + 6), np.float32)
    padded[:, reach : reach + now.bands.shape[1]] = now.bands
    loops().lay_over(before.bands, padded, near)
    near = near[: 2 * reach + 1]
    at = int(near.argmax())
    if not 0 < at < len(near) - 1:
        return float("nan"), 0.0
    left, here, right = near[at - 1 : at + 2].tolist()
    bend = left - 2 * here + right
    part = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return at - reach + part, here / power
