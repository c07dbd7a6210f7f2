"""The fold of short matters: samples in, the power in six bands for every millisecond out (dropouts, jumps, edges)."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.loops import Loops, compiled_loops

EDGES_HZ = (1000.0, 4000.0, 6000.0, 8500.0, 11_500.0, 15_000.0, 20_000.0)
HIGHEST = 0.47  # share of the rate: no band reaches beyond
BEFORE = 1  # hops of silence before the first frame
BINS_APART = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class FineState:
    """Between two blocks. Frozen; ``step`` makes a new one."""

    rate_hz: int
    hop: int  # frames: the millisecond nearest to a whole number of them
    window: np.ndarray  # float32, shape (hop,): the second half of a Hann window, half of its middle
    waves: np.ndarray  # float32, shape (2 * n_bins, hop)
    bands: np.ndarray  # float32, shape (n_bins, n_bands)
    edges_hz: tuple[float, ...]
    left: np.ndarray  # frames still wanted, channel by channel: shape (channels, n)
    loops: Loops
    made: int = 0  # hops handed out

    @property
    def hop_s(self) -> float:
        return self.hop / self.rate_hz


def begin_fine(rate_hz: int, channels: int, loops: Loops | None = None) -> FineState:
    """Nothing heard yet. At low rates there are fewer bands, at very low ones none.

    A band is heard through every second bin of its spectrum: neighbours of a Hann window tell much the same.
    """
    hop = max(4, round(rate_hz / 1000))
    window = np.hanning(2 * hop + 1)
    edges = tuple(edge for edge in EDGES_HZ if edge <= HIGHEST * rate_hz)
    edges = edges if len(edges) > 1 else ()
    bins, shares = _bins(edges, rate_hz, hop, float((window**2).sum()))
    angles = np.pi * bins[:, None] * np.arange(hop) / hop
    half = window[hop : 2 * hop].copy()
    half[0] /= 2
    return FineState(
        rate_hz=rate_hz,
        hop=hop,
        window=half.astype(np.float32),
        waves=np.concatenate([np.cos(angles), np.sin(angles)]).astype(np.float32),
        bands=shares.astype(np.float32),
        edges_hz=edges,
        left=np.zeros((channels, BEFORE * hop), np.float32),
        loops=loops or compiled_loops(),
    )


def _bins(edges: tuple[float, ...], rate_hz: int, hop: int, window_power: float) -> tuple[np.ndarray, np.ndarray]:
    """Bins to look at, filled up to a multiple of four, and what each adds to each band's mean square."""
    found, shares = [], []
    for at, (low, high) in enumerate(zip(edges, edges[1:])):
        inside = np.arange(2 * hop)[(np.arange(2 * hop) * rate_hz / (2 * hop) >= low)][::BINS_APART]
        inside = inside[inside * rate_hz / (2 * hop) < high]
        for one in inside:
            share = np.zeros(len(edges) - 1)
            share[at] = 2 * (high - low) / (rate_hz * window_power * len(inside))
            found.append(one)
            shares.append(share)
    while len(found) % 4:
        found.append(0)
        shares.append(np.zeros(len(edges) - 1))
    return np.array(found, float), np.array(shares).reshape(len(found), max(0, len(edges) - 1))


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
    samples = np.concatenate([state.left, block.T], axis=1)
    powers = _powers(samples, max(0, samples.shape[1] // state.hop - 1), state)
    left = samples[:, len(powers) * state.hop :].copy()
    return replace(state, left=left, made=state.made + len(powers)), powers


def finish_fine(state: FineState) -> np.ndarray:
    """The last hops, as if silence followed."""
    wanted = -(-(state.left.shape[1] - state.hop) // state.hop)
    return _powers(np.pad(state.left, ((0, 0), (0, 2 * state.hop))), max(0, wanted), state)


def _powers(samples: np.ndarray, count: int, state: FineState) -> np.ndarray:
    powers = np.zeros((len(samples), count, state.bands.shape[1]), np.float32)
    if count and state.bands.shape[1]:
        room = np.empty((2, state.hop), np.float32)
        for channel, plane in enumerate(samples.astype(np.float32, copy=False)):
            state.loops.fine_plane(plane, state.hop, state.window, state.waves, state.bands, room, powers[channel])
    return np.ascontiguousarray(powers.transpose(1, 0, 2))
