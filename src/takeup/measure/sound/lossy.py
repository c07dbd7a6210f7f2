"""Traces of lossy coding in samples that look whole: lines rounded to nothing at the coder's own frames.

A coder cuts sound into frames, turns each into lines and rounds most of the faint ones to zero. Decoded, cut anywhere
and made louder or softer, the zeros come back when the same transform is laid on the same frames, and at no other
offset (coefficient statistics at the coder's own frames: after Derrien, JAES 2019, abstract read; search and score are
ours). Sound that never was coded has no offset that is better than the others: hiss, filters, gates, other rates, 16
bits leave it so. What is repeated exactly from frame to frame (a synthetic tone) is left out line by line.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.framed import banked, emphasised, lapped
from takeup.measure.sound.loops import Loops, compiled_loops
from takeup.measure.sound.spectrum import Spectrum

LENGTH, COUNT = 10_240, 6912  # frames of an excerpt, and offsets looked at in it; at 44.1 or 48 kHz
EVERY_S = 1.0  # excerpts may begin so often
QUIETEST = 1e-9  # mean square about the mean: -90 dBFS; there is nothing to round below it
MOST_LOOKS = 3
HIGH_RATE_HZ = 64_000  # above it a capture is looked at only when it was blown up from half or a quarter of its rate
LINES = np.arange(96, 672, 9)  # of 1024; 2 to 14 kHz at 44.1 kHz
SHORT_OVERLAP_RATE_HZ = 48_000
FAMILIES = {"bank": 576, "kaiser": 1024, "sine": 1024, "power sine": 1024, "short overlap": 960}  # frames apart
NEAR_ZERO = (1e-3, 1.5e-2)  # of a line's mean square about it; the second where rounding to 16 bits filled the zeros
ALIKE = 0.5  # correlation with the next frame at every offset: a tone, no noise (noise: 0.3 at most, nearly always)
LEAST_NOISE = 0.7  # of the lines: where more are tones, what is left between them moves with them
GROUPS, GROUPS_LEAST, GROUP_SCORE = 8, 3, 2.5
SCORE, APART = 8.0, 1.7  # uncoded sound stays under 5.5 and 1.5
NEIGHBOURS = 2  # offsets: a sample beside its own frames a coder's zeros are gone
SILENT_SHARE = 0.01  # of an excerpt at digital silence: the edges of a gate are no frames
REPEATS = 0.95  # likeness of an excerpt to itself a period later: one steady tone, whose zeros are its own
ROBUST = 1.4826  # median absolute deviation to standard deviation


@dataclass(frozen=True, slots=True, kw_only=True)
class LossyState:
    """Frozen; ``step`` makes a new one. Excerpts begin at whole seconds, the first loud enough one of each octave."""

    rate_hz: int
    length: int  # frames of an excerpt
    loops: Loops
    at: int = 0  # frames heard
    next_at: int = 0  # where the next excerpt begins
    taken: tuple[np.ndarray, ...] = ()  # pieces of the excerpt in hand, each of shape (n, channels)
    starts: tuple[int, ...] = ()  # of the excerpts [frames]
    excerpts: tuple[np.ndarray, ...] = ()  # float32, shape (length, channels)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lossy:
    """The surest trace. ``score``: by how many scatters its offset beats the others; ``family``: of the transform."""

    family: str
    score: float


def begin_lossy(rate_hz: int, loops: Loops | None = None) -> LossyState:
    """Nothing heard yet. ``loops``: ready-made ones; compiled here without them."""
    return LossyState(rate_hz=rate_hz, length=LENGTH * _step(rate_hz), loops=loops or compiled_loops())


def _step(rate_hz: int) -> int:
    return max(1, round(rate_hz / SHORT_OVERLAP_RATE_HZ)) if rate_hz > HIGH_RATE_HZ else 1


def step_lossy(state: LossyState, block: np.ndarray) -> LossyState:
    """Take in one block, float32, shape (n, channels)."""
    end = state.at + len(block)
    while state.next_at < end:
        held = sum(len(one) for one in state.taken)
        first = state.next_at + held - state.at
        piece = block[first : first + state.length - held].copy()
        state = replace(state, taken=(*state.taken, piece))
        if held + len(piece) < state.length:
            break
        state = _with_excerpt(state, np.concatenate(state.taken))
    return replace(state, at=end)


def _with_excerpt(state: LossyState, excerpt: np.ndarray) -> LossyState:
    """Keep it if it is loud enough, and say where the next one begins."""
    second = round(state.next_at / state.rate_hz / EVERY_S)
    loud = float(excerpt.var(axis=0, dtype=float).max()) > QUIETEST
    loud &= float((excerpt == 0).all(axis=1).mean()) < SILENT_SHARE
    loud = loud and _likeness_to_itself(excerpt) < REPEATS
    following = 2 * second + 1 if loud else second + 1
    excerpts = (*state.excerpts, excerpt) if loud else state.excerpts
    starts = (*state.starts, state.next_at) if loud else state.starts
    next_at = round(following * EVERY_S * state.rate_hz)
    return replace(state, next_at=next_at, taken=(), starts=starts, excerpts=excerpts)


def _likeness_to_itself(excerpt: np.ndarray) -> float:
    """The highest correlation of an excerpt with itself later on, past the first lags, where everything is alike."""
    plane = excerpt.mean(axis=1, dtype=float)
    plane -= plane.mean()
    count = len(plane)
    spectrum = np.fft.rfft(plane, 2 * count)
    products = np.fft.irfft(np.square(np.abs(spectrum)))[: count // 2]
    energy = np.concatenate([[0.0], np.cumsum(np.square(plane))])
    lags = np.arange(count // 2)
    likeness = products / np.sqrt(np.maximum(energy[count - lags] * (energy[count] - energy[lags]), 1e-30))
    unlike = np.flatnonzero(likeness < 0.5)
    return float(likeness[unlike[0] :].max()) if len(unlike) else 1.0


def finish_lossy(state: LossyState, spectrum: Spectrum | None) -> Lossy | None:
    """The surest trace, None where there is none.

    Parameters
    ----------
    spectrum : Spectrum or None
        Tells whether a capture at a high rate was blown up from a lower one; the frames are then those of that rate.
    """
    step = _step(state.rate_hz)
    if step > 1:
        lower = None if spectrum is None else spectrum.lower_rate_hz or spectrum.cliff_hz
        if lower is None or lower > 1.01 * state.rate_hz / step:
            return None
    sums: dict[tuple[str, int, int], np.ndarray] = {}
    for start, excerpt in list(zip(state.starts, state.excerpts))[::-1][: max(2, MOST_LOOKS // step)]:
        best: Lossy | None = None
        for phase in range(step):
            rate_hz, first = state.rate_hz // step, (start + phase) // step
            for family, views in _look(_thinned(excerpt, step, phase), rate_hz, state.loops):
                together = np.zeros_like(views[0])
                for view, shares in enumerate((*views, together)):
                    here = np.roll(shares, first % shares.shape[1], axis=1)
                    key = (family, view - len(views), phase)
                    sums[key] = sums.get(key, np.zeros_like(here)) + here
                    for one in (here, sums[key]):  # its frames may or may not go on evenly
                        score = _score(one)
                        if score is not None and (best is None or score > best.score):
                            best = Lossy(family=family, score=score)
                    together += shares
        if best is not None:
            return best
    return None


def _thinned(excerpt: np.ndarray, step: int, phase: int) -> np.ndarray:
    """One sample of ``step``, everything above the lower rate's half taken away. Shape (n, channels)."""
    if step == 1:
        return excerpt
    moved = np.roll(excerpt, -phase, axis=0)
    count = len(moved) // step
    spectrum = np.fft.rfft(moved[: count * step], axis=0)[: count // 2 + 1]
    return (np.fft.irfft(spectrum, count, axis=0) / step).astype(np.float32)


def _look(excerpt: np.ndarray, rate_hz: int, loops: Loops) -> Iterator[tuple[str, list[np.ndarray]]]:
    """Zeros through every transform: left, middle and side of the channels, at each limit; see :func:`_zeros`."""
    planes = [np.ascontiguousarray(excerpt[:, channel], np.float32) for channel in range(min(2, excerpt.shape[1]))]
    for family, period in FAMILIES.items():
        if family == "short overlap" and rate_hz != SHORT_OVERLAP_RATE_HZ:
            continue
        lines = [_lines(plane, family) for plane in planes]
        views = lines if len(lines) == 1 else [lines[0], lines[0] + lines[1], lines[0] - lines[1]]
        found = [zeros for view in views for zeros in _zeros(view, period, loops)]
        if found:
            yield family, found


def _lines(plane: np.ndarray, family: str) -> np.ndarray:
    """Lines at every offset, in order of frequency. Shape (lines, COUNT)."""
    if family == "bank":
        return banked(plane, COUNT, 3)
    if family == "short overlap":
        plane = emphasised(plane)
    return lapped(plane, COUNT, family, LINES)


def _zeros(lines: np.ndarray, period: int, loops: Loops) -> Iterator[np.ndarray]:
    """How often the lines lie near zero by group of lines and offset, for each limit; nothing where few are noise.

    Yields
    ------
    ndarray, shape (GROUPS, period)
        About each group's middle, in scatters of the mean of all groups.
    """
    noise = _like_noise(lines, period)
    if noise.mean() < LEAST_NOISE:
        return
    lines = np.ascontiguousarray(lines if noise.all() else lines[noise])
    counts, room = (
        np.zeros((len(NEAR_ZERO) * len(lines), period), np.float32),
        np.empty((2, lines.shape[1]), np.float32),
    )
    loops.near_zero(lines, period, np.array(NEAR_ZERO, np.float32), room, counts)
    sizes = np.array([len(one) for one in np.array_split(lines, GROUPS)])
    firsts, looks = np.cumsum(sizes) - sizes, (lines.shape[1] // period) * sizes
    for by_line in counts.reshape(len(NEAR_ZERO), len(lines), period):
        shares = np.add.reduceat(by_line, firsts, axis=0) / looks[:, None].astype(np.float32)
        shares -= _middle(shares)[:, None]
        yield shares / max(_scatter(shares.mean(axis=0)), 1e-4)


def _scatter(values: np.ndarray) -> float:
    """Standard deviation by the median, which a peak does not move."""
    return ROBUST * float(_middle(np.abs(values - _middle(values))))


def _middle(values: np.ndarray) -> np.ndarray:
    """The median along the last axis, which is even here: a sixth of the time that NumPy's takes over so few."""
    ordered, half = np.sort(values, axis=-1), values.shape[-1] // 2
    return (ordered[..., half - 1] + ordered[..., half]) / 2


def _score(zeros: np.ndarray) -> float | None:
    """How far the best offset beats the others, in scatters; None where it does not, or in few groups only."""
    means = zeros.mean(axis=0)
    means = means - _middle(means)
    offset = int(np.argmax(means))
    others = means.copy()
    others[(offset + np.arange(-NEIGHBOURS, NEIGHBOURS + 1)) % len(means)] = -np.inf
    if means[offset] < APART * float(others.max()):  # nearly always: the scatter is then not asked for
        return None
    score = float(means[offset]) / max(_scatter(means), 1e-9)
    if score < SCORE:
        return None
    spread = np.array([max(_scatter(one), one.std() / 2, 1e-9) for one in zeros])
    return score if (zeros[:, offset] / spread >= GROUP_SCORE).sum() >= GROUPS_LEAST else None


def _like_noise(lines: np.ndarray, period: int) -> np.ndarray:
    """Which lines differ from frame to frame; a synthetic tone's repeat or turn at an even pace."""
    early, late = lines[:, :-period], lines[:, period:]
    product, earlier, later = (np.einsum("kn,kn->k", *both) for both in ((early, late), (early, early), (late, late)))
    total = np.sqrt(earlier * later)
    return (total > 0) & (np.abs(product) < ALIKE * total)
