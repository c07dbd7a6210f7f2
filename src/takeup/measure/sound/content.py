"""Which hops are recorded content, and how many seconds of what else were left out of the measures."""

from __future__ import annotations

import numpy as np

from takeup.measure.sound.history import runs_of
from takeup.measure.sound.states import ELECTRONICS, HISS, PROGRAMME, ZERO

NAMES = {ZERO: "digital_zero", ELECTRONICS: "leader", HISS: "blank_tape"}


def content(state: np.ndarray, hop_s: float, shortest_s: dict[int, float]) -> tuple[np.ndarray, dict[str, float]]:
    """Tell recorded content from what the tape does not hold.

    Parameters
    ----------
    state : ndarray, shape (n_hops,)
        See :func:`takeup.measure.sound.states.tell_states`.
    shortest_s : dict
        For each state but programme: between two stretches of programme, how long it must last to be left out [s]
        (shorter: a pause of the recording). Before the first and after the last programme it always is.

    Returns
    -------
    mask : ndarray of bool
        True where recorded. Without any programme: everything that is not digital silence.
    left_out : dict
        Seconds by name: ``digital_zero``, ``leader``, ``blank_tape``.
    """
    programme = np.flatnonzero(state == PROGRAMME)
    if not len(programme):
        zero = state == ZERO
        return ~zero, {"digital_zero": float(zero.sum() * hop_s)} if zero.any() else {}
    mask = np.ones(len(state), bool)
    left_out: dict[str, float] = {}
    first, last = int(programme[0]), int(programme[-1])
    for kind, name in NAMES.items():
        for start, end in runs_of(state == kind):
            outside = end <= first or start > last
            if outside or (end - start) * hop_s >= shortest_s[kind]:
                mask[start:end] = False
                left_out[name] = left_out.get(name, 0.0) + float((end - start) * hop_s)
    return mask, left_out
