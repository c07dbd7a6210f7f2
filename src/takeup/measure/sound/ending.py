"""How a capture begins and ends: in the middle of sound, in a pause, faded out, or with the tape run out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.sound.history import decibels, runs_of
from takeup.measure.sound.states import ELECTRONICS, HISS, PROGRAMME, ZERO

LAST = 30  # hops looked at as "the very end"
FADE_DB, FADE_HOPS = 12.0, 100  # a fade is so much under the programme's middle level, and takes so long


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending:
    """Facts about the ends of the programme, in seconds."""

    from_s: float  # programme begins
    to_s: float  # programme ends
    hiss_s: float  # of hiss after it
    stopped_s: float  # of leader, stopped machine or digital silence after it
    faded: bool  # it had become much quieter, slowly, before it ended
    longest_pause_s: float  # between two stretches of programme
    cut_at_start: bool  # the file's first moment is programme


def ending(state: np.ndarray, power: np.ndarray, hop_s: float) -> Ending | None:
    """Look at both ends.

    Parameters
    ----------
    state : ndarray, shape (n_hops,)
        See :func:`takeup.measure.sound.states.tell_states`.
    power : ndarray, shape (n_hops, n_channels)

    Returns
    -------
    Ending or None
        None without any programme.
    """
    programme = np.flatnonzero(state == PROGRAMME)
    if not len(programme):
        return None
    first, end = int(programme[0]), int(programme[-1]) + 1
    tail = state[end:]
    pauses = runs_of(state[first:end] != PROGRAMME)
    longest = int((pauses[:, 1] - pauses[:, 0]).max()) if len(pauses) else 0
    return Ending(
        from_s=first * hop_s,
        to_s=end * hop_s,
        hiss_s=float((tail == HISS).sum() * hop_s),
        stopped_s=float(((tail == ELECTRONICS) | (tail == ZERO)).sum() * hop_s),
        faded=_faded(decibels(power.max(axis=1)), programme, end),
        longest_pause_s=longest * hop_s,
        cut_at_start=bool((state[:3] == PROGRAMME).any()),
    )


def _faded(level: np.ndarray, programme: np.ndarray, end: int) -> bool:
    """Whether the last moment is far under the programme's middle level and the way down was long."""
    middle = float(np.median(level[programme]))
    last = decibels(np.mean(10 ** (level[max(0, end - LAST) : end] / 10)))
    if last > middle - FADE_DB:
        return False
    loud = programme[level[programme] >= middle - FADE_DB / 4]
    return bool(len(loud)) and end - int(loud[-1]) >= FADE_HOPS
