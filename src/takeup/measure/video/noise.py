"""Noise of the picture: the RMS of luma on even areas, told as a distance to full white.

Tape noise is independent from line to line and from picture to picture, along a line it is not. So it is read twice:
from the vertical second difference within one field (variance 6 s^2) where a smoothed picture is even, and from the
difference to the picture before (variance 2 s^2) where a smoothed picture stands still. The choice of places looks at
block means, the noise at what is left between them, so that choosing even places does not choose quiet ones. Texture
and movement only ever add, so the smaller of both counts. Where even places differ, some hold texture, and the quiet
ones are told from: a tenth of them lies so far under the middle by noise alone. Few and unlike ones are all texture.
"""

from __future__ import annotations

import cv2
import numpy as np

from takeup.measure.video.glance import inner
from takeup.measure.video.loops import loops

LINES, COLUMNS = 8, 32  # of a block in one field
EVEN_SHARE = 0.06  # the most even blocks of a picture
UNEVEN = 5.0  # quarters of an even block differ by no more than this, and by what noise explains [8-bit codes]


STILL = 0.35  # means of a still block's quarters differ from the picture before by no more of its noise than this ...
STILL_CODES = 0.4  # ... and this [8-bit codes]
DOUBTFUL = 3.0  # from here on it is asked whether it is noise at all [8-bit codes]
AGAIN = 0.6  # correlation of an even place with where it was before: noise 0.4
MANY = 15  # even places
STILL_PLACES = 16  # so many still places are worth one even one: of a textured picture some seem still by chance
QUIET = (
    0.1,
    0.76,
)  # this share of the places of pure noise lies so far under their middle (power of some 90 free samples)
QUIET_LOSSY = 0.25, 0.87  # where coding has smoothed some places, fewer of the quiet ones tell
ALIKE = 2.5  # quarters of the places' powers lie no further apart than this, where it is noise


def noise_codes(luma: np.ndarray, bits: int, before: np.ndarray | None = None, *, lossy: bool = False) -> float | None:
    """RMS noise of one picture [8-bit codes]; None when it has not enough even or still places.

    Parameters
    ----------
    luma : ndarray, shape (rows, columns)
        as it lies in the file
    before : ndarray, optional
        Luma of the picture before; only where every picture is coded for itself, and with tape noise of its own.
    lossy : bool
        Whether coding has taken the noise out of some places.
    """
    unit = 2.0 ** (bits - 8)
    part = inner(luma)
    fields = [np.ascontiguousarray(part[p::2], np.uint16) for p in (0, 1)]
    even = [_field(field, unit) for field in fields]
    powers = np.concatenate([powers for powers, _ in even])
    places = len(powers)
    found = [_floor(powers, QUIET_LOSSY if lossy else QUIET)]
    if before is not None and before.shape == luma.shape:
        other = inner(before)
        others = [np.ascontiguousarray(other[p::2], np.uint16) for p in (0, 1)]
        powers = np.concatenate([_still(*pair, unit) for pair in zip(fields, others)])
        places += len(powers) // STILL_PLACES
        found.append(_settled(powers))
    known = [power for power in found if power is not None]
    if not known:
        return None
    codes = float(np.sqrt(min(known)))
    if codes > DOUBTFUL and places < MANY:
        return None
    doubtful = codes > DOUBTFUL and before is not None and before.shape == luma.shape
    return None if doubtful and _is_texture(part[::2], inner(before)[::2], even[0][1]) else codes  # type: ignore[arg-type]


def _is_texture(lines: np.ndarray, other: np.ndarray, places: np.ndarray) -> bool:
    """Whether the fine detail of most even places stands in the picture before as well, as no noise does."""
    again = []
    for row, column in places[:: max(1, len(places) // 9)].tolist():
        top, left = row * LINES, column * COLUMNS
        window = other[max(0, top - 8) : top + LINES + 8, max(0, left - 32) : left + COLUMNS + 32]
        patch, window = _detail(lines[top : top + LINES, left : left + COLUMNS]), _detail(window)
        again.append(float(cv2.matchTemplate(window, patch, cv2.TM_CCOEFF_NORMED).max()) >= AGAIN)
    return sum(again) > len(again) / 2


def _detail(lines: np.ndarray) -> np.ndarray:
    lines = lines.astype(np.float32)
    return lines[2:] - 2 * lines[1:-1] + lines[:-2]


def _floor(powers: np.ndarray, quiet: tuple[float, float]) -> float | None:
    """What noise alone gives, where some of many places may hold texture as well; of few places as :func:`_settled`."""
    if len(powers) < MANY:
        return _settled(powers)
    share, under = quiet
    return float(min(np.percentile(powers, 100 * share) / under, np.median(powers)))


def _settled(powers: np.ndarray) -> float | None:
    """The middle of powers that are alike; None where they are few or spread as those of texture do."""
    if len(powers) < 6:
        return None
    low, middle, high = np.percentile(powers, [25, 50, 75])
    return float(middle) if high <= ALIKE * max(low, 1e-3) else None


def _still(field: np.ndarray, other: np.ndarray, unit: float) -> np.ndarray:
    """Noise power of the blocks of a field that stand still, from its difference to the one before."""
    rows, columns = field.shape[0] // LINES, field.shape[1] // COLUMNS
    if rows < 3 or columns < 3:
        return np.zeros(0)
    sums, squares = np.empty((2 * rows, 2 * columns), np.float32), np.empty((rows, columns), np.float32)
    room = np.zeros((2, columns * COLUMNS), np.float32)
    loops().block_apart(field, other, LINES, COLUMNS, room, sums, squares)
    quarters = sums / (LINES * COLUMNS / 4 * unit)
    power = squares / (2 * LINES * COLUMNS * unit**2)
    moved = np.abs(quarters).reshape(rows, 2, columns, 2).max(axis=(1, 3))
    return power[(moved <= STILL_CODES + STILL * np.sqrt(power)) & (power > 0.005)]


def _field(lines: np.ndarray, unit: float) -> tuple[np.ndarray, np.ndarray]:
    """Noise power of the most even blocks of a field, and where they are (row, column of blocks)."""
    rows, columns = lines.shape[0] // LINES, lines.shape[1] // COLUMNS
    if rows < 3 or columns < 3:
        return np.zeros(0), np.zeros((0, 2), int)
    sums, squares = np.empty((2 * rows, 2 * columns), np.float32), np.empty((rows, columns), np.float32)
    room = np.zeros((2, columns * COLUMNS), np.float32)
    loops().block_noise(lines, LINES, COLUMNS, room, sums, squares)
    parts = (sums / (LINES * COLUMNS / 4 * unit)).reshape(rows, 2, columns, 2)
    means = parts.mean(axis=(1, 3))
    uneven = parts.max(axis=(1, 3)) - parts.min(axis=(1, 3))
    around = np.zeros_like(means)  # a block beside an edge is not even either
    around[1:-1, 1:-1] = np.max(
        [
            np.abs(means[1:-1, 1:-1] - means[a : a + rows - 2, b : b + columns - 2])
            for a in (0, 1, 2)
            for b in (0, 1, 2)
        ],
        axis=0,
    )
    power = squares / (6 * (LINES - 2) * COLUMNS * unit**2)
    usable = (means > 8) & (means < 246)
    usable[[0, -1], :] = usable[:, [0, -1]] = False
    order = np.argsort(np.where(usable, uneven + around, np.inf), axis=None)
    number = max(4, int(EVEN_SHARE * usable.sum()))
    chosen = order[: min(number, int(usable.sum()))]
    power, uneven = power.ravel()[chosen], uneven.ravel()[chosen]
    kept = uneven <= UNEVEN + 0.2 * np.minimum(np.sqrt(power), 15.0)
    return power[kept], np.stack([chosen[kept] // columns, chosen[kept] % columns], axis=1)
