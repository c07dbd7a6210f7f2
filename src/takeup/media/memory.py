"""Keeps a long run of large arrays from swelling: each large block is given back to the system when it is done with.

The C library of Linux otherwise carves small arrays that stay (the miniature's parts) out of the holes that large ones
leave, so the next large one finds no room: a bed of 220 MB passed through in strips of 6 MB came to hold 680 MB, and
130 MB with this (measured, ``bench/scan.py``).
"""

from __future__ import annotations

import ctypes
import sys
from functools import cache

M_TRIM_THRESHOLD, M_MMAP_THRESHOLD = -1, -3  # glibc, malloc.h
LARGE_BYTES = 1 << 20
KEPT_BYTES = 4 << 20  # free at the heap's end: given back at each small free, it would be asked for again at once


@cache
def give_back_large_blocks() -> bool:
    """Ask the C library to keep blocks of 1 MB and more apart; whether it can (glibc alone; harmless elsewhere)."""
    if not sys.platform.startswith("linux"):
        return False
    try:
        library = ctypes.CDLL(None)
        library.mallopt(M_TRIM_THRESHOLD, KEPT_BYTES)
        return bool(library.mallopt(M_MMAP_THRESHOLD, LARGE_BYTES))
    except (AttributeError, OSError):
        return False
