"""Lines that stay: spectra of frames of some seconds, and the frequencies that stand out of their noise in nearly all.

A note begins, ends and breathes; hum is there in the pauses as well. So a line counts by how far it stands out in the
poorer frames, never by its sum. Loud moments weigh little within a frame: hum is heard best between the words.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FRAME_S, SHORTEST_FRAME_S, FRAMES_WANTED = 8.0, 1.2, 2.5
LOWEST_HZ, HIGHEST_HZ = 18.0, 1040.0
WEIGHT_S = 0.25
QUIETEST = 0.2  # share of moments that weigh the same, the quietest: leader must not outweigh the tape's own pauses
ALIKE = 4.0  # of power: so far a moment may be louder and still weigh the same (two lines that beat change by that)
NOISE_HZ, NOISE_BINS = 4.0, 24  # the noise of a bin is the median of so many neighbours
POORER = 0.3  # share of frames that may lack a line: masked by programme, or leader
SKIRT_HZ, MIRROR = 4.0, 1.2  # as far beside a strong line, alike within 5 dB on both sides
STANDS_OUT = {1: 20.0, 2: 10.0, 3: 8.0}  # times the noise, by number of frames; chance alone: under 1e-3 a chunk
STANDS_OUT_OF_MANY = 5.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Frames:
    """Spectra of weighted frames, summed over channels. A sine of amplitude A reads A^2 / 4 at its bin."""

    hz: np.ndarray  # of each bin, shape (n_bins,)
    starts: np.ndarray  # of each frame [samples]
    size: int  # samples of a frame
    rate_hz: float
    power: np.ndarray  # shape (n_frames, n_bins)
    noise: np.ndarray  # expected power of the noise in each bin, same shape
    weights: np.ndarray  # of each sample of the chunk, shape (n,)

    @property
    def frame_s(self) -> float:
        return self.size / self.rate_hz

    @property
    def bin_hz(self) -> float:
        return float(self.hz[1] - self.hz[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class Lasting:
    """One lasting line: its frequency, and how many times its noise it stands out in the poorer frames."""

    hz: float
    stands_out: float


def frames_of(samples: np.ndarray, rate_hz: float) -> Frames | None:
    """Cut a chunk, shape (n, channels), into frames that overlap by half; None when it is too short."""
    seconds = len(samples) / rate_hz
    frame_s = min(FRAME_S, seconds / FRAMES_WANTED)
    if frame_s < SHORTEST_FRAME_S:
        return None
    weights = weights_of(samples, rate_hz).astype(np.float32)
    planes = np.ascontiguousarray((samples - samples.mean(axis=0, dtype=float).astype(np.float32)).T)
    size = int(frame_s * rate_hz)
    padded = _quick_length(size)
    hz = np.fft.rfftfreq(padded, 1 / rate_hz)
    first, last = np.searchsorted(hz, [LOWEST_HZ, min(HIGHEST_HZ, 0.45 * rate_hz)])
    kept = slice(int(first), int(last))
    window = np.hanning(size).astype(np.float32)
    silent = 0.2 * window.sum() * float(np.median(weights))
    starts, powers = [], []
    for start in range(0, len(samples) - size + 1, size // 2):
        weighted = window * weights[start : start + size]
        total = weighted.sum()
        if total <= silent:  # mostly digital silence
            continue
        spectrum = np.fft.rfft(planes[:, start : start + size] * (weighted / total), padded, axis=1)[:, kept]
        starts.append(start)
        powers.append((spectrum.real**2 + spectrum.imag**2).sum(axis=0))
    if not powers:
        return None
    power = np.array(powers)
    return Frames(
        hz=hz[kept],
        starts=np.array(starts),
        size=size,
        rate_hz=rate_hz,
        power=power,
        noise=_noise(power, float(hz[1])),
        weights=weights,
    )


def weights_of(samples: np.ndarray, rate_hz: float) -> np.ndarray:
    """What each moment counts: one over its power, within limits; nothing where every sample is the same."""
    block = round(WEIGHT_S * rate_hz)
    count = max(1, len(samples) // block)
    power, same = np.zeros(count), np.ones(count, bool)
    for plane in samples.T:
        blocks = plane[: count * block].reshape(count, -1) if len(samples) >= block else plane[None]
        about = blocks - plane.mean()
        power += np.einsum("ij,ij->i", about, about) / blocks.shape[1]
        same &= blocks.max(axis=1) == blocks.min(axis=1)
    if same.all():
        return np.zeros(len(samples))
    quiet = ALIKE * float(np.quantile(power[~same], QUIETEST))
    weights = np.where(same, 0.0, quiet / np.maximum(power, quiet))
    middles = (np.arange(count) + 0.5) * block
    return np.interp(np.arange(len(samples)), middles, weights)


def lasting_lines(frames: Frames) -> list[Lasting]:
    """Lines that stand out in nearly all frames, strongest first."""
    over = np.minimum(frames.power / frames.noise, 1e6)
    near = over.copy()  # a line that wanders by a bin is still the same line
    near[:, 1:] = np.maximum(near[:, 1:], over[:, :-1])
    near[:, :-1] = np.maximum(near[:, :-1], over[:, 1:])
    least = np.quantile(near, POORER, axis=0, method="lower") if len(near) > 2 else near.min(axis=0)
    threshold = STANDS_OUT.get(len(near), STANDS_OUT_OF_MANY)
    height = np.log(over).mean(axis=0)
    tops = [int(at) for at in np.flatnonzero(least >= threshold) if height[at] == height[max(0, at - 2) : at + 3].max()]
    reach = round(SKIRT_HZ / frames.bin_hz)
    found = [
        Lasting(hz=_between_bins(height, at, frames), stands_out=float(least[at]))
        for at in tops
        if not any(_mirrored(height, at, other) for other in tops if 0 < abs(other - at) <= reach)
    ]
    return sorted(found, key=lambda line: -line.stands_out)


def _mirrored(height: np.ndarray, at: int, strong: int) -> bool:
    """Whether a line is a skirt or sideband of a stronger one: those stand alike on both its sides."""
    other = 2 * strong - at
    if height[strong] - height[at] < MIRROR or not 0 <= other < len(height):
        return False
    return bool(height[max(0, other - 1) : other + 2].max() > height[at] - MIRROR)


def _between_bins(height: np.ndarray, at: int, frames: Frames) -> float:
    if not 0 < at < len(height) - 1:
        return float(frames.hz[at])
    before, here, after = height[at - 1 : at + 2]
    bend = before - 2 * here + after
    return float(frames.hz[at] + frames.bin_hz * (0.5 * (before - after) / bend if bend < 0 else 0.0))


def _noise(power: np.ndarray, bin_hz: float) -> np.ndarray:
    """Median of neighbours over ln 2 (the noise of a bin is exponential), interpolated between blocks."""
    width = max(round(NOISE_HZ / bin_hz), NOISE_BINS)
    count = max(1, power.shape[1] // width)
    blocks = power[:, : count * width].reshape(len(power), count, -1)
    blocks = np.partition(blocks, width // 2, axis=2)
    middle = blocks[:, :, width // 2] / np.log(2)
    centres = (np.arange(count) + 0.5) * width
    bins = np.arange(power.shape[1])
    noise = np.array([np.exp(np.interp(bins, centres, np.log(np.maximum(row, 1e-30)))) for row in middle])
    return np.maximum(noise, 1e-30)


def _quick_length(least: int) -> int:
    """The next length that a Fourier transform does quickly: products of 2, 3 and 5."""
    best = 1 << (least - 1).bit_length()
    for fives in (1, 5, 25, 125):
        for threes in (1, 3, 9, 27):
            odd = fives * threes
            best = min(best, odd << max(0, (-(-least // odd) - 1).bit_length()))
    return best
