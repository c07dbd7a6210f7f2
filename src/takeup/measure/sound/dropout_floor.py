"""The tape's own hiss in each band, from the quietest tenth of the last ten seconds; what is no hiss has no trust."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.dropout_edges import DECIBEL, QUIETEST
from takeup.measure.sound.dropout_holes import Hole

PIECE = 20  # frames of about 1 ms: one figure
KEPT = 500  # pieces
LOWEST_SHARE = 0.1
ABOVE_DB = 0.5  # pieces of noise scatter: their lowest tenth lies about so far under the noise itself
ALIKE = 1.15  # pieces up to so many times the lowest tenth are looked at closely
LIVELY_DB = 0.7  # frames of noise scatter about a piece's mean as chance has it; so much more is no noise
WHOLE_HZ = 24_000.0  # levels are compared as if the hiss filled this
LOUDEST_DBFS, QUIETEST_DBFS = -36.0, -92.0  # hiss of a tape lies between; below it is the converter's


@dataclass(frozen=True, slots=True)
class Floor:
    """Of each piece: mean square, and how far its frames' mean level lies under the level of that [dB].

    Shape (n, channels, n_bands), float32.
    """

    means: np.ndarray
    lively: np.ndarray
    end: int = 0  # pieces heard


@dataclass(frozen=True, slots=True)
class Known:
    """``trust``: weight of a band's floor, 0 where it is none; ``used``: bands in which a tape's hiss can be."""

    level: np.ndarray  # [dB], shape (channels, n_bands)
    trust: np.ndarray
    used: np.ndarray
    bias: np.ndarray  # the mean of levels of noise lies so far under the level of its mean, shape (n_bands,)


def begin_floor(channels: int, bands: int) -> Floor:
    """Nothing heard yet."""
    nothing = np.empty((0, channels, bands), np.float32)
    return Floor(nothing, nothing)


def hear_floor(floor: Floor, powers: np.ndarray, levels: np.ndarray, first: int) -> Floor:
    """Take in the whole pieces among some frames that were not heard yet; ``first``: the first frame's number."""
    skip = floor.end * PIECE - first
    count = (len(powers) - skip) // PIECE
    if count <= 0:
        return floor
    shape = (count, PIECE, *powers.shape[1:])
    part = slice(skip, skip + count * PIECE)
    means = powers[part].reshape(shape).mean(axis=1)
    lively = np.float32(DECIBEL) * np.log(means + np.float32(QUIETEST)) - levels[part].reshape(shape).mean(axis=1)
    return Floor(
        np.concatenate([floor.means, means])[-KEPT:],
        np.concatenate([floor.lively, lively])[-KEPT:],
        floor.end + count,
    )


def known_floor(floor: Floor, degrees: np.ndarray, widths_hz: np.ndarray) -> Known:
    """The hiss as far as it is known."""
    rank = int(LOWEST_SHARE * (len(floor.means) - 1))
    lowest = np.partition(floor.means, rank, axis=0)[rank]
    near = floor.means <= lowest * ALIKE
    lively = (floor.lively * near).sum(axis=0) / near.sum(axis=0)
    bias = DECIBEL * (1 / degrees + 1 / (3 * degrees**2))
    level = 10 * np.log10(np.where(np.isfinite(lowest), lowest, 1.0) + QUIETEST) + ABOVE_DB
    density = level - 10 * np.log10(widths_hz / WHOLE_HZ)
    used = density > QUIETEST_DBFS
    noise = (lively < bias + LIVELY_DB) & (density < LOUDEST_DBFS)
    return Known(level, np.where(used & noise, degrees, 0.0), used, bias)


def leave_out(floor: Floor, holes: Iterable[Hole]) -> Floor:
    """The floor without the pieces that dropouts touch."""
    means = floor.means
    for hole in holes:
        means = means.copy() if means is floor.means else means
        first = max(0, int(hole.first) // PIECE - (floor.end - len(means)))
        end = max(0, int(hole.end) // PIECE + 1 - (floor.end - len(means)))
        means[first:end, list(hole.which)] = np.inf
    return replace(floor, means=means)
