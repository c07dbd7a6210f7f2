"""Simulated tapes with known truth: moving scenes sampled field by field, band-limited, shaken, noised, woven, coded.

After the recipe of check-values/video.md 4.0. Nothing here is shared with the measures: shifts are made by resampling,
noise by filtering white noise, colour delay by moving a kernel, and the field order by the order of the instants.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from pathlib import Path

import av
import cv2
import numpy as np
from make.photographs import photograph

NTSC = Fraction(30000, 1001)
Planes = tuple[np.ndarray, np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Tape:
    """What is on the tape and how it is played. Times are in pictures unless a name says otherwise."""

    pictures: int = 50
    lines: int = 576
    seed: int = 1
    speed_px: tuple[float, float] = (2.0, 0.5)  # camera movement a field, right and down
    still: bool = False
    progressive: bool = False
    top_first: bool = True
    noise: float = 1.5  # codes RMS
    jitter_px: float = 0.12  # RMS of each line's shift
    chroma_delay_px: float = 0.0
    head_switch_lines: int = 6  # of a field
    gain: float = 1.0
    offset: float = 0.0
    letterbox: int = 0  # black lines above and below
    blank_px: int = 9  # at either side
    black: tuple[tuple[int, int], ...] = ()
    blue: tuple[tuple[int, int], ...] = ()
    snow: tuple[tuple[int, int], ...] = ()
    held: tuple[tuple[int, int], ...] = ()  # first, last + 1: the picture before it stands
    lost: tuple[int, ...] = ()  # pictures that never reached the file
    dropouts: tuple[tuple[int, int, int, int, int], ...] = ()  # picture, frame line, first px, length, code
    world: str = "mixed"  # mixed, night, bright, or a picture that a package ships
    scene: Callable[[float], Planes] | None = field(default=None, compare=False)


@cache
def make_world(name: str, seed: int) -> Planes:
    """A large still world to pan over: luma 16..235 and colour difference, float32, 1000 x 1800."""
    rng = np.random.default_rng([seed, 77])
    rows, columns = 1000, 1800
    if name not in ("mixed", "night", "bright"):
        return _shipped(name, rows, columns)
    luma = np.full((rows, columns), 120.0, np.float32)
    for scale, depth in ((160, 45), (40, 22), (12, 12), (4, 7)):
        grain = rng.normal(size=(rows // scale + 3, columns // scale + 3)).astype(np.float32)
        luma += depth * cv2.resize(grain, (columns, rows), interpolation=cv2.INTER_CUBIC)
    blue = 128 + 18 * _cloud(rng, rows, columns, 90)
    red = 128 + 18 * _cloud(rng, rows, columns, 70)
    for _ in range(90):  # windows, fences, signs: hard edges, some true black and white
        x, y = rng.integers(0, columns - 60), rng.integers(0, rows - 60)
        w, h = rng.integers(6, 160), rng.integers(6, 120)
        luma[y : y + h, x : x + w] = rng.choice([16, 235, rng.uniform(30, 220)])
        blue[y : y + h, x : x + w] = rng.uniform(90, 166)
        red[y : y + h, x : x + w] = rng.uniform(90, 166)
    luma = np.clip(luma, 16, 235)
    if name == "night":
        luma = 16 + (luma - 16) * 0.06
        for _ in range(25):
            cv2.circle(
                luma, (int(rng.integers(0, columns)), int(rng.integers(0, rows))), int(rng.integers(4, 14)), 210, -1
            )
        blue, red = 128 + (blue - 128) * 0.3, 128 + (red - 128) * 0.3
    if name == "bright":
        luma = 70 + (luma - 16) * 0.7
    return cv2.GaussianBlur(luma, (0, 0), 0.7), blue.astype(np.float32), red.astype(np.float32)


def _cloud(rng: np.random.Generator, rows: int, columns: int, scale: int) -> np.ndarray:
    grain = rng.normal(size=(rows // scale + 3, columns // scale + 3)).astype(np.float32)
    return cv2.resize(grain, (columns, rows), interpolation=cv2.INTER_CUBIC)


def _shipped(name: str, rows: int, columns: int) -> Planes:
    """A photograph from an installed test package (never copied into the repository)."""
    rgb = photograph(name)
    rgb = np.stack([rgb] * 3, -1) if rgb.ndim == 2 else rgb[..., :3]
    rgb = cv2.resize(rgb.astype(np.float32), (columns, rows), interpolation=cv2.INTER_CUBIC).clip(0, 255)
    r, g, b = np.moveaxis(rgb, -1, 0)
    luma = 0.299 * r + 0.587 * g + 0.114 * b  # ITU-R BT.601-7, 2.5.1
    return 16 + luma * 219 / 255, 128 + (b - luma) * 0.564 * 224 / 255, 128 + (r - luma) * 0.713 * 224 / 255


def luma_filter(cut_mhz: float = 3.0, taps: int = 25) -> np.ndarray:
    """Low-pass for a 13.5 MHz line: windowed sinc."""
    n = np.arange(taps) - taps // 2
    kernel = np.sinc(2 * cut_mhz / 13.5 * n) * np.hamming(taps)
    return (kernel / kernel.sum()).astype(np.float32)


def _along(plane: np.ndarray, kernel: np.ndarray) -> np.ndarray:
    return cv2.filter2D(plane, cv2.CV_32F, kernel[None, :], borderType=cv2.BORDER_REPLICATE)


class Camera:
    """Renders one field at its own instant."""

    def __init__(self, tape: Tape, colour: bool = True) -> None:
        self.tape, self.planes = tape, 3 if colour else 1
        self.world = make_world(tape.world, tape.seed)[: self.planes]
        self.shown: tuple[float, tuple[np.ndarray, ...]] = (-1.0, ())  # the view last asked for; to read only

    def whole(self, instant: float) -> tuple[np.ndarray, ...]:
        """The full-height view at ``instant`` (in fields): luma and, if it sees colour, both of that."""
        tape = self.tape
        if tape.scene is not None:
            return tape.scene(instant)[: self.planes]
        at = 0.0 if tape.still else instant
        if at != self.shown[0]:
            self.shown = at, self._seen(at)
        return self.shown[1]

    def _seen(self, at: float) -> tuple[np.ndarray, ...]:
        tape = self.tape
        high, wide = self.world[0].shape
        x = _bounce(at * tape.speed_px[0], wide - 721)
        y = _bounce(at * tape.speed_px[1], high - tape.lines - 1)
        shift = np.float32([[1, 0, x], [0, 1, y]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return tuple(cv2.warpAffine(plane, shift, (720, tape.lines), flags=flags) for plane in self.world)


def _bounce(way: float, room: float) -> float:
    turn = way % (2 * room)
    return turn if turn <= room else 2 * room - turn


def render(tape: Tape) -> Iterator[Planes]:
    """Pictures as float codes at 4:2:2: luma (lines, 720), colour (lines, 360)."""
    camera = Camera(tape)
    last: Planes | None = None
    for at in range(tape.pictures):
        if _within(at, tape.held) and last is not None:
            yield last
            continue
        last = _picture(tape, camera, at)
        if at not in tape.lost:
            yield last


def lumas(tape: Tape, whole: Callable[[int], bool]) -> Iterator[np.ndarray]:
    """Luma alone of the same pictures, for a third of the time; of those that need not be whole the even lines only.

    Not for tapes with held or lost pictures, blue or dropouts.
    """
    camera = Camera(tape, colour=False)
    for at in range(tape.pictures):
        lines = [line for _, line in sorted(_fields(tape, camera, at, (0, 1) if whole(at) else (0,)))]
        yield np.stack([luma for (luma,) in lines], axis=1).reshape(-1, 720)


def _within(at: int, spans: tuple[tuple[int, int], ...]) -> bool:
    return any(first <= at < end for first, end in spans)


def _picture(tape: Tape, camera: Camera, at: int) -> Planes:
    if _within(at, tape.blue):  # made by the player itself: no tape noise at all
        return (
            np.full((tape.lines, 720), 41.0, np.float32),
            np.full((tape.lines, 360), 205.0, np.float32),
            np.full((tape.lines, 360), 110.0, np.float32),
        )
    planes = (np.empty((tape.lines, 720), np.float32),) + tuple(np.empty((tape.lines, 360), np.float32) for _ in "br")
    for parity, parts in _fields(tape, camera, at, (0, 1)):
        for plane, part in zip(planes, parts):
            plane[parity::2] = part
    for picture, line, start, length, code in tape.dropouts:
        if picture == at:
            planes[0][line, start : start + length] = code
            planes[1][line, start // 2 : (start + length) // 2] = 128
            planes[2][line, start // 2 : (start + length) // 2] = 128
    return planes  # type: ignore[return-value]


def _fields(tape: Tape, camera: Camera, at: int, parities: tuple[int, ...]) -> Iterator[tuple[int, list[np.ndarray]]]:
    """Both fields of a picture, or one, in the order of their instants."""
    for order in (0, 1):
        parity = order if tape.top_first else 1 - order
        if parity in parities:
            number = 2 * at + order
            whole = camera.whole(2 * at if tape.progressive else number)
            yield parity, _field(tape, whole, parity, number, at)


def _field(tape: Tape, whole: tuple[np.ndarray, ...], parity: int, number: int, at: int) -> list[np.ndarray]:
    """Luma and the colours that are in ``whole``."""
    rng = np.random.default_rng([tape.seed, number, 3])
    if _within(at, tape.snow):
        snow = 110 + 70 * _along(rng.normal(size=(tape.lines // 2, 720)).astype(np.float32), luma_filter())
        return [
            snow,
            np.full((tape.lines // 2, 360), 128, np.float32),
            np.full((tape.lines // 2, 360), 128, np.float32),
        ][: len(whole)]
    if _within(at, tape.black):
        whole = tuple(np.full_like(plane, level) for plane, level in zip(whole, (16, 128, 128)))
    luma, *colours = whole
    if tape.letterbox:
        luma = luma.copy()
        luma[: tape.letterbox] = luma[-tape.letterbox :] = 16
    luma = cv2.blur(luma, (1, 2))[parity::2]
    luma = _along(luma, luma_filter())
    kernel = np.exp(-0.5 * ((np.arange(41) - 20 - tape.chroma_delay_px) / 5.0) ** 2)[::-1].astype(np.float32)
    colours = [_along(plane[parity::2], kernel / kernel.sum()) for plane in colours]
    luma[:, : tape.blank_px] = 16
    luma[:, 720 - tape.blank_px :] = 16
    shift = rng.normal(0, tape.jitter_px, len(luma)) if tape.jitter_px else np.zeros(len(luma))
    if tape.head_switch_lines and not tape.progressive:
        shift[-tape.head_switch_lines :] += np.linspace(27, 7, tape.head_switch_lines)
    luma, colours = _shifted(luma, shift), [_shifted(plane, shift, 2) for plane in colours]
    sigma = _unit_noise(rng, luma.shape) * tape.noise
    if tape.head_switch_lines and not tape.progressive:
        sigma[-tape.head_switch_lines] = rng.normal(0, 40, 720)
    luma = (luma + sigma - 16) * tape.gain + 16 + tape.offset
    return [luma, *colours]


def _unit_noise(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    kernel = luma_filter()
    return _along(rng.normal(size=shape).astype(np.float32), kernel) / float(np.sqrt((kernel**2).sum()))


def _shifted(plane: np.ndarray, shift: np.ndarray, each: int = 1) -> np.ndarray:
    """Each line moved right by its shift; all its samples or each second one."""
    if not shift.any():
        return np.ascontiguousarray(plane[:, ::each])
    x = np.arange(0, plane.shape[1], each, dtype=np.float32)[None, :] - shift[:, None].astype(np.float32)
    y = np.repeat(np.arange(len(plane), dtype=np.float32)[:, None], x.shape[1], 1)
    return cv2.remap(plane, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)


def coded(planes: tuple[np.ndarray, ...], pixel_format: str) -> tuple[np.ndarray, ...]:
    """Rounded and clipped codes of luma, or of all planes, in the file's own sampling (4:2:0 averages in a field)."""
    if pixel_format == "yuv422p10le":
        return tuple(np.clip(np.rint(plane * 4), 4, 1019).astype(np.uint16) for plane in planes)
    luma, *colours = planes
    if pixel_format == "yuv420p":
        colours = [_halved(plane) for plane in colours]
    if pixel_format == "yuv411p":
        colours = [plane[:, ::2] for plane in colours]
    return tuple(np.clip(np.rint(plane), 1, 254).astype(np.uint8) for plane in (luma, *colours))


def _halved(plane: np.ndarray) -> np.ndarray:
    out = np.empty((len(plane) // 2, plane.shape[1]), np.float32)
    for parity in (0, 1):
        lines = plane[parity::2]
        out[parity::2] = (lines[::2] + lines[1::2]) / 2
    return out


CODECS = {
    "v210": ("v210", "yuv422p10le", {}),
    "ffv1": ("ffv1", "yuv422p", {"level": "3", "slices": "4", "slicecrc": "1", "g": "1"}),
    "uyvy": ("rawvideo", "uyvy422", {}),
    "raw": ("rawvideo", "yuv422p", {}),
    "dv": ("dvvideo", "yuv420p", {}),
    "dv525": ("dvvideo", "yuv411p", {}),
    "h264": ("libx264", "yuv420p", {"crf": "20", "preset": "veryfast", "flags": "+ilme+ildct"}),
    "h264p": ("libx264", "yuv420p", {"crf": "20", "preset": "veryfast"}),
}

ENDINGS = {"v210": "mov", "ffv1": "mkv", "h264": "mp4", "h264p": "mp4"}


def file_for(folder: Path, codec: str) -> Path:
    """A file of the container that this codec usually comes in."""
    return folder / f"a.{ENDINGS.get(codec, 'avi')}"


@dataclass(frozen=True)
class Form:
    """How the tape is written to a file."""

    codec: str = "v210"
    shape: Fraction | None = Fraction(12, 11)
    order: str | None = "top"  # what the file says; None: nothing
    rate: Fraction = Fraction(25)
    options: dict = field(default_factory=dict)
    container_options: dict = field(default_factory=dict)
    stamps: Callable[[int], int] | None = None  # number as written -> its time stamp in pictures
    sound_late_s: float = 0.0
    sound_codec: str = "pcm_s16le"


def write(path: Path, tape: Tape | Iterator[Planes], form: Form | None = None, sound: np.ndarray | None = None) -> int:
    """Write a file; the number of pictures in it. ``sound``: float, shape (n_samples, n_channels), 48 kHz."""
    form = form or Form()
    codec, pixel_format, options = CODECS[form.codec]
    pictures = render(tape) if isinstance(tape, Tape) else tape
    count = 0
    with av.open(str(path), "w", options=form.container_options) as container:
        stream = None
        tones = _SoundWriter(container, sound, form) if sound is not None else None
        for count, planes in enumerate(pictures, 1):
            if stream is None:
                extra = {"x264-params": f"{'b' if form.order == 'bottom' else 't'}ff=1"} if form.codec == "h264" else {}
                stream = container.add_stream(codec, rate=form.rate, options=options | extra | form.options)
                stream.width, stream.height, stream.pix_fmt = planes[0].shape[1], planes[0].shape[0], pixel_format
                if form.shape is not None:
                    stream.sample_aspect_ratio = form.shape
                if form.order is not None:
                    stream.codec_context.field_order = {"progressive": 1, "top": 2, "bottom": 3}[form.order]
            frame = to_frame(coded(planes, pixel_format), pixel_format)
            frame.pts = form.stamps(count - 1) if form.stamps else count - 1
            frame.time_base = 1 / form.rate
            for packet in stream.encode(frame):
                container.mux(packet)
            if tones is not None:
                tones.until(frame.pts / form.rate)
        for packet in stream.encode(None) if stream is not None else ():
            container.mux(packet)
        if tones is not None:
            tones.until(None)
    return count


def to_frame(planes: tuple[np.ndarray, ...], pixel_format: str) -> av.VideoFrame:
    high, wide = planes[0].shape
    frame = av.VideoFrame(wide, high, pixel_format)
    if pixel_format == "uyvy422":
        packed = np.empty((high, 2 * wide), np.uint8)
        packed[:, 1::2], packed[:, 0::4], packed[:, 2::4] = planes
        planes = (packed,)
    for into, plane in zip(frame.planes, planes):
        stride = into.line_size // plane.dtype.itemsize
        padded = np.zeros((into.height, stride), plane.dtype)
        padded[:, : plane.shape[1]] = plane
        into.update(padded.tobytes().ljust(into.buffer_size, b"\0")[: into.buffer_size])
    return frame


class _SoundWriter:
    def __init__(self, container: av.container.OutputContainer, sound: np.ndarray, form: Form) -> None:
        self.container, self.late = container, round(form.sound_late_s * 48000)
        self.codes = np.rint(np.clip(sound, -1, 32767 / 32768) * 32768).astype(np.int16)
        self.layout = "stereo" if sound.shape[1] == 2 else "mono"
        self.stream = container.add_stream(form.sound_codec, rate=48000, layout=self.layout)
        self.at = 0

    def until(self, seconds: Fraction | None) -> None:
        end = len(self.codes) if seconds is None else min(len(self.codes), int(seconds * 48000) - self.late)
        while self.at < end:
            piece = self.codes[self.at : min(end, self.at + 1920)]
            frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(piece.reshape(1, -1)), "s16", self.layout)
            frame.sample_rate, frame.pts, frame.time_base = 48000, self.at + self.late, Fraction(1, 48000)
            for packet in self.stream.encode(frame):
                self.container.mux(packet)
            self.at += len(piece)
        if seconds is None:
            for packet in self.stream.encode(None):
                self.container.mux(packet)


def programme(seconds: float, seed: int = 5, channels: int = 2) -> np.ndarray:
    """Speech-like sound over tape hiss, float, shape (n_samples, n_channels)."""
    rng = np.random.default_rng([seed, 9])
    n = round(seconds * 48000)
    t = np.arange(n) / 48000
    steps = np.repeat(rng.uniform(0, 1, n // 9600 + 1) > 0.3, 9600)[:n]
    swell = np.convolve(steps.astype(np.float64), np.ones(960) / 960, "same")
    voice = sum(np.sin(2 * np.pi * 140 * k * t + k) / k for k in range(1, 12)) * swell * 0.08
    return voice[:, None] + rng.normal(0, 0.0008, (n, channels))
