"""The loops over every sample as one thing to hand round: whoever has them ready-made need not compile."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Loops:
    """Functions with the arguments of the modules they come from (below); arrays contiguous."""

    hear_pair: Callable[..., Any]
    weigh_pair: Callable[..., Any]
    unpack_24: Callable[..., Any]
    thin_plane: Callable[..., Any]
    fine_plane: Callable[..., Any]
    slot_peaks: Callable[..., Any]
    same_moments: Callable[..., Any]
    near_zero: Callable[..., Any]
    flat_tops: Callable[..., Any]


def compiled_loops() -> Loops:
    """The loops as numba compiles them, or finds them in its cache. Importing numba takes most of a second."""
    from takeup.measure.sound.ear import hear_pair
    from takeup.measure.sound.framed_loops import near_zero
    from takeup.measure.sound.gap_loops import same_moments, slot_peaks
    from takeup.measure.sound.sift import fine_plane, thin_plane
    from takeup.measure.sound.top_loops import flat_tops
    from takeup.measure.sound.unpack import unpack_24
    from takeup.measure.sound.weigh import weigh_pair

    return Loops(
        hear_pair=hear_pair,
        weigh_pair=weigh_pair,
        unpack_24=unpack_24,
        thin_plane=thin_plane,
        fine_plane=fine_plane,
        slot_peaks=slot_peaks,
        same_moments=same_moments,
        near_zero=near_zero,
        flat_tops=flat_tops,
    )
