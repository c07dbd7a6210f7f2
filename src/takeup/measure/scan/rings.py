"""Newton's rings: coloured fringes where film or a print touches glass, one ring of darkness after the other.

The air between the two makes rings at r = sqrt(m L R) for light of the wavelength L: a wave whose pitch falls with the
distance from its middle, tighter for blue than for red. Nothing else in a picture is built like that.
They are sought in what each colour shows that the others do not: edges and texture are in all of them alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.scan.first import FirstLook

WAVES_NM = (610.0, 540.0, 460.0)  # middles of a scanner's red, green and blue (check values for scans, part 5)
SIDE_PX = 320
FINEST = 0.4  # cycles per pixel that are still told
STEPS_PER_FRINGE = 2.0
WANDER = 0.05  # how far a channel's wave may lie from the middle above
FEW = 2  # pictures: a bed full of prints lies too loosely for rings, and its check is to be quick
MOST_PICTURES = 1  # of a scan: the largest
ALIKE = 4.0  # codes squared: where a picture is plain, its channels are taken to go together
OWN = 4.5  # a channel shows its own rings twice as strongly as the others' that were taken out of it
HOPELESS = 3.0  # agreement of red under which blue need not be asked
CANDIDATES = 5  # waves of green that red and blue are asked about


@dataclass(frozen=True, slots=True, kw_only=True)
class Rings:
    """Rings of one picture. ``x``, ``y``: their middle [scan px]; ``first_px``: radius of the first ring; ``clear``:
    how many times the strongest wave of such a build stands above what texture gives by chance; ``coloured``:
    red and blue show it with the pitch their light asks for (None in grey); ``codes``: its swing [codes of 255]."""

    x: float
    y: float
    first_px: float
    clear: float
    coloured: float | None
    codes: float
    area: tuple[float, float, float, float]


def rings(first: FirstLook) -> tuple[Rings, ...]:
    """The strongest rings of each of the largest pictures, clear or not."""
    found = []
    small, block = first.small.pixels, first.small.block
    if len(first.pictures.prints) > FEW:
        return ()
    for one in sorted(first.pictures.prints, key=lambda one: -_extent(one.corners))[:MOST_PICTURES]:
        corners = np.asarray(one.corners) / block
        low, high = np.maximum(corners.min(0), 0).astype(int), np.ceil(corners.max(0)).astype(int)
        part = small[low[1] : high[1], low[0] : high[0]]
        if min(part.shape[:2]) < 100:
            continue
        inside = first.inside(one, 4.0)[low[1] : high[1], low[0] : high[0]]
        scale = SIDE_PX / max(part.shape[:2])
        told = rings_in(part, inside, min(scale, 1.0))
        if told is None:
            continue
        x, y, radius, clear, coloured, codes = told
        box = (float(low[0] * block), float(low[1] * block), float(part.shape[1] * block), float(part.shape[0] * block))
        found.append(
            Rings(
                x=(x + low[0]) * block,
                y=(y + low[1]) * block,
                first_px=radius * block,
                clear=clear,
                coloured=coloured,
                codes=codes,
                area=box,
            )
        )
    return tuple(found)


def rings_in(
    part: np.ndarray, inside: np.ndarray, scale: float
) -> tuple[float, float, float, float, float | None, float] | None:
    """Middle x, y [px of ``part``], radius of the first ring, clearness, agreement of the colours, swing.

    Notes
    -----
    Times exp(-i pi a r^2) a wave of chirp rate ``a`` becomes an even one, whatever its middle, so one Fourier transform
    looks for all middles at once; rates are tried in steps of half a fringe. Swing is against the local unrest.
    """
    size = (max(16, round(part.shape[1] * scale)), max(16, round(part.shape[0] * scale)))
    codes = cv2.resize(part, size, interpolation=cv2.INTER_AREA).astype(np.float32).reshape(size[1], size[0], -1)
    mask = cv2.resize(inside.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    grey = bool((codes == codes[..., :1]).all())
    planes = [_even(codes[..., 0], mask)] if grey else _colours_apart(codes, mask)
    main = planes[0] if grey else planes[1]
    rows, columns = main[0].shape
    tries = [(*_strongest(main[0], rate), rate) for rate in _rates(rows, columns)]
    if not tries:
        return None
    usual = float(np.median([value for value, _, _, _ in tries]))
    if usual <= 0:  # one plain code all over: nothing is waved
        return None
    by_chance = sorted(tries, key=lambda one: -one[0] / max(one[1], 1e-9))[: 1 if grey else CANDIDATES]
    told = []
    for value, _, place, rate in by_chance:
        middle = _middle(place, (rows, columns), rate)
        told.append((None if grey else _agreement(planes, rate, middle), value, middle, rate))
    coloured, value, (x, y), rate = max(told, key=lambda one: one[0] or 0.0)
    swing = 2 * value / max(float(main[1].sum()), 1e-9)
    return (x + 0.5) / scale, (y + 0.5) / scale, float(np.sqrt(2 / rate)) / scale, value / usual, coloured, float(swing)


def _agreement(planes: list[tuple[np.ndarray, np.ndarray]], rate: float, middle: tuple[float, float]) -> float:
    """How clearly red and blue show the rings of a middle that green showed, each with the pitch of its own light."""
    shares: list[float] = []
    for channel in (0, 2):
        plane = planes[channel][0].astype(np.complex64)
        expected = rate * WAVES_NM[1] / WAVES_NM[channel]
        if shares and shares[0] < HOPELESS:
            continue
        at = max(_near(plane, expected * (1 + d), middle) for d in np.linspace(-WANDER, WANDER, 9))
        as_green = max(_near(plane, rate * (1 + d), middle) for d in (-0.01, 0.0, 0.01))
        shares.append(min(at / max(_strongest(plane, expected)[1], 1e-9), OWN * at / max(as_green, 1e-9)))
    return min(shares)


def _extent(corners: tuple[tuple[float, float], ...]) -> float:
    return float(cv2.contourArea(np.asarray(corners, np.float32)))


def _colours_apart(codes: np.ndarray, mask: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """Each channel without what it shares with the others: a picture's edges and texture are in all of them alike,
    rings lie elsewhere in each."""
    fine = codes - cv2.GaussianBlur(codes, (0, 0), 6.0)
    shared = fine.mean(axis=2)
    power = cv2.blur(shared * shared, (15, 15)) + ALIKE
    planes = []
    for channel in range(3):
        gain = (cv2.blur(fine[..., channel] * shared, (15, 15)) + ALIKE) / power
        planes.append(_even(np.ascontiguousarray(fine[..., channel] - gain * shared), mask))
    return planes


def _even(plane: np.ndarray, mask: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A plane without its slow changes, weighed by how restful it is: edges and texture have little part in it."""
    away = (plane - cv2.GaussianBlur(plane, (0, 0), 6.0)).astype(np.float32)
    usual = 1.5 * cv2.blur(np.minimum(np.abs(away), 20.0), (15, 15)) + 0.7
    weight = mask * (mask > 0.99) / usual
    return np.clip(away / usual, -2.0, 2.0) * (mask > 0.99), weight


def _rates(rows: int, columns: int) -> list[float]:
    """Chirp rates [cycles per pixel and pixel] from four fringes over the half diagonal to six that can be told."""
    reach = 0.5 * float(np.hypot(rows, columns))
    rate, last = 8 / reach**2, FINEST**2 / (2 * 6.0)
    rates = []
    while rate < last:
        rates.append(rate)
        fringes = min(rate * reach**2, FINEST**2 / rate) / 2
        rate *= 1 + 1 / (STEPS_PER_FRINGE * fringes)
    return rates


def _chirp(shape: tuple[int, int], rate: float) -> np.ndarray:
    y = np.exp(-1j * np.pi * rate * (np.arange(shape[0]) - shape[0] / 2) ** 2).astype(np.complex64)
    x = np.exp(-1j * np.pi * rate * (np.arange(shape[1]) - shape[1] / 2) ** 2).astype(np.complex64)
    return y[:, None] * x[None]


def _strongest(plane: np.ndarray, rate: float) -> tuple[float, float, tuple[int, int]]:
    """The strongest middle for one rate, what a middle gives by chance (their median), and the place of it."""
    rows, columns = plane.shape
    # A middle outside the picture is not looked for: its frequency would be more than rate times half the picture.
    v, u = np.abs(np.fft.fftfreq(rows)) <= rate * rows / 2, np.abs(np.fft.fftfreq(columns)) <= rate * columns / 2
    lines = np.fft.fft(plane * _chirp(plane.shape, rate), axis=1)
    part = np.abs(np.fft.fft(lines[:, u], axis=0)[v])
    at = np.unravel_index(int(np.argmax(part)), part.shape)
    return float(part[at]), float(np.median(part)), (int(np.flatnonzero(v)[at[0]]), int(np.flatnonzero(u)[at[1]]))


def _middle(place: tuple[int, int], shape: tuple[int, int], rate: float) -> tuple[float, float]:
    v, u = np.fft.fftfreq(shape[0])[place[0]], np.fft.fftfreq(shape[1])[place[1]]
    return shape[1] / 2 - u / rate, shape[0] / 2 - v / rate


def _near(plane: np.ndarray, rate: float, middle: tuple[float, float]) -> float:
    """How strongly a plane shows rings of one rate about one middle (some pixels of play)."""
    y, x, play = np.arange(plane.shape[0]), np.arange(plane.shape[1]), np.array([-1.5, 0.0, 1.5])[:, None]
    down = np.exp(-1j * np.pi * rate * (y - middle[1] - play) ** 2).astype(np.complex64)
    across = np.exp(-1j * np.pi * rate * (x - middle[0] - play) ** 2).astype(np.complex64)
    return float(np.abs(down @ plane @ across.T).max())
