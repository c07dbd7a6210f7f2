"""The one loop that touches every sample: compiled, two channels at once, sums for each hop of about 10 ms.

Everything else in this room works on those sums. Only whole hops are heard (the fold in ``hops`` keeps the rest), so
that the compiler may add in any order within a hop and any cutting into blocks still gives the same bits.
"""

from __future__ import annotations

import numba
import numpy as np

from takeup.measure.sound.compiling import compiled
from takeup.measure.sound.sums import (
    BOTH,
    CHANNEL_STATE,
    FINE,
    HALF_TAPS,
    HIGH,
    HIGH_COUNT,
    HIGH_RUNS,
    LEFT,
    LOW,
    LOW_BAND,
    LOW_COUNT,
    LOW_RUNS,
    PEAK,
    RIGHT,
    RUN,
    SQUARES,
    STEPS,
    SUM,
    TAIL,
    TRUE_PEAK,
)

SHORTEST_RUN = 3  # equal neighbours [samples]
ENTRY_STEPS = 5.0  # a cut top is entered and left by steps of at least so many quantising steps ...
CAP_STEPS = 8.0  # ... and the part that is missing above it would be so high: a rounded natural top stays below both
WORTH = 0.5  # a place is interpolated when its samples reach this share of the true peak so far
COARSE = 0.75  # ... and at every phase when half way between them it comes so near: cos(0.45 pi / 2) at 0.45 fs
STRIDE = 32  # samples looked at together

QUICK = {"contract", "nsz", "reassoc", "arcp"}


def _hear_pair(
    block: np.ndarray,
    left: int,
    right: int,
    hop: int,
    low_step: int,
    low_share: float,
    phases: np.ndarray,
    tails: np.ndarray,
    state: np.ndarray,
    planes: np.ndarray,
    done: np.ndarray,
) -> None:
    """Hear whole hops of two channels (of the same one twice when there is only one).

    Parameters
    ----------
    block : float32 array, shape (hops * hop, channels)
    left, right : int
        Columns to hear.
    hop, low_step : int
        Frames in a hop; frames averaged for one step of the low band.
    low_share : float
        One-pole coefficient of the low band at its own rate.
    phases : float32 array, shape (n_phases, 2 * HALF_TAPS)
        Interpolator of the true peak.
    tails : float32 array, shape (2, TAIL); state : float64 array, shape (STATE,)
        Continue from call to call; changed in place.
    planes : float32 array, shape (2, TAIL + hop)
        Room to work in.
    done : float64 array, shape (hops, SUMS)
        Receives the sums of each hop.
    """
    a = planes[0]
    b = planes[1]
    for i in range(TAIL):
        a[i] = tails[0, i]
        b[i] = tails[1, i]
    for at in range(done.shape[0]):
        start = at * hop
        for i in range(hop):
            a[TAIL + i] = block[start + i, left]
            b[TAIL + i] = block[start + i, right]
        _add_up(a, hop, state, 0, done[at, LEFT:RIGHT])
        _add_up(b, hop, state, CHANNEL_STATE, done[at, RIGHT:BOTH])
        _pair_up(a, b, hop, low_step, low_share, state, done[at])
        _interpolate(a, hop, phases, state, 0, done[at, LEFT:RIGHT])
        _interpolate(b, hop, phases, state, CHANNEL_STATE, done[at, RIGHT:BOTH])
        for i in range(TAIL):
            a[i] = a[hop + i]
            b[i] = b[hop + i]
    for i in range(TAIL):
        tails[0, i] = a[i]
        tails[1, i] = b[i]


@numba.njit(nogil=True, error_model="numpy", fastmath=QUICK)
def _add_up(a: np.ndarray, hop: int, state: np.ndarray, base: int, sums: np.ndarray) -> None:
    """Sum, energy, energy of the steps, extremes, and how often they are reached; cut tops where there may be any."""
    x = a[TAIL : TAIL + hop]
    before = a[TAIL - 1 : TAIL - 1 + hop]
    total, squares, steps = 0.0, 0.0, 0.0
    high, low = x[0], x[0]
    for i in range(hop):
        value = np.float64(x[i])
        step = np.float64(x[i] - before[i])
        total += value
        squares += value * value
        steps += step * step
        high = max(high, x[i])
        low = min(low, x[i])
    at_high, at_low = 0, 0
    for i in range(hop):
        at_high += x[i] == high
        at_low += x[i] == low
    sums[SUM], sums[SQUARES], sums[STEPS] = total, squares, steps
    sums[HIGH], sums[HIGH_COUNT], sums[HIGH_RUNS] = high, at_high, 0.0
    sums[LOW], sums[LOW_COUNT], sums[LOW_RUNS] = low, at_low, 0.0
    if state[FINE] == 0.0:
        for i in range(hop):
            if x[i] * np.float32(32768.0) != np.floor(x[i] * np.float32(32768.0)):
                state[FINE] = 1.0
                break
    run = base + RUN
    carried = state[run + 2]
    if carried + max(at_high, at_low) >= SHORTEST_RUN and (high != low or carried < hop):
        _find_runs(x, hop, state, run, sums)
    else:
        _carry_run(x, hop, state, run)


@numba.njit(nogil=True)
def _carry_run(x: np.ndarray, hop: int, state: np.ndarray, run: int) -> None:
    """Remember the equal samples at the end of a hop in which no cut top can be."""
    last = x[hop - 1]
    length = 1
    while length < hop and x[hop - 1 - length] == last:
        length += 1
    if length == hop:
        if state[run] == last:
            state[run + 2] += hop
        else:
            state[run + 1], state[run], state[run + 2] = state[run], last, hop
        return
    state[run], state[run + 1], state[run + 2] = last, x[hop - 1 - length], length


@numba.njit(nogil=True)
def _find_runs(x: np.ndarray, hop: int, state: np.ndarray, run: int, sums: np.ndarray) -> None:
    """Walk a hop for runs of equal samples at its extremes that are entered and left by a jump: cut tops."""
    quantum = 2.0**-23 if state[FINE] > 0.0 else 2.0**-15
    value, before, length = state[run], state[run + 1], state[run + 2]
    for i in range(hop):
        sample = np.float64(x[i])
        if sample == value:
            length += 1.0
            continue
        if length >= SHORTEST_RUN and value != 0.0:
            up = value > 0
            entry = value - before if up else before - value
            leaving = value - sample if up else sample - value
            least = min(entry, leaving)
            if least >= ENTRY_STEPS * quantum and length * least * 0.25 >= CAP_STEPS * quantum:
                extreme = HIGH if up else LOW
                beyond = value > sums[HIGH] if up else value < sums[LOW]
                if beyond:  # the run itself lies in the hop before
                    sums[extreme], sums[extreme + 1], sums[extreme + 2] = value, 0.0, 1.0
                elif value == sums[extreme]:
                    sums[extreme + 2] += 1.0
        before, value, length = value, sample, 1.0
    state[run], state[run + 1], state[run + 2] = value, before, length


@numba.njit(nogil=True, error_model="numpy", fastmath=QUICK)
def _pair_up(
    a: np.ndarray, b: np.ndarray, hop: int, low_step: int, low_share: float, state: np.ndarray, sums: np.ndarray
) -> None:
    """Product of the channels, whole and below 1 kHz (there azimuth cannot turn the phase)."""
    x, y = a[TAIL : TAIL + hop], b[TAIL : TAIL + hop]
    cross = 0.0
    for i in range(hop):
        cross += np.float64(x[i]) * np.float64(y[i])
    sums[BOTH] = cross
    left, right = LOW_BAND, CHANNEL_STATE + LOW_BAND
    l1, l2, r1, r2 = state[left], state[left + 1], state[right], state[right + 1]
    ll, rr, lr = 0.0, 0.0, 0.0
    for step in range(hop // low_step):
        one, two = np.float32(0.0), np.float32(0.0)
        some, others = x[step * low_step : (step + 1) * low_step], y[step * low_step : (step + 1) * low_step]
        for j in range(low_step):
            one += some[j]
            two += others[j]
        l1 += low_share * (one / low_step - l1)
        r1 += low_share * (two / low_step - r1)
        l2 += low_share * (l1 - l2)
        r2 += low_share * (r1 - r2)
        ll += l2 * l2
        rr += r2 * r2
        lr += l2 * r2
    state[left], state[left + 1], state[right], state[right + 1] = l1, l2, r1, r2
    sums[BOTH + 1], sums[BOTH + 2], sums[BOTH + 3] = ll * low_step, rr * low_step, lr * low_step


@numba.njit(nogil=True, error_model="numpy", fastmath=QUICK)
def _interpolate(a: np.ndarray, hop: int, phases: np.ndarray, state: np.ndarray, base: int, sums: np.ndarray) -> None:
    """The highest interpolated value of the hop, where it may beat the highest so far (else what that was)."""
    peak = np.float32(state[base + TRUE_PEAK])
    first = TAIL // 2
    start = 0
    while start < hop:
        size = min(STRIDE, hop - start)
        near = a[first + start - 1 : first + start + size + 2]
        highest = np.float32(0.0)
        for i in range(size + 3):
            highest = max(highest, abs(near[i]))
        if highest > np.float32(WORTH) * peak:
            peak = _peak_near(near, size, a[first + start - HALF_TAPS + 1 :], phases, peak)
        start += size
    state[base + TRUE_PEAK] = peak
    sums[PEAK] = peak


@numba.njit(nogil=True, error_model="numpy", fastmath=QUICK)
def _peak_near(near: np.ndarray, size: int, wide: np.ndarray, phases: np.ndarray, peak: np.float32) -> np.float32:
    """Interpolate between neighbours of which one is a local maximum; at every phase only where half way comes near."""
    worth = np.float32(WORTH) * peak
    count = phases.shape[0]
    for i in range(size):
        here, there = abs(near[i + 1]), abs(near[i + 2])
        if max(here, there) <= worth or (here < abs(near[i]) and there < abs(near[i + 3])):
            continue
        around = wide[i : i + 2 * HALF_TAPS]
        best = max(max(here, there), _at_phase(around, phases[count // 2]))
        if best < np.float32(COARSE) * peak:
            continue
        for phase in range(1, count):
            best = max(best, _at_phase(around, phases[phase]))
        peak = max(peak, best)
        worth = np.float32(WORTH) * peak
    return peak


@numba.njit(nogil=True, error_model="numpy", fastmath=QUICK)
def _at_phase(around: np.ndarray, taps: np.ndarray) -> np.float32:
    value = np.float32(0.0)
    for tap in range(taps.shape[0]):  # a bound known only here keeps the loop a loop, which is made four or eight wide
        value += around[tap] * taps[tap]
    return abs(value)


hear_pair = compiled(_hear_pair, fastmath=QUICK)
