"""Whether a picture has only half its height: a field thrown away or both mixed, by the capture program.

Lines that come in equal pairs, and lines that are the mean of their neighbours, are told by how much closer they lie
than others. Mixed fields are told from tape noise: two fields were played at two times and share none, so lines beside
each other in the picture have noise of their own. After mixing or scaling they share it; DV keeps that, other coding
with loss may join it by itself. Texture makes lines alike too, but not everywhere; so a picture is called mixed only
where nearly all of its evenest places agree. While what is seen
moves up or down by one line from field to field, each line shows what the next one showed a field before, and lines
come in pairs that nobody halved: such pictures have a say only where their noise pairs too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from takeup.measure.video import motion
from takeup.measure.video.eight_bits import eight_bits
from takeup.measure.video.glance import inner

Half = Literal["doubled", "interpolated", "blended"]
"""How a picture lost half its height: each line twice, every other one made from its neighbours, both fields mixed."""

LINES, COLUMNS = 16, 32  # of a place, in the picture
WIDE = 400  # pixels in the middle are enough
PLACES = 24  # the evenest ones
LEAST_NOISE, MOST_NOISE = 0.6, 6.0  # less or more is no tape noise that could be shared [8-bit codes]
TAPE_LINES = (480, 486, 576)  # other heights are no tape's own: nothing can have been halved
ENOUGH, MOST = 2, 0.8  # pictures that must say so, and share of those looked at
MOST_BLENDED = 0.7  # whole pictures hardly ever do
PAIRING = 1.0, 3.4  # picture lines up or down from picture to picture: near one line from field to field
SOFTER, STANDS = 1.5, 0.5  # pairs so much less alike are taken for such only where nothing moves up or down so far
SURE = 0.3  # correlation of the outlines from which such movement is taken for one


@dataclass(frozen=True, slots=True)
class Halves:
    """State: how many pictures were looked at, and what they said."""

    pictures: int = 0
    doubled: int = 0
    interpolated: int = 0
    noisy: int = 0  # with noise enough to tell
    blended: int = 0


def begin() -> Halves:
    return Halves()


def step(
    state: Halves, luma: np.ndarray, bits: int, *, alike: float, joined: float, before: np.ndarray | None = None
) -> Halves:
    """Look at one picture.

    Parameters
    ----------
    luma : ndarray, shape (rows, columns)
        as it lies in the file
    alike : float
        Lines of a pair lie this much closer than others, as a ratio.
    joined : float
        Lines beside each other share their noise when they lie so much closer than those two apart, as a ratio.
    before : ndarray, optional
        Luma of the picture before, by which movement is known.
    """
    if luma.shape[0] not in TAPE_LINES:
        return state
    part = inner(luma)
    aside = max(0, (part.shape[1] - WIDE) // 2)
    part = part[:, aside : part.shape[1] - aside]
    part = (part[: len(part) // 2 * 2].astype(np.float32)) / 2.0 ** (bits - 8)
    steps = [float(cv2.mean(cv2.absdiff(part[a:-2:2], part[a + 1 : len(part) - 1 : 2]))[0]) for a in (0, 1)]
    bends = [_bend(part, parity) for parity in (0, 1)]
    doubled = min(steps) < alike * max(steps) and max(steps) > 0.5
    interpolated = not doubled and min(bends) < alike * max(bends) and max(bends) > 0.5
    noise, ratio, paired = _shared(part)
    if doubled and paired >= alike and before is not None and _down(before, luma, bits, *PAIRING):
        return state
    if alike * max(steps) <= min(steps) < SOFTER * alike * max(steps) and max(steps) > 0.5 and before is not None:
        doubled = _down(before, luma, bits, 0, STANDS)  # coding parts the lines of a pair, movement makes such pairs
    noisy = LEAST_NOISE <= noise <= MOST_NOISE
    return Halves(
        state.pictures + 1,
        state.doubled + doubled,
        state.interpolated + interpolated,
        state.noisy + noisy,
        state.blended + (noisy and ratio <= joined),
    )


def finish(state: Halves, *, lossless: bool) -> Half | None:
    """What nearly all pictures said; mixed fields only where no coding could have joined their noise."""
    if state.pictures < ENOUGH:
        return None
    if state.doubled >= MOST * state.pictures:
        return "doubled"
    if state.interpolated >= MOST * state.pictures:
        return "interpolated"
    if lossless and state.noisy >= ENOUGH and state.blended >= MOST_BLENDED * state.noisy:
        return "blended"
    return None


def _down(before: np.ndarray, now: np.ndarray, bits: int, least: float, most: float) -> bool:
    """Whether what is seen surely moves so far up or down from picture to picture [picture lines]."""
    state, _ = motion.step(motion.begin(), inner(eight_bits(before, bits)))
    moved = motion.step(state, inner(eight_bits(now, bits)))[1]
    return moved.sure >= SURE and least <= abs(moved.down) <= most


def _bend(part: np.ndarray, parity: int) -> float:
    """Mean distance of the lines of one parity from the mean of their neighbours."""
    above, here, below = part[parity:-2:2], part[parity + 1 : -1 : 2], part[parity + 2 :: 2]
    number = min(len(above), len(here), len(below))
    return float(np.abs(here[:number] - (above[:number] + below[:number]) / 2).mean())


def _shared(part: np.ndarray) -> tuple[float, float, float]:
    """Noise of the evenest places; how much closer lines beside each other lie there than those two apart (power), and
    the lines of one pair than those of two."""
    rows, columns = len(part) // LINES, part.shape[1] // COLUMNS
    part = part[: rows * LINES, : columns * COLUMNS]
    fine = part - cv2.blur(part, (15, 1))  # along the line: what is slower is picture
    means = cv2.resize(part, (2 * columns, 2 * rows), interpolation=cv2.INTER_AREA).reshape(rows, 2, columns, 2)
    uneven = means.max(axis=(1, 3)) - means.min(axis=(1, 3))
    middle = means.mean(axis=(1, 3))
    uneven = np.where((middle > 20) & (middle < 230), uneven, np.inf)
    chosen = np.argsort(uneven, axis=None)[:PLACES]
    chosen = chosen[np.isfinite(uneven.ravel()[chosen])]
    if len(chosen) < PLACES // 2:
        return 0.0, 0.0, 1.0
    places = fine.reshape(rows, LINES, columns, COLUMNS).transpose(0, 2, 1, 3).reshape(-1, LINES, COLUMNS)[chosen]
    power = np.square(places).mean(axis=(1, 2))
    one, two = (np.square(places[:, step:] - places[:, :-step]).mean(axis=(1, 2)) + 1e-6 for step in (1, 2))
    beside = np.abs(places[:, 1:] - places[:, :-1]).mean(axis=2)
    pairs = np.sort([float(np.median(beside[:, parity::2])) for parity in (0, 1)])
    shared = float(np.percentile(one / two, 80))
    return float(np.sqrt(np.median(power))), shared, float(pairs[0] / max(pairs[1], 1e-3))
