"""Tape wound turn by turn on a hub, what one turn prints onto the next, and faults that sit on one place of a reel.

Nothing here knows the closed law of a reel: each turn is one circle, wider than the last by the tape's thickness.
"""

from __future__ import annotations

import numpy as np
from make.sound import Samples, db
from scipy.ndimage import map_coordinates

SPEED_MM_S = 47.625
SIDE_S = {18.0: 1800.0, 12.0: 2700.0, 9.0: 3600.0}  # C60, C90, C120


def wound(thickness_um: float, length_mm: float, hub_mm: float = 11.0) -> np.ndarray:
    """Where each turn begins, in millimetres of tape from the hub; a few turns more than the length needs."""
    radius, at, starts = hub_mm + thickness_um / 2000, 0.0, [0.0]
    while at < length_mm + 500:
        at += 2 * np.pi * radius
        radius += thickness_um / 1000
        starts.append(at)
    return np.array(starts)


def neighbours(at_s: np.ndarray, reel: str, thickness_um: float, side_s: float) -> tuple[np.ndarray, np.ndarray]:
    """When the tape one turn later and one turn earlier plays [s]; not a number where there is no such turn."""
    starts = wound(thickness_um, side_s * SPEED_MM_S)
    count = np.arange(len(starts))
    along = at_s * SPEED_MM_S if reel == "take-up" else (side_s - at_s) * SPEED_MM_S
    turn = np.interp(along, starts, count)
    outer, inner = (np.interp(turn + by, count, starts, left=np.nan, right=np.nan) for by in (1, -1))
    if reel == "take-up":
        return outer / SPEED_MM_S, inner / SPEED_MM_S
    return side_s - inner / SPEED_MM_S, side_s - outer / SPEED_MM_S


def through_a_layer(samples: Samples, rate: int, thickness_um: float) -> Samples:
    """What reaches the next turn: k d exp(1 - k d), strongest (0 dB) at wavelength 2 pi d. Shape as given."""
    hz = np.fft.rfftfreq(len(samples), 1 / rate)
    depth = 2 * np.pi * hz / (SPEED_MM_S * 1000) * thickness_um
    return np.fft.irfft(np.fft.rfft(samples, axis=0) * (depth * np.exp(1 - depth))[:, None], len(samples), axis=0)


def printed(
    samples: Samples,
    rate: int,
    *,
    before_db: float | None = None,
    after_db: float | None = None,
    reel: str = "take-up",
    thickness_um: float = 12.0,
    from_s: float = 0.0,
    flat: bool = False,
) -> Samples:
    """Programme with print-through from a stored reel. Shape (n, channels), as given.

    Parameters
    ----------
    before_db, after_db : level of the echo that comes before its sound, and after it; None for none
    from_s : where on the side the capture begins
    flat : the echo holds all frequencies alike, instead of what a layer lets through
    """
    at_s = from_s + np.arange(len(samples)) / rate
    later, earlier = neighbours(at_s, reel, thickness_um, SIDE_S[thickness_um])
    source = samples if flat else through_a_layer(samples, rate, thickness_um)
    out = samples.copy()
    for when, level in ((later, before_db), (earlier, after_db)):
        if level is None:
            continue
        place = (when - from_s) * rate
        there = np.isfinite(place) & (place >= 0) & (place <= len(samples) - 1)
        for channel in range(samples.shape[1]):
            out[there, channel] += db(level) * map_coordinates(
                source[:, channel], [place[there]], order=3, mode="mirror"
            )
    return out


def strikes(reel: str, thickness_um: float, from_s: float, turns: int) -> np.ndarray:
    """When one place on a reel passes, turn after turn [s], from a moment of the side on."""
    side_s = SIDE_S[thickness_um]
    starts = wound(thickness_um, side_s * SPEED_MM_S) / SPEED_MM_S
    at_s = starts if reel == "take-up" else np.sort(side_s - starts)
    return at_s[at_s >= from_s][:turns]
