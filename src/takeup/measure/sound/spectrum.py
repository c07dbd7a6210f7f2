"""The spectrum of a capture: how far up its programme reaches, where a digital filter ended it, how its hiss is shaped.

Bands are third octaves (see ``strip``). A digital filter ends a spectrum as nothing analogue does: it falls by more
than 20 dB within 500 Hz, at the same place all the time, and nothing comes after it (check values, part 4, fault 14).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.cliff import (
    NYQUIST_SHARE,
    find_cliff,
    lower_rates,
    mirrored,
    rate_of_cliff,
    rate_of_images,
)
from takeup.measure.sound.strip import band_weights, third_octaves
from takeup.measure.sound.windows import Windows, WindowState

MOST = 8192  # windows whose bands are kept; of more every second one is let go
PARTS = 32  # slices in time of the fine spectrum; of twice as many neighbours are joined
SILENT = 1e-15  # mean square: digital silence adds nothing to a spectrum


@dataclass(frozen=True, slots=True, kw_only=True)
class Mirrors:
    """Sums for the likeness of both sides of each lower rate's mirror, over windows. Shape (rates, bins)."""

    rates: tuple[int, ...]
    count: int
    below: np.ndarray
    above: np.ndarray
    squares_below: np.ndarray
    squares_above: np.ndarray
    products: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True)
class SpectrumState:
    """Frozen; ``step`` makes a new one."""

    rate_hz: int
    size: int  # frames of a window
    scale: float  # squared spectrum to mean square
    bins_hz: np.ndarray
    hz: np.ndarray  # middles of the third octaves
    weights: np.ndarray  # shape (bins, bands)
    mirrors: Mirrors
    every: int = 1  # one window kept of so many
    heard: int = 0  # windows
    starts: tuple[int, ...] = ()
    bands: tuple[np.ndarray, ...] = ()  # of each kept window: float32, shape (channels, bands)
    of_part: int = 1  # windows in one part
    parts: tuple[np.ndarray, ...] = ()  # mean square of each bin over the channels, float32: sums
    counts: tuple[int, ...] = ()  # windows in each part that were not silent


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectrum:
    """What is known of the spectrum of a capture; mean squares."""

    rate_hz: int
    starts: np.ndarray  # where each kept window begins [frames]
    size: int  # frames of a window
    hz: np.ndarray  # middles of the third octaves
    bands: np.ndarray  # shape (windows, channels, bands)
    cliff_hz: float | None
    lower_rate_hz: int | None  # the capture was blown up from this rate


def begin_spectrum(windows: WindowState) -> SpectrumState:
    """Nothing heard yet."""
    middles = third_octaves(windows.rate_hz)
    return SpectrumState(
        rate_hz=windows.rate_hz,
        size=windows.size,
        scale=2 / (windows.size * windows.window_power),
        bins_hz=windows.hz,
        hz=middles,
        weights=band_weights(windows, middles).astype(np.float32),
        mirrors=_no_mirrors(windows),
    )


def _no_mirrors(windows: WindowState) -> Mirrors:
    rates = lower_rates(windows.rate_hz)
    nothing = np.zeros_like(mirrored(np.ones(len(windows.hz)), windows.hz[1], rates)[0])
    return Mirrors(
        rates=rates, count=0, below=nothing, above=nothing, squares_below=nothing, squares_above=nothing,
        products=nothing,
    )  # fmt: skip


def step_spectrum(state: SpectrumState, windows: Windows | None) -> SpectrumState:
    """Take in some windows."""
    if windows is None:
        return state
    for start, spectra in zip(windows.starts, windows.spectra):
        powers = np.square(spectra.view(np.float32)).reshape(*spectra.shape, 2).sum(axis=-1)
        state = _with_mirrors(_with_part(_with_window(state, int(start), powers), powers), powers)
    return state


def _with_window(state: SpectrumState, start: int, powers: np.ndarray) -> SpectrumState:
    """The bands of a window put to the others."""
    if state.heard % state.every:
        return replace(state, heard=state.heard + 1)
    by_channel = np.stack([one @ state.weights for one in powers])  # one by one: small products need no threads
    starts, bands = (*state.starts, start), (*state.bands, by_channel)
    every = state.every
    if len(starts) > MOST:
        starts, bands, every = starts[::2], bands[::2], 2 * every
    return replace(state, heard=state.heard + 1, every=every, starts=starts, bands=bands)


def _with_part(state: SpectrumState, powers: np.ndarray) -> SpectrumState:
    """The fine spectrum of a window added to its part; called once for each window, after it was counted."""
    mean = powers.mean(axis=0) * np.float32(state.scale)
    sounds = float(mean.sum()) > SILENT
    parts, counts, of_part = state.parts, state.counts, state.of_part
    if (state.heard - 1) // of_part >= 2 * PARTS:
        parts = tuple(one + other for one, other in zip(parts[::2], parts[1::2]))
        counts = tuple(one + other for one, other in zip(counts[::2], counts[1::2]))
        of_part *= 2
    at = (state.heard - 1) // of_part
    if at == len(parts):
        parts, counts = (*parts, mean), (*counts, int(sounds))
    else:
        parts, counts = (*parts[:at], parts[at] + mean), (*counts[:at], counts[at] + sounds)
    return replace(state, parts=parts, counts=counts, of_part=of_part)


def _with_mirrors(state: SpectrumState, powers: np.ndarray) -> SpectrumState:
    """Both sides of the mirrors of one window of the louder channel; silence tells nothing."""
    louder = powers[int(np.argmax(powers.sum(axis=1)))]
    sums = state.mirrors
    if not sums.rates or float(louder.sum()) * state.scale <= SILENT:
        return state
    below, above = mirrored(louder, state.bins_hz[1], sums.rates)
    sums = Mirrors(
        rates=sums.rates,
        count=sums.count + 1,
        below=sums.below + below,
        above=sums.above + above,
        squares_below=sums.squares_below + below * below,
        squares_above=sums.squares_above + above * above,
        products=sums.products + below * above,
    )
    return replace(state, mirrors=sums)


def _likeness(sums: Mirrors) -> np.ndarray:
    """Correlation over time of both sides of each mirror, the median over its bins."""
    n = max(1, sums.count)
    shared = sums.products / n - sums.below * sums.above / n**2
    spread = np.sqrt(
        np.maximum(sums.squares_below / n - (sums.below / n) ** 2, 1e-9)
        * np.maximum(sums.squares_above / n - (sums.above / n) ** 2, 1e-9)
    )
    return np.median(shared / spread, axis=1) if len(shared) else np.zeros(0)


def finish_spectrum(state: SpectrumState) -> Spectrum | None:
    """The spectrum; None where no window was whole."""
    if not state.starts:
        return None
    counts = np.array(state.counts)
    means = np.array(state.parts)[counts > 0] / counts[counts > 0, None]
    cliff_hz = find_cliff(means, state.bins_hz, state.rate_hz)
    imaged = rate_of_images(_likeness(state.mirrors), state.mirrors.rates, state.mirrors.count)
    if imaged is not None and imaged / 2 < NYQUIST_SHARE * state.rate_hz:
        cliff_hz = min(cliff_hz or imaged / 2, imaged / 2)  # a gentle filter ends nowhere; the lower rate did
    return Spectrum(
        rate_hz=state.rate_hz,
        starts=np.array(state.starts),
        size=state.size,
        hz=state.hz,
        bands=np.stack(state.bands),
        cliff_hz=cliff_hz,
        lower_rate_hz=imaged or rate_of_cliff(cliff_hz, state.rate_hz),
    )
