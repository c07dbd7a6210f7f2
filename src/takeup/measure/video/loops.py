"""The loops over every pixel as one thing to hand round: whoever has them ready-made need not compile."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

BLOCK = 8  # pixels and lines of a block mean
BANDS = 4  # of the outlines, see motion


@dataclass(frozen=True, slots=True, kw_only=True)
class Loops:
    """Functions with the arguments of the modules they come from (below); arrays contiguous."""

    add_up: Callable[..., Any]
    compare: Callable[..., Any]
    lay_over: Callable[..., Any]
    stand_out: Callable[..., Any]
    count_codes: Callable[..., Any]
    lay_lines: Callable[..., Any]
    follow_lags: Callable[..., Any]
    block_noise: Callable[..., Any]
    block_apart: Callable[..., Any]


_READY: list[Loops] = []


def loops() -> Loops:
    """The loops that were handed over, else compiled ones: the same figures, but for the order of sums."""
    if not _READY:
        _READY.append(compiled_loops())
    return _READY[0]


def hand_over(ready: Loops) -> None:
    """Take loops that need not be compiled; kept machine code is the same wherever it comes from."""
    _READY[:] = [ready]


def compiled_loops() -> Loops:
    """The loops as numba compiles them, or finds them in its cache. Importing numba takes most of a second."""
    from takeup.measure.video.line_loops import block_apart, block_noise, follow_lags, lay_lines
    from takeup.measure.video.plane_loops import add_up, compare, count_codes, lay_over, stand_out

    return Loops(
        add_up=add_up,
        compare=compare,
        lay_over=lay_over,
        stand_out=stand_out,
        count_codes=count_codes,
        lay_lines=lay_lines,
        follow_lags=follow_lags,
        block_noise=block_noise,
        block_apart=block_apart,
    )
