"""The two loops behind the thin and the fine stream: a filter that keeps few samples, and short spectra by bands."""

from __future__ import annotations

import numba
import numpy as np

from takeup.measure.sound.compiling import compiled

QUICK = {"contract", "nsz", "reassoc", "arcp"}


def _thin_plane(plane: np.ndarray, taps: np.ndarray, step: int, out: np.ndarray) -> None:
    """Filter one channel and keep one sample of every ``step``.

    Parameters
    ----------
    plane : float32 array, shape ((m - 1) * step + taps,) or longer
    taps : float32 array
    step : int
    out : float32 array, shape (m,), changed in place
    """
    for k in range(out.shape[0]):
        part = plane[k * step : k * step + taps.shape[0]]
        total = np.float32(0.0)
        for i in range(taps.shape[0]):
            total += part[i] * taps[i]
        out[k] = total


def _fine_plane(
    plane: np.ndarray, hop: int, window: np.ndarray, waves: np.ndarray, bands: np.ndarray, room: np.ndarray,
    out: np.ndarray,
) -> None:  # fmt: skip
    """Powers in bands of overlapping windows, each two hops long, one hop apart.

    A window's two halves are folded upon each other about its middle: cosines need their sum, sines their difference.

    Parameters
    ----------
    plane : float32 array, shape ((m + 1) * hop,) or longer
    hop : int
    window : float32 array, shape (hop,)
        Its second half, from the middle on; half of the middle.
    waves : float32 array, shape (2 * n_bins, hop)
        Cosines of all wanted frequencies, then sines, from the middle on; the number of bins a multiple of four.
    bands : float32 array, shape (n_bins, n_bands)
        What each squared wave adds to each band.
    room : float32 array, shape (2, hop)
        Room to work in.
    out : float32 array, shape (m, n_bands), changed in place
    """
    even, odd = room[0, :hop], room[1, :hop]
    bins = bands.shape[0]
    for frame in range(out.shape[0]):
        later = plane[(frame + 1) * hop : (frame + 2) * hop]
        earlier = plane[frame * hop + 1 : (frame + 1) * hop + 1]
        for n in range(hop):
            even[n] = window[n] * (later[n] + earlier[hop - 1 - n])
            odd[n] = window[n] * (later[n] - earlier[hop - 1 - n])
        for band in range(out.shape[1]):
            out[frame, band] = np.float32(0.0)
        for k in range(0, bins, 4):
            a, b, c, d = _four(waves[k], waves[k + 1], waves[k + 2], waves[k + 3], even)
            e, f, g, h = _four(waves[bins + k], waves[bins + k + 1], waves[bins + k + 2], waves[bins + k + 3], odd)
            for band in range(out.shape[1]):
                out[frame, band] += (
                    bands[k, band] * (a * a + e * e)
                    + bands[k + 1, band] * (b * b + f * f)
                    + bands[k + 2, band] * (c * c + g * g)
                    + bands[k + 3, band] * (d * d + h * h)
                )


@numba.njit(nogil=True, error_model="numpy", fastmath=QUICK)
def _four(
    one: np.ndarray, two: np.ndarray, three: np.ndarray, four: np.ndarray, part: np.ndarray
) -> tuple[np.float32, np.float32, np.float32, np.float32]:
    """Four sums of products with the same part: what is read once serves four times."""
    a = b = c = d = np.float32(0.0)
    for n in range(part.shape[0]):
        value = part[n]
        a += one[n] * value
        b += two[n] * value
        c += three[n] * value
        d += four[n] * value
    return a, b, c, d


thin_plane = compiled(_thin_plane, fastmath=QUICK)
fine_plane = compiled(_fine_plane, fastmath=QUICK)
