"""The dearer measures, taken on one recorded picture in so many: noise, jitter, colour delay, head switching."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from takeup.measure.video import chroma
from takeup.measure.video.headswitch import head_switch_lines
from takeup.measure.video.jitter import line_jitter
from takeup.measure.video.noise import noise_codes


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
    method: str = "sampled/1"

    @property
    def snr_db(self) -> float | None:
        """20 log10 of 219 over the noise; at most what rounding to a quarter of a code leaves."""
        return None if self.noise_codes is None else float(20 * np.log10(219 / max(self.noise_codes, 0.07)))


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
    every = int(limits["every"])
    if number % every == min(2, every - 1):
        found = noise_codes(planes[0], bits)
        noise += (found,) if found is not None else ()
        lines = head_switch_lines(planes[0], bits, bent_px=limits["bent_px"], least_step=limits["least_step"])
        switching += (lines,) if lines is not None else ()
    if number % (2 * every) == min(4, every - 1):
        parity = number // (2 * every) % 2
        shaken = line_jitter(
            planes[0], bits, parity, sharp_enough=limits["sharp_enough_px"], least_lines=int(limits["least_lines"])
        )
        jitter += (shaken.rms_px,) if shaken.rms_px is not None else ()
    if number % (2 * every) == min(6, every - 1):
        lags = chroma.step(lags, planes, bits)
    return Samples(number + 1, noise, jitter, switching, lags)


def finish(state: Samples, limits: Mapping[str, Any]) -> Sampled:
    """Medians; of noise the lower quarter, for texture only ever adds."""
    return Sampled(
        noise_codes=float(np.percentile(state.noise, 25)) if state.noise else None,
        jitter_px=float(np.median(state.jitter)) if state.jitter else None,
        colour_delay_px=chroma.finish(state.lags, least_likeness=limits["least_likeness"]).delay_px,
        head_switch_lines=int(np.median(state.switching)) if state.switching else None,
    )
