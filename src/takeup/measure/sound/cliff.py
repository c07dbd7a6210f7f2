"""Where a spectrum ends as only a digital filter ends it, and from which lower rate a capture was blown up.

The cliff is the last frequency above the plateau less 6 dB (check values, part 4, fault 14: found within 3 Hz on noise
with a fine spectrum; here within two bins of an 85 ms window, 24 Hz). Images: a filter that is too gentle leaves, above
half the lower rate, the mirror of what lies below it; the same chance rise and fall at both sides of the mirror, moment
after moment, has no other cause.
"""

from __future__ import annotations

from functools import cache

import numpy as np

LOWEST_HZ = 3000.0  # below it music and voices end as steeply by themselves
NYQUIST_SHARE = 0.4535  # of the rate: from here on it is the converter's own filter
REACH_HZ, DROP_DB = 500.0, 20.0
SMOOTH_HZ = 150.0  # medians so wide: single lines (a pilot, a whistle) neither make nor hide a cliff
AFTER_DB = 15.0  # nothing after a cliff comes back to so near under the plateau ...
STRAY_SHARE = 0.05  # ... but for so small a share of it
PART_DROP_DB, PARTS_SHARE = 15.0, 0.75  # so many parts of the capture must show it, so clearly
EDGE_DB = 6.0
SHELF_DB = 12.0  # the half kilohertz below the plateau lies at most so far under it: else it is one tone's foot
LOWER_RATES_HZ = (8000, 11_025, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000)
FILTER_SHARE = 0.95  # of half the lower rate: where the filter of the way up may begin to cut
NEAREST_HZ, FARTHEST_HZ = 60.0, 1000.0  # from the mirror
BEYOND = 0.7  # bins by which a Hann window moves the -6 dB point of a wall outwards (of its own lobe, by computation)
LIKENESS, USUAL = 0.6, 0.3  # chance stays under the second with twenty moments
FEWEST_MOMENTS = 20


def find_cliff(parts: np.ndarray, hz: np.ndarray, rate_hz: int) -> float | None:
    """The frequency at which the spectrum is cut off, None where it ends otherwise.

    Parameters
    ----------
    parts : ndarray, shape (parts, bins)
        Mean squares by part of the capture; parts without any sound left out.
    hz : ndarray, shape (bins,)
    rate_hz : int
        Of the file: the edge of its own converter is not told.
    """
    if not len(parts):
        return None
    width, reach = hz[1], round(REACH_HZ / 2 / hz[1])
    level = _decibels(parts.sum(axis=0))
    smooth = _medians(level, max(1, round(SMOOTH_HZ / width)))
    drop = np.full(len(hz), -np.inf)
    drop[reach:-reach] = smooth[: -2 * reach] - smooth[2 * reach :]
    within = (hz >= LOWEST_HZ) & (hz < NYQUIST_SHARE * rate_hz)
    for at in _peaks(np.where(within, drop, -np.inf)):
        plateau = smooth[at - reach]
        if np.median(smooth[max(0, at - 6 * reach) : at - 2 * reach]) < plateau - SHELF_DB:
            continue
        after = smooth[at + reach :]
        if len(after) and (after > plateau - AFTER_DB).mean() <= STRAY_SHARE and _all_along(parts, at, reach):
            edge = (_edge(level, smooth, at, reach) - BEYOND) * width
            return float(edge) if edge < NYQUIST_SHARE * rate_hz else None
    return None


def _peaks(drop: np.ndarray) -> list[int]:
    """Middles of the places that fall steeply enough, highest frequency first."""
    steep = drop >= DROP_DB
    edges = np.flatnonzero(np.diff(np.concatenate([[0], steep.astype(np.int8), [0]]))).reshape(-1, 2)
    return [int(first + np.argmax(drop[first:end])) for first, end in edges[::-1]]


def _all_along(parts: np.ndarray, at: int, reach: int) -> bool:
    """Whether nearly every part falls there: a sweep or one loud moment does not."""
    below = np.median(_decibels(parts[:, at - 2 * reach : at - reach // 2]), axis=1)
    above = np.median(_decibels(parts[:, at + reach : at + 2 * reach]), axis=1)
    return bool((below - above >= PART_DROP_DB).mean() >= PARTS_SHARE)


def _edge(level: np.ndarray, smooth: np.ndarray, at: int, reach: int) -> float:
    """Last bin above the plateau less 6 dB, in bins; between bins by the line through two neighbours."""
    three = _decibels(np.convolve(10 ** (level / 10), np.full(3, 1 / 3), "same"))
    least = float(np.median(smooth[max(0, at - 2 * reach) : at - reach // 2])) - EDGE_DB
    over = np.flatnonzero(three[at - reach : at + reach] >= least)
    last = int(over[-1]) + at - reach if len(over) else at
    here, there = three[last], three[min(last + 1, len(three) - 1)]
    return last + (float((here - least) / (here - there)) if here > least > there else 0.0)


def lower_rates(rate_hz: int) -> tuple[int, ...]:
    """Rates that a capture at this rate may have been blown up from, and whose mirror lies well inside it."""
    return tuple(rate for rate in LOWER_RATES_HZ if rate / 2 + 1.1 * FARTHEST_HZ < rate_hz / 2)


def rate_of_cliff(cliff_hz: float | None, rate_hz: int) -> int | None:
    """The lower rate whose filter would end the spectrum there."""
    if cliff_hz is None:
        return None
    fits = [rate for rate in lower_rates(rate_hz) if FILTER_SHARE <= cliff_hz / (rate / 2) <= 1.005]
    return fits[0] if fits else None


def mirrored(powers: np.ndarray, width_hz: float, rates: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Levels on both sides of each rate's mirror about their mean [dB]: two arrays of shape (rates, bins looked at)."""
    below, above = _about_mean(_decibels(powers[_mirrored_bins(width_hz, rates)]))
    return below, above


@cache
def _mirrored_bins(width_hz: float, rates: tuple[int, ...]) -> np.ndarray:
    """Bins below and above each rate's mirror. Shape (2, rates, bins looked at)."""
    near, far = round(NEAREST_HZ / width_hz), round(FARTHEST_HZ / width_hz)
    mirrors = np.array(rates)[:, None] / 2 / width_hz
    down = np.floor(mirrors).astype(int) - np.arange(near, far)
    return np.stack([down, np.round(2 * mirrors - down).astype(int)])


def _about_mean(levels: np.ndarray) -> np.ndarray:
    """How loud a moment is tells nothing here: only how it is shaped."""
    return levels - levels.mean(axis=-1, keepdims=True)


def rate_of_images(likeness: np.ndarray, rates: tuple[int, ...], moments: int) -> int | None:
    """The lowest rate about whose half the spectrum is its own mirror (its multiples are mirrors too)."""
    if moments < FEWEST_MOMENTS or not len(likeness) or np.sort(likeness)[(len(likeness) - 1) // 2] > USUAL:
        return None
    alike = np.flatnonzero(likeness >= LIKENESS)
    return rates[int(alike[0])] if len(alike) else None


def _decibels(power: np.ndarray) -> np.ndarray:
    return 10 * np.log10(np.maximum(power, 1e-30))


def _medians(values: np.ndarray, width: int) -> np.ndarray:
    width += 1 - width % 2
    padded = np.pad(values, width // 2, mode="edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=-1)
