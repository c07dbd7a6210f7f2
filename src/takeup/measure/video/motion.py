"""How far the whole picture moves from one picture to the next, and within it from field to field.

A picture is folded into a few thin outlines: the mean of each of four bands of lines along x, and of four bands of
columns along y, of one field. Two pictures' outlines are laid over each other at every shift at once (correlation of
their slopes, through their spectra), all bands together: what moves alone in one corner does not carry it.
"""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field

import cv2
import numpy as np

BANDS = 4
FARTHEST = 0.2  # of a line or column: the overlap of what moved further is too small
SMALLEST = 64
SPRINT, SPRINT_PX = 1.4, 0.6  # fields are laid over each other only where the picture moves so much further than before


@dataclass(frozen=True, slots=True)
class _Spectra:
    bands: np.ndarray  # shape (BANDS, frequencies)
    size: int  # of the transform
    power: float  # of all slopes


@dataclass(frozen=True, slots=True)
class Outlines:
    """State: the picture before; None before the first."""

    across: _Spectra | None = None
    down: _Spectra | None = None
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


def step(state: Outlines, part: np.ndarray) -> tuple[Outlines, Motion]:
    """Take the next picture.

    Parameters
    ----------
    part : ndarray of uint8, shape (rows, columns)
        :func:`~takeup.measure.video.glance.inner` luma
    """
    if min(part.shape) < SMALLEST:
        return begin(), UNKNOWN
    even, odd = part[0::2], _bands(part[1::2], 0)
    across, down = _spectra(_bands(even, 0)), _spectra(_bands(even, 1))
    if state.across is None or state.down is None or state.odd is None or state.shape != part.shape:
        return Outlines(across, down, odd, part.shape), UNKNOWN
    x, sure_x = _shift(state.across, across, part.shape[1])
    y, sure_y = _shift(state.down, down, len(even))
    far = float(np.hypot(x, 2 * y))
    inside = None
    if far > SPRINT * state.far + SPRINT_PX:
        pairs = (state.across, state.odd), (across, odd)
        inside = tuple(_shift(first, _spectra(then), part.shape[1])[0] for first, then in pairs)
    now = Outlines(across, down, odd, part.shape, far)
    return now, Motion(across=x, down=2 * y, sure=min(sure_x, sure_y), inside=inside)  # type: ignore[arg-type]


def _bands(lines: np.ndarray, axis: int) -> np.ndarray:
    """Means of the bands, one a row, along x (axis 0) or y (axis 1)."""
    size = lines.shape[axis] // BANDS
    found = []
    for band in range(BANDS):
        piece = lines[band * size : (band + 1) * size] if axis == 0 else lines[:, band * size : (band + 1) * size]
        found.append(cv2.reduce(piece, axis, cv2.REDUCE_SUM, dtype=cv2.CV_32S).ravel())
    return np.array(found, np.float32) / size


def _spectra(outlines: np.ndarray) -> _Spectra:
    """Spectra of the slopes of outlines, padded so that no shift wraps round."""
    slopes = outlines[:, 1:] - outlines[:, :-1]
    slopes -= slopes.mean(axis=1, keepdims=True)
    size = 1 << int(np.ceil(np.log2(slopes.shape[1] * (1 + FARTHEST))))
    return _Spectra(np.fft.rfft(slopes, size, axis=1), size, float(np.vdot(slopes, slopes)))


def _shift(before: _Spectra, now: _Spectra, length: int) -> tuple[float, float]:
    """Shift at which the outlines agree best, to a part of a pixel, and how well."""
    power = float(np.sqrt(before.power * now.power))
    if power <= 0:
        return float("nan"), 0.0
    like = np.fft.irfft((before.bands.conj() * now.bands).sum(axis=0), before.size)
    reach = int(FARTHEST * length)
    near = np.concatenate([like[-reach:], like[: reach + 1]])
    at = int(near.argmax())
    if not 0 < at < len(near) - 1:
        return float("nan"), 0.0
    left, here, right = near[at - 1 : at + 2].tolist()
    bend = left - 2 * here + right
    part = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return at - reach + part, here / power
