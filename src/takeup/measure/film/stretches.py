"""Stretches: runs of neighbouring pictures or frames that share something, as pairs (first, last), both inclusive."""

from __future__ import annotations

import numpy as np

Stretches = tuple[tuple[int, int], ...]


def stretches(marked: np.ndarray) -> Stretches:
    """Runs of True.

    Parameters
    ----------
    marked : ndarray, shape (n,), bool

    Examples
    --------
    >>> stretches(np.array([True, True, False, True]))
    ((0, 1), (3, 3))
    """
    edges = np.diff(np.concatenate(([0], np.asarray(marked, dtype=np.int8), [0])))
    return tuple(zip(np.flatnonzero(edges == 1).tolist(), (np.flatnonzero(edges == -1) - 1).tolist()))


def marks(runs: Stretches, length: int) -> np.ndarray:
    """The inverse: True inside the runs, shape (length,)."""
    marked = np.zeros(length, dtype=bool)
    for first, last in runs:
        marked[first : last + 1] = True
    return marked
