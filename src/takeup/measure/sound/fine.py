"""The fold of short matters: samples in, the power in six bands for every millisecond out (dropouts, jumps, edges)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

EDGES_HZ = (1000.0, 4000.0, 6000.0, 8500.0, 11_500.0, 15_000.0, 20_000.0)
HIGHEST = 0.47  # share of the rate: no band reaches beyond
BEFORE = 1  # hops of silence before the first frame
GROUP = 64  # hops made at once


@dataclass(frozen=True, slots=True, kw_only=True)
class FineState:
    """Between two blocks. Frozen; ``step`` makes a new one."""

    rate_hz: int
    hop: int  # frames: the millisecond nearest to a whole number of them
    window: np.ndarray  # float32, shape (2 * hop,)
    bands: np.ndarray  # float32, shape (bins, n_bands)
    edges_hz: tuple[float, ...]
    left: np.ndarray  # frames still wanted, shape (n, channels)
    made: int = 0  # hops handed out

    @property
    def hop_s(self) -> float:
        return self.hop / self.rate_hz


def begin_fine(rate_hz: int, channels: int) -> FineState:
    """Nothing heard yet. At low rates there are fewer bands, at very low ones none."""
    hop = max(4, round(rate_hz / 1000))
    size = 2 * hop
    window = np.hanning(size + 1)[:size].astype(np.float32)
    edges = tuple(edge for edge in EDGES_HZ if edge <= HIGHEST * rate_hz)
    edges = edges if len(edges) > 1 else ()
    hz = np.arange(hop + 1) * rate_hz / size
    bands = np.zeros((hop + 1, max(0, len(edges) - 1)), np.float32)
    for at, (low, high) in enumerate(zip(edges, edges[1:])):
        bands[(hz >= low) & (hz < high), at] = 2 / (size * float((window.astype(float) ** 2).sum()))
    return FineState(
        rate_hz=rate_hz,
        hop=hop,
        window=window,
        bands=bands,
        edges_hz=edges,
        left=np.zeros((BEFORE * hop, channels), np.float32),
    )


def step_fine(state: FineState, block: np.ndarray) -> tuple[FineState, np.ndarray]:
    """Take in one block.

    Parameters
    ----------
    block : ndarray, float32, shape (n, channels)

    Returns
    -------
    FineState, ndarray
        Mean square in each band, float32, shape (m, channels, n_bands). Entry k of the whole capture is seen through a
        Hann window two hops long whose middle lies at frame k * hop. White noise of variance 1 reads, in a band of B
        hertz, B / (rate / 2) on the average.
    """
    samples = np.concatenate([state.left, block]) if len(state.left) else block
    groups = max(0, len(samples) // state.hop - 1) // GROUP
    made = [_powers(samples, at * GROUP, GROUP, state) for at in range(groups)]
    powers = np.concatenate(made) if made else np.empty((0, samples.shape[1], state.bands.shape[1]), np.float32)
    return replace(state, left=samples[len(powers) * state.hop :].copy(), made=state.made + len(powers)), powers


def finish_fine(state: FineState) -> np.ndarray:
    """The last hops, as if silence followed."""
    after = np.zeros((2 * state.hop, state.left.shape[1]), np.float32)
    wanted = -(-(len(state.left) - state.hop) // state.hop)
    return _powers(np.concatenate([state.left, after]), 0, max(0, wanted), state)


def _powers(samples: np.ndarray, first: int, count: int, state: FineState) -> np.ndarray:
    """So many hops. Always made in groups of one size, so that rounding does not depend on the blocks."""
    from scipy.fft import rfft

    powers = np.empty((count, samples.shape[1], state.bands.shape[1]), np.float32)
    if not count or not state.bands.shape[1]:
        return powers
    part = samples[first * state.hop : (first + count + 1) * state.hop]
    for channel in range(samples.shape[1]):
        plane = np.ascontiguousarray(part[:, channel])
        frames = np.lib.stride_tricks.sliding_window_view(plane, 2 * state.hop)[:: state.hop] * state.window
        spectra = rfft(frames, axis=1, overwrite_x=True)
        powers[:, channel] = (spectra.real**2 + spectra.imag**2) @ state.bands
    return powers
