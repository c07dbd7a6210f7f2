"""What each channel holds: a programme, only hiss, or nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.sound.history import decibels
from takeup.measure.sound.states import (
    ELECTRONICS,
    HISS,
    PROGRAMME,
    QUIETEST_SCATTER_DB,
    WIDEST_DRIFT_DB,
    WIDEST_SCATTER_DB,
    WINDOW,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One channel, while the file as a whole holds a programme and in its pauses [dBFS]."""

    programme_dbfs: float
    pause_dbfs: float | None  # None: no pauses
    steady_share: float  # of the programme's half seconds, in which this channel sounds like steady noise
    constant_share: float  # of its hops that hold one value only


def channels(power: np.ndarray, steps: np.ndarray, constant: np.ndarray, state: np.ndarray) -> tuple[Channel, ...]:
    """Look at each channel while the file as a whole has programme.

    Parameters
    ----------
    power, steps, constant : ndarray, shape (n_hops, n_channels)
        See :class:`takeup.measure.sound.history.History`.
    state : ndarray, shape (n_hops,)
        See :func:`takeup.measure.sound.states.tell_states`.
    """
    programme = state == PROGRAMME
    pause = (state == HISS) if (state == HISS).sum() >= WINDOW else (state == ELECTRONICS)
    if not programme.any():
        return ()
    found = []
    for channel in range(power.shape[1]):
        found.append(
            Channel(
                programme_dbfs=float(decibels(power[programme, channel].mean())),
                pause_dbfs=float(decibels(power[pause, channel].mean())) if pause.sum() >= WINDOW else None,
                steady_share=_steady_share(power[:, channel], steps[:, channel], programme),
                constant_share=float(constant[programme, channel].mean()),
            )
        )
    return tuple(found)


def _steady_share(power: np.ndarray, steps: np.ndarray, programme: np.ndarray) -> float:
    count = len(power) // WINDOW
    chosen = programme[: count * WINDOW].reshape(count, WINDOW).mean(axis=1) > 0.5
    if not chosen.any():
        return 0.0
    slope = decibels(steps[: count * WINDOW].reshape(count, WINDOW)[chosen])
    tenths = decibels(power[: count * WINDOW].reshape(count, -1, 10)[chosen].mean(axis=2))
    scatter = slope.std(axis=1)
    steady = (scatter >= QUIETEST_SCATTER_DB) & (scatter <= WIDEST_SCATTER_DB)
    return float((steady & (np.ptp(tenths, axis=1) <= WIDEST_DRIFT_DB)).mean())
