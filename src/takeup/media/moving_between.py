"""Walks from picture to picture where no index says where they lie: finds the exact end of every piece of sound.

Three things speak for a place: what passes as picture between its start and its end, whether colour and luma lie in
their places there, and whether the sound before it has a usual length.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.media.moving_marks import SOUND_RATES, Family, Layout, Read, dv_at, dv_bytes, family_of

SURELY = 0.7  # of the units of a picture's beginning; snow has the fewest
PASSES, MISSES = 1.2, -3.5  # log of how much likelier a unit passes, or does not, as picture than as sound
TAIL = 2048  # bytes past a picture that are wanted to tell what follows it
EDGE = 32  # units at either side of a boundary that speak for it
SUM_BONUS, USUAL_BONUS = 4.0, 2.0  # what usual lengths weigh, in units that may be picture or sound
TELLING = 256  # words in which picture and sound are surely told apart
LONGEST_SOUND_S = 3.0  # in one piece


class Unclear(Exception):
    """What lies at a place is neither a picture nor sound of the layout."""


def picture_at(layout: Layout, read: Read, at: int) -> bool:
    """Whether a picture of the layout begins here."""
    if layout.codec == "dvvideo":
        return dv_bytes(read(at, 8)) == layout.picture_bytes
    data = np.frombuffer(read(at, 4 * TELLING), np.uint8)
    return len(data) == 4 * TELLING and bool(family_of(layout).fine(data).mean() > SURELY)


def ends_as_picture(layout: Layout, read: Read, at: int) -> bool:
    """Whether the last bytes before ``at`` are picture."""
    if layout.codec == "dvvideo":
        return dv_at(read, at - layout.picture_bytes, layout.picture_bytes)
    data = np.frombuffer(read(at - 2 * TELLING, 2 * TELLING), np.uint8)
    return bool(family_of(layout).good(data).mean() > 0.5)


@dataclass(frozen=True, slots=True)
class Before:
    """What was met before a piece of sound: it decides between places that look alike."""

    lengths: tuple[int, ...] = ()  # bytes of earlier pieces, the latest first
    samples: int = 0  # of one channel since the media data began
    hue: tuple[float, float] | None = None  # mean blue and red difference of the last picture's upper lines


NOTHING_BEFORE = Before()


def find_picture(
    layout: Layout, read: Read, at: int, frame: int, size: int, before: Before = NOTHING_BEFORE
) -> int | None:
    """Where the next picture begins after sound that begins at ``at``; None while nothing tells.

    Parameters
    ----------
    frame : int
        bytes of one sample of all channels: sound is a whole number of them
    size : int
        how long the file is now

    Raises
    ------
    Unclear
        When more lies here than any piece of sound.
    """
    if layout.codec != "dvvideo" and (found := _expected(layout, read, at, frame, size, before)) is not None:
        return found
    most = int(LONGEST_SOUND_S * SOUND_RATES[0] * frame)
    near = 0
    while True:
        data = np.frombuffer(read(at + near, 1 << 16), np.uint8)
        place = _dv_in(data, layout) if layout.codec == "dvvideo" else _start_in(layout, data)
        if place is not None:
            start = at + near + place
            if layout.codec == "dvvideo":
                return start
            places = _places(at, start - 4 * TELLING, start + 4 * TELLING, frame)
            if places[-1] + layout.picture_bytes + TAIL > size:  # nothing holds its other end in place
                known = [at + length for length in before.lengths] + [size - layout.picture_bytes]
                near = [place for place in known if abs(place - start) <= 4 * TELLING and place in places]
                return min(near or places, key=lambda place: abs(place - start))
            starts, ends = (_Ground(layout, read, places, later) for later in (0, layout.picture_bytes))
            return places[int(np.argmax(_evidence(layout, read, at, places, frame, before, starts, ends)))]
        if at + near + (1 << 16) >= size:
            return None
        near += (1 << 16) - 8 * TELLING
        if near > most:
            raise Unclear


def _places(sound_at: int, first: int, last: int, frame: int) -> list[int]:
    """Places between two others that leave a whole number of samples before them."""
    begin = max(1, -(-(first - sound_at) // frame))
    return [sound_at + number * frame for number in range(begin, max(begin, (last - sound_at) // frame) + 1)]


def _expected(layout: Layout, read: Read, at: int, frame: int, size: int, before: Before) -> int | None:
    """Where the next picture begins, if a length that sound had before leads plainly to it."""
    best, most = None, -np.inf
    for length in before.lengths:
        places = _places(at, at + length - 3 * frame, at + length + 3 * frame, frame)
        if places[-1] + layout.picture_bytes + TAIL > size:
            return None
        starts, ends = (_Ground(layout, read, places, later) for later in (0, layout.picture_bytes))
        total = _evidence(layout, read, at, places, frame, before, starts, ends)
        place = places[int(np.argmax(total))]
        end = place + layout.picture_bytes
        inside = min(starts.share(place, 1), ends.share(end, -1))
        outside = (starts.share(place, -1), ends.share(end, 1))
        plain = outside[0] <= 0.5 and (outside[1] <= 0.5 or picture_at(layout, read, end))
        if inside >= 0.9 and plain and total.max() > most:
            best, most = place, float(total.max())
    return best


def _start_in(layout: Layout, data: np.ndarray) -> int | None:
    """The first place of ``data`` from which on nearly everything is picture for as long as it takes to tell."""
    family = family_of(layout)
    long = 4 * TELLING // family.unit
    best = None
    for phase in range(family.unit):
        passed = np.concatenate([[0], np.cumsum(family.fine(data[phase:]))])
        if len(passed) <= long:
            continue
        hits = np.flatnonzero(passed[long:] - passed[:-long] > SURELY * long)
        if len(hits):
            at = int(hits[0]) * family.unit + phase
            best = at if best is None else min(best, at)
    return best


class _Ground:
    """The ground near some places (plus ``later``): what of it passes as picture, from any place on."""

    def __init__(self, layout: Layout, read: Read, places: list[int], later: int) -> None:
        family = family_of(layout)
        self.unit = family.unit
        self.first = places[0] + later - (EDGE + 1) * self.unit
        data = np.frombuffer(read(self.first, places[-1] + later - self.first + (EDGE + 2) * self.unit), np.uint8)
        self.passed = {
            phase: np.concatenate([[0], np.cumsum(family.fine(data[phase:]))])
            for phase in {(place + later - self.first) % self.unit for place in places}
        }

    def upto(self, place: int) -> float:
        """How much speaks for picture in all units before a place."""
        off = place - self.first
        passed = self.passed[off % self.unit][off // self.unit]
        return float(passed * PASSES + (off // self.unit - passed) * MISSES)

    def share(self, place: int, way: int) -> float:
        """Share of the units just after (1) or before (-1) a place that pass as picture."""
        off = place - self.first
        passed, at = self.passed[off % self.unit], off // self.unit
        other = min(max(0, at + way * EDGE), len(passed) - 1)
        return float((passed[other] - passed[at]) / (other - at)) if other != at else 0.0


def _evidence(
    layout: Layout, read: Read, sound_at: int, places: list[int], frame: int, before: Before, starts: _Ground,
    ends: _Ground,
) -> np.ndarray:  # fmt: skip
    """How much speaks for a picture at each place.

    What passes as picture between its start and its end; colour and luma lie in their places; the sound's length is
    usual, or makes up for the lengths before it.
    """
    inside = np.array([ends.upto(place + layout.picture_bytes) - starts.upto(place) for place in places])
    samples = (np.array(places) - sound_at) // frame
    usual = SUM_BONUS * usual_lengths(layout, before.samples + samples) + USUAL_BONUS * usual_lengths(layout, samples)
    return inside - _misplaced(layout, family_of(layout), read, places, before.hue) + usual


def usual_lengths(layout: Layout, samples: np.ndarray) -> np.ndarray:
    """How usual so many samples are: those of whole pictures 1, of whole blocks of a program 1/2."""
    told = np.where(samples % 64 == 0, 0.5, 0.0)
    for rate_hz in (layout.sound.rate_hz,) if layout.sound else SOUND_RATES:
        one = float(rate_hz / layout.rate)
        whole = np.rint(samples / one)
        told[(np.abs(samples - whole * one) < 1) & (whole >= 1)] = 1.0
    return told


def _misplaced(
    layout: Layout, family: Family, read: Read, places: list[int], hue: tuple[float, float] | None
) -> np.ndarray:
    """How badly colour and luma would lie if the picture began at each place; 0 for the best."""
    row, unit = family.row(layout.width), family.unit
    data = np.frombuffer(read(places[0] + 2 * row, 4 * row + places[-1] - places[0]), np.uint8)
    phases = [(place - places[0]) % unit for place in places]
    if len(data) < 2 * row + 2 * unit:
        return np.zeros(len(places))
    cost = {phase: _roughness(family, data[phase : phase + 2 * row], hue) for phase in set(phases)}
    least = min(cost.values())
    return np.minimum(60.0, np.array([30 * (cost[phase] - least) / (least + 1) for phase in phases]))


def _roughness(family: Family, data: np.ndarray, hue: tuple[float, float] | None) -> float:
    luma, blue, red = family.planes(data)
    steps = [float(np.abs(np.diff(plane)).mean()) for plane in (luma, blue, red)]
    away = abs(float(blue.mean()) - hue[0]) + abs(float(red.mean()) - hue[1]) if hue else 0.0
    return steps[0] + 2 * steps[1] + 2 * steps[2] + away


def hue_of(layout: Layout, read: Read, at: int) -> tuple[float, float]:
    """Mean blue and red difference of the upper lines of the picture that begins at ``at``."""
    family = family_of(layout)
    row = family.row(layout.width)
    _, blue, red = family.planes(np.frombuffer(read(at + 2 * row, 2 * row), np.uint8))
    return float(blue.mean()), float(red.mean())


def _dv_in(data: np.ndarray, layout: Layout) -> int | None:
    raw = data.tobytes()
    found = raw.find(b"\x1f\x07\x00")
    while found >= 0:
        if dv_bytes(raw[found : found + 8]) == layout.picture_bytes and raw[found + 80 : found + 82] == b"\x3f\x07":
            return found
        found = raw.find(b"\x1f\x07\x00", found + 1)
    return None
