"""Luma in eight bits, made once a picture and shared by every measure that looks at all of it."""

from __future__ import annotations

import numpy as np

from takeup.errors import UnusableSamples

SMALLEST = 16  # lines and columns under which there is nothing to look at


def eight_bits(luma: np.ndarray, bits: int) -> np.ndarray:
    """A luma plane as contiguous uint8; the lower bits are dropped.

    Parameters
    ----------
    luma : ndarray, shape (rows, columns)
        as it lies in the file, ``bits`` in a sample

    Raises
    ------
    UnusableSamples
        If it is not two-dimensional or smaller than sixteen lines or columns.
    """
    if luma.ndim != 2 or min(luma.shape) < SMALLEST:
        raise UnusableSamples("samples.not-a-picture", shape=luma.shape)
    if bits == 8:
        return np.ascontiguousarray(luma)
    if bits > 8:
        return (luma >> (bits - 8)).astype(np.uint8)
    return np.ascontiguousarray(luma << (8 - bits)).astype(np.uint8)
