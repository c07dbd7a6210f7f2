"""All facts about one capture of sound, from its history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from takeup.measure.sound import loudness
from takeup.measure.sound.channels import Channel, channels
from takeup.measure.sound.clipping import CutTops
from takeup.measure.sound.content import content
from takeup.measure.sound.ending import Ending, ending
from takeup.measure.sound.history import History, decibels, grouped
from takeup.measure.sound.levels import NoiseFloor, Pair, dc_offset, floor_over_time, noise_floor, pair
from takeup.measure.sound.states import ELECTRONICS, HISS, ZERO, States, tell_states
from takeup.measure.sound.strip import OFFSET_DB, Strip
from takeup.streams import Trace

TRACE_HOPS = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundFacts:
    """What was heard. Levels in dBFS; None where it cannot be said."""

    seconds: float
    hop_s: float
    states: States
    loudest_dbfs: float  # of any 100 ms
    left_out: Mapping[str, float]
    content_s: float
    lufs: float | None
    range_lu: float | None
    momentary_lufs: float | None
    short_term_lufs: float | None
    peak: float  # largest sample, share of full scale
    rail_places: int  # hops of 10 ms in which a channel touches full scale
    true_peak: tuple[float, ...]  # of each channel, share of full scale
    dc: tuple[float, ...]
    floor: NoiseFloor | None
    pair: Pair | None  # None for one channel
    channels: tuple[Channel, ...]
    ending: Ending | None
    clipping: tuple[CutTops, ...]
    trace: Trace

    @property
    def has_programme(self) -> bool:
        return self.ending is not None

    @property
    def digitally_silent(self) -> bool:
        return bool((self.states.state == ZERO).all())

    @property
    def has_hiss(self) -> bool:
        return bool((self.states.state == HISS).any())


def take_facts(
    history: History,
    limits: Mapping[str, Any],
    *,
    seconds: float,
    peak: float,
    rail_places: int,
    true_peak: tuple[float, ...],
    clipping: tuple[CutTops, ...],
    strip: Strip | None = None,
) -> SoundFacts:
    """Put all figures together.

    Parameters
    ----------
    history : History
    limits : mapping
        Rows ``sound.states``: ``hiss_highest_dbfs``, ``hiss_lowest_dbfs``, ``zero_s``, ``leader_s``, ``blank_s``.
    seconds, peak, true_peak, clipping, strip
        What only the walk itself could tell.
    """
    zero = np.all(history.constant & (history.squares < 1e-15), axis=1)
    dc = dc_offset(history, zero)
    power = history.power(dc)
    states = tell_states(
        power,
        history.steps,
        np.all(history.constant, axis=1),
        hiss_highest_dbfs=limits["hiss_highest_dbfs"],
        hiss_lowest_dbfs=limits["hiss_lowest_dbfs"],
    )
    shortest = {ZERO: limits["zero_s"], ELECTRONICS: limits["leader_s"], HISS: limits["blank_s"]}
    mask, left_out = content(states.state, history.hop_s, shortest)
    level = grouped(power.max(axis=1), TRACE_HOPS)
    momentary, short = loudness.momentary(history.loudness), loudness.short_term(history.loudness)
    return SoundFacts(
        seconds=seconds,
        hop_s=history.hop_s,
        states=states,
        loudest_dbfs=float(decibels(level.max() if len(level) else power.max(initial=0.0))),
        left_out=left_out,
        content_s=float(mask.sum() * history.hop_s),
        lufs=loudness.integrated(history.loudness, mask),
        range_lu=loudness.loudness_range(history.loudness, mask),
        momentary_lufs=float(momentary.max()) if len(momentary) else None,
        short_term_lufs=float(short.max()) if len(short) else None,
        peak=peak,
        rail_places=rail_places,
        true_peak=true_peak,
        dc=tuple(float(one) for one in dc),
        floor=noise_floor(power, mask),
        pair=pair(history, power, dc, mask & (states.programme | ~states.programme.any()))
        if power.shape[1] >= 2
        else None,
        channels=channels(power, history.steps, history.constant, states.state),
        ending=ending(states.state, power, history.hop_s),
        clipping=clipping,
        trace=_trace(level, mask, history.hop_s, floor_over_time(power, mask, history.hop_s), strip),
    )


def _trace(
    level: np.ndarray, mask: np.ndarray, hop_s: float, floors: tuple[float, np.ndarray], strip: Strip | None
) -> Trace:
    """A byte for each 0.1 s: dBFS + 100; whether something was recorded; the noise floor and the strip over time."""
    height = np.clip(np.round(decibels(level) + 100), 0, 100).astype(np.uint8)
    recorded = (grouped(mask.astype(float), TRACE_HOPS) > 0.5).astype(np.uint8)
    return Trace(
        step_s=TRACE_HOPS * hop_s,
        level=height.tobytes(),
        recorded=recorded.tobytes(),
        floor_step_s=floors[0],
        floor=np.clip(np.round(floors[1] + OFFSET_DB), 0, 255).astype(np.uint8).tobytes(),
        strip=strip.levels if strip else b"",
        strip_step_s=strip.step_s if strip else 0.0,
        strip_hz=strip.hz if strip else (),
    )
