"""Where on a side a hum is heard: as strong where no tape runs, as strong in the pauses, or away for a while."""

from __future__ import annotations

import numpy as np

LEADER_TIMES, LEADER_HALVES = 0.1, 3  # treble under the quietest tape by so much, for so many half seconds
LEADER_MOST = 1e-7  # -70 dB of second differences: white noise at -72 dBFS, quieter than any tape's hiss
REFERENCE = 0.05  # quantile of the treble in the middle of the capture: its quietest tape
QUIET = 0.2  # share of half seconds that count as its pauses


def where_it_is(power: np.ndarray, usual: float, treble: np.ndarray) -> tuple[float | None, float | None, float]:
    """How strong a line is in the leader and in the pauses, against elsewhere [dB]; in what share it is away.

    Parameters
    ----------
    power : ndarray, shape (n_halves,)
        Of the line, for each half second; NaN where it was not looked at.
    usual : float
        Its mean power.
    treble : ndarray, shape (n_halves,)
        What :class:`slow.Chunk` tells of hiss; 0 where every sample is the same.
    """
    away = leader_halves(treble)
    heard = (treble > 0) & np.isfinite(power)
    over = np.log10(np.maximum(power / usual, 1e-6), where=heard, out=np.zeros(len(power))) * 10
    leader = over[away & heard]
    leader_db = float(np.median(leader)) if len(leader) >= LEADER_HALVES else None
    sounding = heard & ~away
    if not sounding.any():
        return leader_db, None, 0.0
    absent = float((over[sounding] < -10).mean())
    low, middle = np.quantile(treble[sounding], [QUIET, 0.6])
    quiet = over[sounding & (treble <= low)]
    return leader_db, float(np.median(quiet)) if middle >= 4 * low else None, absent


def leader_halves(treble: np.ndarray) -> np.ndarray:
    """Half seconds at both ends that are far quieter in the treble than the quietest tape: no tape is heard there."""
    away = np.zeros(len(treble), bool)
    inner = treble[len(treble) // 5 : max(len(treble) // 5 + 1, len(treble) - len(treble) // 5)]
    inner = inner[inner > 0]
    if not len(inner):
        return away
    quiet = treble < LEADER_TIMES * np.quantile(inner, REFERENCE)
    for order in (slice(None), slice(None, None, -1)):
        run = int(np.argmin(quiet[order])) if not quiet.all() else 0
        run = _below_the_hiss(treble[order][:run])
        if run >= LEADER_HALVES:
            away[order][: run - 1] = True  # the last half second may hold the edge
    return away


def _below_the_hiss(treble: np.ndarray) -> int:
    """How much of a quiet beginning is leader: what lies clearly under the hiss that follows it, or under any hiss."""
    heard = treble[treble > 0]
    if len(heard) < LEADER_HALVES:
        return 0
    low, high = np.quantile(heard, [0.1, 0.9])
    level = float(np.sqrt(low * high)) if low < LEADER_TIMES * high else LEADER_MOST if high < LEADER_MOST else 0.0
    return int(np.argmin(np.append(treble < level, False)))
