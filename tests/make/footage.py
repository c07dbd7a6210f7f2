"""Real footage as a tape would bring it: photographs and a street clip that packages ship, under a hand-held camera.

Made another way than :mod:`make.video`: the camera turns, zooms and trembles by an integrated random walk, noise is an
autoregressive one along the line, luma is softened by repeated neighbour means, and the fields are taken out of whole
views rendered at each field's instant. Nothing is shared with the measures.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from make.photographs import photograph as shipped

Planes = tuple[np.ndarray, np.ndarray, np.ndarray]
View = Callable[[float], np.ndarray]
"""What the camera sees at an instant, in fields: B'G'R', float32, shape (lines, 720, 3)."""

PHOTOGRAPHS = ("astronaut", "coffee", "chelsea", "rocket", "motorcycle", "china.jpg", "flower.jpg")


@cache
def photograph(name: str) -> np.ndarray:
    """A photograph, B'G'R' float32, large enough to move over."""
    rgb = shipped(name)
    scale = 2.0 * max(576 / rgb.shape[0], 720 / rgb.shape[1])
    return cv2.resize(rgb[..., 2::-1].astype(np.float32), None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)


@dataclass(frozen=True)
class Camera:
    """How the camera is held. Speeds in pixels a field."""

    name: str = "astronaut"
    pan: tuple[float, float] = (0.0, 0.0)
    tremble: float = 0.0  # RMS of the speed
    jerks: tuple[int, ...] = ()  # fields at which somebody knocks against it
    turn: float = 0.0  # degrees a field
    seed: int = 1
    lines: int = 576
    flat: float = 1.0  # contrast

    def view(self) -> View:
        rng = np.random.default_rng([self.seed, 5])
        speed, at, path = np.zeros(2), np.zeros(2), []
        for number in range(4000):
            speed = 0.92 * speed + rng.normal(0, 1, 2) * self.tremble * 0.39
            for jerk in self.jerks:
                if number >= jerk:  # a knock swings out over some fields
                    swing = np.exp(-(number - jerk) / 5.0) * np.cos((number - jerk) * 0.9)
                    speed = speed + np.array([3.0, -2.0]) * swing * (jerk % 3 + 1) / 2
            at = at + np.array(self.pan) + speed
            path.append(at.copy())
        track, image = np.array(path), photograph(self.name)
        room = np.array([image.shape[1] - 720, image.shape[0] - self.lines], float)

        def see(instant: float) -> np.ndarray:
            low = int(instant)
            place = track[low] + (instant - low) * (track[low + 1] - track[low]) + room / 3
            place = np.abs((place + room) % (2 * room) - room)  # back and forth
            angle = np.deg2rad(self.turn * instant)
            c, s = np.cos(angle), np.sin(angle)
            middle = place + np.array([360, self.lines / 2])
            m = np.float32(
                [
                    [c, -s, middle[0] - c * 360 + s * self.lines / 2],
                    [s, c, middle[1] - s * 360 - c * self.lines / 2],
                ]
            )
            flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
            seen = cv2.warpAffine(image, m, (720, self.lines), flags=flags, borderMode=cv2.BORDER_REFLECT)
            return 128 + (seen - 128) * self.flat if self.flat != 1 else seen

        return see


def street(path: Path, lines: int = 576, first: int = 0) -> View:
    """The street clip that a package ships; one of its pictures a field, so that fields truly differ."""
    import av

    with av.open(str(path)) as container:
        found = [frame.to_ndarray(format="bgr24") for frame, _ in zip(container.decode(video=0), range(first + 180))]

    def see(instant: float) -> np.ndarray:
        return cv2.resize(found[first + int(instant)], (720, lines), interpolation=cv2.INTER_CUBIC).astype(np.float32)

    return see


@dataclass(frozen=True)
class Shot:
    """What the tape and its player make of it."""

    noise: float = 1.5
    progressive: bool = False
    top_first: bool = True
    gain: float = 1.0
    offset: float = 0.0
    blank_px: int = 9
    seed: int = 1
    bend_lines: int = 5

    def picture(self, view: View, number: int) -> Planes:
        """Picture ``number`` at 4:2:2, float codes."""
        return self.of_fields(view, 2 * number, 2 * number + (0 if self.progressive else 1), number)

    def of_fields(self, view: View, first: float, second: float, grain: int) -> Planes:
        """A picture whose earlier field was seen at ``first`` and the later at ``second``."""
        rng = np.random.default_rng([self.seed, grain, 11])
        parts = [coded_view(view(first))]
        parts.append(parts[0] if second == first else coded_view(view(second)))
        planes = []
        for at in range(3):
            whole = parts[0][at].copy()
            later = 1 if self.top_first else 0
            whole[later::2] = parts[1][at][later::2]
            planes.append(whole)
        luma = soft(planes[0])
        lines, bend = len(luma), 2 * self.bend_lines
        for line in range(lines - bend, lines):
            luma[line] = np.roll(luma[line], (line - lines + bend) // 2 + 4)
        luma[:, : self.blank_px] = luma[:, 720 - self.blank_px :] = 16
        luma = luma + grainy(rng, luma.shape) * self.noise
        luma = (luma - 16) * self.gain + 16 + self.offset
        colours = [plane + grainy(rng, plane.shape) * self.noise * 0.7 for plane in planes[1:]]
        return luma.astype(np.float32), colours[0].astype(np.float32), colours[1].astype(np.float32)


def coded_view(seen: np.ndarray) -> Planes:
    """B'G'R' to 4:2:2 codes (ITU-R BT.601-7, 2.5)."""
    b, g, r = np.moveaxis(np.clip(seen, 0, 255), -1, 0)
    y = 0.299 * r + 0.587 * g + 0.114 * b
    blue, red = 128 + (b - y) * 0.564 * 224 / 255, 128 + (r - y) * 0.713 * 224 / 255
    return 16 + y * 219 / 255, cv2.blur(blue, (9, 1))[:, ::2], cv2.blur(red, (9, 1))[:, ::2]


def soft(luma: np.ndarray) -> np.ndarray:
    """A player's bandwidth, roughly: neighbour means along the line, and two lines averaged."""
    return cv2.blur(cv2.blur(luma, (3, 1)), (2, 1))


def grainy(rng: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
    """Noise of one code RMS, alike along a line, not from line to line."""
    white = rng.standard_normal(shape, dtype=np.float32)
    mixed = white[:, 2:] + 0.9 * white[:, 1:-1] + 0.4 * white[:, :-2]
    return np.pad(mixed, ((0, 0), (1, 1)), mode="reflect") / np.sqrt(1 + 0.81 + 0.16)


def shown(view: View, instants: Sequence[tuple[float, float]], shot: Shot | None = None) -> Iterator[Planes]:
    """Pictures of pairs of field instants. A pair equal to the one before is the converter's repeat: no new noise."""
    shot = shot or Shot()
    last: tuple[float, float] | None = None
    planes: Planes | None = None
    for number, pair in enumerate(instants):
        if planes is None or pair != last:
            planes = shot.of_fields(view, pair[0], pair[1], number)
        last = pair
        yield planes


def steady(pictures: int, *, progressive: bool = False) -> list[tuple[float, float]]:
    """Field instants of so many pictures in step."""
    return [(2.0 * n, 2.0 * n + (0 if progressive else 1)) for n in range(pictures)]


def without(pairs: Sequence[tuple[float, float]], lost: Sequence[int]) -> list[tuple[float, float]]:
    """Pictures of these numbers never reach the file."""
    return [pair for number, pair in enumerate(pairs) if number not in lost]


def with_repeats(
    pairs: Sequence[tuple[float, float]], at: Sequence[int], *, instead: bool = False
) -> list[tuple[float, float]]:
    """The picture before these numbers comes once more: put in, or in their stead (a double step follows)."""
    found: list[tuple[float, float]] = []
    for number, pair in enumerate(pairs):
        if number in at:
            found.append(found[-1])
            if instead:
                continue
        found.append(pair)
    return found


def pulldown(pictures: int) -> list[tuple[float, float]]:
    """Film of 24 pictures on a tape of 29.97: its pictures last two and three fields in turn."""
    fields = [film for film in range(pictures) for _ in range(3 if film % 2 else 2)]
    return [(2.5 * a, 2.5 * b) for a, b in zip(fields[0 : 2 * pictures : 2], fields[1 : 2 * pictures : 2])]


def noised(shot: Shot, **change: object) -> Shot:
    """The same with something changed."""
    return replace(shot, **change)  # type: ignore[arg-type]
