"""Seeded films with a known truth: what a stand-alone scanner would write on its card, every frame's picture known.

Scenes are real photographs (scikit-image's data, or seeded noise shaped like one) under a moving camera, with a thing
that walks through, grain of its own in every picture, gate weave, and where asked leader, run-out and faults.
Nothing here knows how takeup looks for any of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from pathlib import Path

import av
import cv2
import numpy as np
from make.photographs import photograph as shipped

SIZE = (360, 480)  # rows, columns
PHOTOGRAPHS = ("astronaut", "coffee", "chelsea", "rocket", "camera", "motorcycle")


@dataclass(frozen=True)
class Scene:
    """One shot. ``kind``: pan, walk, hand, still, or the plain stretches white, black, clear, orange."""

    pictures: int
    kind: str = "pan"
    photograph: str = "astronaut"
    grain: float = 3.8  # of 255
    weave_px: float = 0.3
    gain: Sequence[float] = (1.0,)  # the scanner's exposure per picture, repeated at the end
    extra: dict = field(default_factory=dict)


@cache
def photograph(name: str) -> np.ndarray:
    """A real photograph in colour, RGB, large enough to pan over; to read only."""
    found = shipped(name)
    if found.ndim == 2:
        found = np.repeat(found[:, :, None], 3, axis=2)
    scale = 1.6 * max(SIZE[0] / found.shape[0], SIZE[1] / found.shape[1])
    large = cv2.resize(found, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA).astype(np.float32)
    large.setflags(write=False)
    return large


def shoot(scenes: Sequence[Scene], seed: int = 1, size: tuple[int, int] = SIZE) -> Iterator[np.ndarray]:
    """The film's pictures one by one, RGB uint8."""
    chance = np.random.default_rng(seed)
    for scene in scenes:
        yield from _shot(scene, chance, size)


def _shot(scene: Scene, chance: np.random.Generator, size: tuple[int, int]) -> Iterator[np.ndarray]:
    rows, columns = size
    flat = {"white": (238, 240, 236), "black": (6, 6, 7), "clear": (255, 255, 255), "orange": (190, 96, 40)}
    base = None if scene.kind in flat else photograph(scene.photograph)
    drift = chance.normal(0, 1, 2)
    for number in range(scene.pictures):
        gain = scene.gain[min(number, len(scene.gain) - 1)]
        dx, dy = chance.normal(0, scene.weave_px, 2)
        if base is None:
            picture = np.full((rows, columns, 3), flat[scene.kind], np.float32)
            if scene.kind != "clear":  # dust runs through a plain stretch too
                for _ in range(chance.poisson(2)):
                    centre = (int(chance.integers(columns)), int(chance.integers(rows)))
                    cv2.circle(picture, centre, int(chance.integers(1, 4)), (120, 118, 115), -1)
        else:
            room_y, room_x = base.shape[0] - rows - 8, base.shape[1] - columns - 8
            y, x = room_y * 0.4, room_x * 0.4
            if scene.kind == "pan":
                x = room_x * (0.5 + 0.45 * np.sin(number * scene.extra.get("speed", 0.02)))
            if scene.kind == "hand":
                drift = 0.9 * drift + chance.normal(0, 1.2, 2)
                x, y = x + drift[0], y + drift[1]
            move = np.float32([[1, 0, -(x + dx + 4)], [0, 1, -(y + dy + 4)]])
            picture = cv2.warpAffine(base, move, (columns, rows), flags=cv2.INTER_LINEAR)
            if scene.kind in ("walk", "pan"):
                at = int(columns * (0.1 + 0.8 * (0.5 + 0.5 * np.sin(number * 0.05))))
                cv2.rectangle(picture, (at - 22, rows // 3), (at + 22, rows - 20), (60, 40, 150), -1)
                cv2.circle(picture, (at, rows // 3 - 18 + int(4 * np.sin(number))), 17, (222, 184, 160), -1)
        grain = chance.normal(0, scene.grain, (rows, columns, 1)).astype(np.float32)
        if scene.kind == "clear":
            grain *= 0.15
        yield np.clip(picture * gain + grain, 0, 255).astype(np.uint8)


def spread(pictures: int, p: int, q: int, phase: int = 0) -> list[int]:
    """Which picture each frame shows when ``p`` pictures fill ``q`` frames: floor((n p + phase) / q), evenly."""
    shown, n = [], 0
    while (picture := (n * p + phase) // q) < pictures:
        shown.append(picture)
        n += 1
    return shown


def write_film(
    path: Path,
    pictures: Iterator[np.ndarray],
    shown: Sequence[int] | None = None,
    *,
    rate: Fraction = Fraction(20),
    codec: str = "libx264",
    options: dict[str, str] | None = None,
    pixel_format: str | None = None,
    sound: str = "",
) -> Path:
    """Code the pictures as a scanner does: frame n of the file shows picture ``shown[n]`` (None: each once)."""
    given = pixel_format or ("yuvj420p" if codec == "mjpeg" else "yuv420p")
    with av.open(str(path), "w") as container:
        stream = None
        track = container.add_stream("aac", rate=48000) if sound else None
        at, picture, held = -1, None, None
        numbers = shown if shown is not None else _count()
        for number, wanted in enumerate(numbers):
            while at < wanted:
                picture = next(pictures, None)
                if picture is None:
                    break
                at, held = at + 1, None
            if picture is None:
                break
            if stream is None:
                stream = container.add_stream(codec, rate=rate, options=options or {"crf": "18"})
                stream.height, stream.width = picture.shape[:2]
                stream.pix_fmt = given
                stream.thread_count = 2
            if held is None:
                held = av.VideoFrame.from_ndarray(picture, format="rgb24").reformat(format=given).to_ndarray()
            frame = av.VideoFrame.from_ndarray(held, format=given)
            frame.pts, frame.time_base = number, 1 / Fraction(rate)
            for packet in stream.encode(frame):
                container.mux(packet)
        for packet in stream.encode():
            container.mux(packet)
        if track is not None:
            _sound(container, track, (number + 1) / float(rate), sound)
    return path


def _count() -> Iterator[int]:
    number = 0
    while True:
        yield number
        number += 1


def _sound(container: av.container.OutputContainer, track: av.AudioStream, seconds: float, kind: str) -> None:
    for number in range(int(seconds * 48000 / 1024)):
        times = (np.arange(1024) + 1024 * number) / 48000
        wave = (
            0.3 * np.sin(2 * np.pi * 220 * times) * (1 + np.sin(2 * np.pi * 3 * times))
            if kind == "voice"
            else 0 * times
        )
        frame = av.AudioFrame.from_ndarray(wave.astype(np.float32)[None], format="fltp", layout="mono")
        frame.sample_rate, frame.pts = 48000, 1024 * number
        for packet in track.encode(frame):
            container.mux(packet)
    for packet in track.encode():
        container.mux(packet)


def new_of(shown: Sequence[int]) -> np.ndarray:
    """Which frames show a picture for the first time."""
    return np.diff(np.asarray(shown), prepend=-1) > 0


def glances_of(path: Path):
    """A file's glances, read by libav directly and not by takeup's own reader."""
    from takeup.measure.film.glances import begin_glances, finish_glances, step_glances

    state = begin_glances()
    with av.open(str(path)) as container:
        container.streams.video[0].thread_type = "AUTO"
        for frame in container.decode(video=0):
            luma = np.asarray(frame.reformat(format="yuv444p").to_ndarray())
            state = step_glances(state, [list(luma)])
    return finish_glances(state)
