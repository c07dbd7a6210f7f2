"""The two loops behind the fold of lost samples: the sharpest bend of each short slot, and moments that come twice."""

from __future__ import annotations

import numpy as np

from takeup.measure.sound.compiling import compiled
from takeup.measure.sound.sift import QUICK


def _slot_peaks(plane: np.ndarray, slot: int, peaks: np.ndarray) -> None:
    """Raise each slot's peak to the largest second difference that begins in it.

    Parameters
    ----------
    plane : float32 array, shape (m * slot + 2,) or longer
    slot : int
    peaks : float32 array, shape (m,), changed in place
    """
    for k in range(peaks.shape[0]):
        part = plane[k * slot : (k + 1) * slot + 2]
        high = peaks[k]
        for i in range(slot):
            bend = abs(part[i + 2] - part[i + 1] - (part[i + 1] - part[i]))
            high = max(high, bend)
        peaks[k] = high


def _same_moments(bits: np.ndarray, pick: int, back: int, last: np.ndarray, pairs: np.ndarray) -> None:
    """Moments whose three samples are those of an earlier moment, by a number made of their bits.

    One moment in some is looked at, picked by its own number: so the same ones are picked in both stretches. Of a run
    of pairs that lie equally far apart only the first is told: a steady tone is full of them.

    Parameters
    ----------
    bits : uint32 array, shape (n,)
        The samples of one channel as they are stored.
    pick : int
        Mask: which moments are looked at.
    back : int
        Farthest distance of two moments, in samples.
    last : int32 array, shape (2, a power of two), room to work in
    pairs : int64 array, shape (k + 1, 2), changed in place
        The earlier and the later moment of each pair; in the last row how many there are.
    """
    size, most = last.shape[1], pairs.shape[0] - 1
    found = 0
    distance = at = np.int64(0)
    for i in range(size):
        last[0, i] = -1
    for i in range(bits.shape[0] - 2):
        if bits[i] == bits[i + 1]:
            continue
        mark = (bits[i] ^ (bits[i] >> np.uint32(13))) * np.uint32(0x9E3779B1)  # 16 bits leave the lowest places empty
        mark = (mark ^ (mark >> np.uint32(15)) ^ bits[i + 1] ^ (bits[i + 1] >> np.uint32(13))) * np.uint32(0x2C1B3C6D)
        mark = (mark ^ (mark >> np.uint32(15)) ^ bits[i + 2] ^ (bits[i + 2] >> np.uint32(13))) * np.uint32(0x2C1B3C6D)
        mark ^= mark >> np.uint32(16)
        if mark & np.uint32(pick):
            continue
        place = np.int64(mark >> np.uint32(8)) & (size - 1)
        before, same = np.int64(last[0, place]), last[1, place] == np.int32(mark)
        last[0, place], last[1, place] = i, np.int32(mark)
        if before < 0 or not same or i - before > back:
            continue
        if i - before == distance and i - at < 2 * back:
            at = np.int64(i)
            continue
        distance, at = i - before, np.int64(i)
        if found < most:
            pairs[found, 0], pairs[found, 1] = before, i
            found += 1
    pairs[most, 0] = found


slot_peaks = compiled(_slot_peaks, fastmath=QUICK)
same_moments = compiled(_same_moments)
