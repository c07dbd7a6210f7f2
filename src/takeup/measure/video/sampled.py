"""The dearer measures, taken on one recorded picture in so many: noise, jitter, colour delay, head switching."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from takeup.measure.video import chroma
from takeup.measure.video.headswitch import head_switch_lines
from takeup.measure.video.jitter import line_jitter
from takeup.measure.video.noise import noise_codes

Half = Literal["doubled", "interpolated", "blended"]
"""How a picture lost half its height: each line twice, every other one made from its neighbours, both fields mixed."""


@dataclass(frozen=True, slots=True)
class Samples:
    """State: what the sampled pictures gave so far."""

    pictures: int = 0  # recorded ones seen
    noise: tuple[float, ...] = ()
    jitter: tuple[float, ...] = ()
    switching: tuple[int, ...] = ()
    lags: chroma.Lags = chroma.Lags(np.zeros(2 * chroma.FARTHEST_PX + 1))


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
OFTEN_UNTIL = 96


def begin() -> Samples:
    return Samples()


def step(state: Samples, planes: tuple[np.ndarray, ...], bits: int, limits: Mapping[str, Any]) -> Samples:
    """Take one recorded picture; measure it when it is its turn.

    Parameters
    ----------
    limits : mapping
        rows of ``video.sampled``
    """
    number = state.pictures
    noise, jitter, switching, lags = state.noise, state.jitter, state.switching, state.lags
    if _is_due(number, 2):
        found = noise_codes(planes[0], bits)
        noise += (found,) if found is not None else ()
        lines = head_switch_lines(planes[0], bits, bent_px=limits["bent_px"], least_step=limits["least_step"])
        switching += (lines,) if lines is not None else ()
    if _is_due(number, 4):
        turn = number // OFTEN  # fields and halves take turns
        shaken = line_jitter(
            planes[0],
            bits,
            turn % 2,
            sharp_enough=limits["sharp_enough_px"],
            least_lines=int(limits["least_lines"]),
            low=turn // 2 % 2 == 1,
        )
        jitter += (shaken.square_px,) if shaken.square_px is not None else ()
    if _is_due(number, 6):
        lags = chroma.step(lags, planes, bits)
    return Samples(number + 1, noise, jitter, switching, lags)


def _is_due(number: int, turn: int) -> bool:
    every = OFTEN if number < OFTEN_UNTIL else SELDOM
    return number % every == turn


def finish(state: Samples, limits: Mapping[str, Any]) -> Sampled:
    """Medians; of noise the lower quarter, for texture only ever adds."""
    return Sampled(
        noise_codes=float(np.percentile(state.noise, 25)) if state.noise else None,
        jitter_px=float(np.sqrt(max(0.0, _middle(state.jitter)))) if state.jitter else None,
        colour_delay_px=chroma.finish(state.lags, least_likeness=limits["least_likeness"]).delay_px,
        head_switch_lines=int(np.median(state.switching)) if state.switching else None,
    )


def _middle(values: tuple[float, ...]) -> float:
    """Mean of the middle three fifths: a torn picture has no say, and single ones are no median."""
    order = np.sort(values)
    cut = len(order) // 5
    return float(order[cut : len(order) - cut].mean())
