"""How the loops that touch every sample are compiled: without Python's lock, kept in numba's cache."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba


def compiled(function: Callable[..., Any], **options: Any) -> Callable[..., Any]:
    """The function compiled at its first call; cached beside the module or in the user's cache.

    Where neither folder can be written it is compiled anew in every run: slower to start, never a fault.
    """
    wanted: dict[str, Any] = {"nogil": True, "error_model": "numpy"} | options
    try:
        return numba.njit(cache=True, **wanted)(function)
    except RuntimeError:  # numba: no locator available
        return numba.njit(**wanted)(function)
