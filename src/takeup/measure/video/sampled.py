"""The dearer measures, taken on one recorded picture in so many: noise, jitter, colour delay, head switching."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from takeup.measure.video import chroma, half_height, headswitch
from takeup.measure.video.half_height import Half
from takeup.measure.video.jitter import line_jitter
from takeup.measure.video.noise import noise_codes


@dataclass(frozen=True, slots=True)
class Samples:
    """State: what the sampled pictures gave so far."""

    pictures: int = 0  # recorded ones seen
    noise: tuple[float, ...] = ()
    jitter: tuple[float, ...] = ()
    switching: headswitch.Looks = field(default_factory=headswitch.begin)
    lags: chroma.Lags = field(default_factory=chroma.begin)
    halves: half_height.Halves = field(default_factory=half_height.begin)
    before: np.ndarray | None = None  # luma of the picture before one whose noise is read
    earlier: np.ndarray | None = None  # and of the one before a picture whose halves are


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampled:
    """Medians over the sampled pictures; None where too few could tell."""

    noise_codes: float | None  # RMS on even areas [8-bit codes]
    jitter_px: float | None  # for a 720-sample line
    colour_delay_px: float | None
    head_switch_lines: int | None
    colour_down_lines: float | None = None  # of a field, positive when colour lies lower
    half_height: Half | None = None
    method: str = "sampled/1"

    @property
    def snr_db(self) -> float | None:
        """20 log10 of 219 over the noise; at most what rounding to a quarter of a code leaves."""
        return None if self.noise_codes is None else float(20 * np.log10(219 / max(self.noise_codes, 0.07)))


OFTEN, SELDOM = 8, 24  # one picture in so many: a short clip must tell too, a long tape tells enough
RARELY = 96  # what a setting does to all pictures alike
OFTEN_UNTIL = 96
FIRST, FIRST_EVERY = 32, 4  # a clip of a second holds too few lines for their jitter to come back to a tenth


def begin() -> Samples:
    return Samples()


def step(state: Samples, planes: tuple[np.ndarray, ...], bits: int, limits: Mapping[str, Mapping[str, Any]]) -> Samples:
    """Take one recorded picture; measure it when it is its turn.

    Parameters
    ----------
    limits : mapping
        sections of the video table by name, here ``sampled`` (and in it ``lossy`` of a lossy file) and ``half_height``
    """
    number, rows = state.pictures, limits["sampled"]
    noise, jitter, switching, lags, halves = state.noise, state.jitter, state.switching, state.lags, state.halves
    if _is_due(number, 2):
        found = noise_codes(planes[0], bits, state.before, lossy=bool(rows.get("lossy")))
        noise += (found,) if found is not None else ()
        switching = headswitch.step(switching, planes[0], bits, bent_px=rows["bent_px"], least_step=rows["least_step"])
    if _is_due(number, 4) or (number < FIRST and number % FIRST_EVERY == 0):
        turn = number // (FIRST_EVERY if number < FIRST else OFTEN)  # fields and halves take turns
        shaken = line_jitter(
            planes[0],
            bits,
            turn % 2,
            sharp_enough=rows["sharp_enough_px"],
            least_lines=int(rows["least_lines"]),
            low=turn // 2 % 2 == 1,
        )
        jitter += (shaken.square_px,) if shaken.square_px is not None else ()
    if number % (OFTEN if number < OFTEN_UNTIL else RARELY) == 5 or (number < FIRST and number % FIRST_EVERY == 1):
        half = limits["half_height"]
        halves = half_height.step(
            halves, planes[0], bits, alike=half["alike"], joined=half["joined"], before=state.earlier
        )
    if number % (2 * OFTEN if number < OFTEN_UNTIL else RARELY) == 6:
        lags = chroma.step(lags, planes, bits, number // (2 * OFTEN) % 2)
    earlier = planes[0] if number % FIRST_EVERY == 0 else None
    # a lossy coder takes a still picture's noise over from the one before
    before = planes[0] if _is_due(number, 1) and not rows.get("lossy") else None
    return Samples(number + 1, noise, jitter, switching, lags, halves, before, earlier)


def _is_due(number: int, turn: int) -> bool:
    every = OFTEN if number < OFTEN_UNTIL else SELDOM
    return number % every == turn


def finish(state: Samples, limits: Mapping[str, Any], *, lossless: bool) -> Sampled:
    """Middles; of noise the lower quarter, for texture only ever adds.

    Parameters
    ----------
    limits : mapping
        rows of ``video.sampled``
    lossless : bool
        whether the file keeps every picture as it came
    """
    delay = chroma.finish(state.lags, least_places=int(limits["least_places"]), sure_px=limits["sure_px"])
    return Sampled(
        noise_codes=float(np.percentile(state.noise, 25)) if state.noise else None,
        jitter_px=float(np.sqrt(max(0.0, _middle(state.jitter)))) if state.jitter else None,
        colour_delay_px=delay.delay_px,
        colour_down_lines=delay.down_lines,
        head_switch_lines=headswitch.finish(state.switching),
        half_height=half_height.finish(state.halves, lossless=lossless),
    )


def shaken_px(state: Samples, looks: int) -> float | None:
    """Jitter of the last pictures looked at [px]: the middle one of so many; None before there are so many."""
    if len(state.jitter) < looks:
        return None
    return float(np.sqrt(max(0.0, float(np.median(state.jitter[-looks:])))))


def _middle(values: tuple[float, ...]) -> float:
    """Mean of the middle three fifths: a torn picture has no say, and single ones are no median."""
    order = np.sort(values)
    cut = len(order) // 5
    return float(order[cut : len(order) - cut].mean())
