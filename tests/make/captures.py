"""Captures with known content and boxes that hold them, for finishing and describing. Seeded; truth by construction."""

import hashlib
from dataclasses import asdict
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import soundfile

from takeup.box.folder import Box
from takeup.box.record import Record
from takeup.streams import Finding, Measured, Original, Report, Trace
from takeup.tasks.reporting import facts_from

REDO = Finding(name="clipping", verdict="redo", again="helps")
BARS = np.kron(np.random.default_rng(5).integers(30, 225, (90, 220)), np.ones((8, 8))).astype(np.uint8)
SPEED_PX_S = 250  # how fast the scene of the made tapes passes


def noise_bursts(seconds: float, peak: float, rate_hz: int = 48000, channels: int = 2, seed: int = 1) -> np.ndarray:
    """Brown-ish noise in bursts of half a second, scaled to a largest sample value."""
    rng = np.random.default_rng(seed)
    count = int(seconds * rate_hz)
    spectrum = np.fft.rfft(rng.normal(size=(count, channels)), axis=0)
    spectrum /= np.maximum(np.fft.rfftfreq(count, 1 / rate_hz), 150)[:, None]
    sound = np.fft.irfft(spectrum, count, axis=0)
    gates = np.repeat(rng.choice([0.05, 0.5, 1.0], int(seconds * 2) + 1), rate_hz // 2)[:count]
    sound *= gates[:, None]
    return sound * peak / np.abs(sound).max()


def write_sound(path: Path, samples: np.ndarray, rate_hz: int = 48000, subtype: str = "PCM_24", form=None) -> Path:
    soundfile.write(path, samples, rate_hz, subtype=subtype, format=form)
    return path


def whole_numbers(count: int, channels: int = 2, bits: int = 24, seed: int = 2) -> np.ndarray:
    """Random samples of a bit depth, as int32 with empty low bits: every bit pattern occurs."""
    limit = 1 << (bits - 1)
    numbers = np.random.default_rng(seed).integers(-limit, limit, (count, channels))
    return (numbers << (32 - bits)).astype(np.int32)


def scene(at_s: float, lines: int, samples: int = 720) -> np.ndarray:
    """The scene at one instant: textured bars that pass from right to left."""
    left = int(at_s * SPEED_PX_S) % 900
    return BARS[:lines, left : left + samples]


def woven(number: int, rate: Fraction, lines: int, order: str) -> np.ndarray:
    """One picture of a tape: its two fields are half a picture apart in time."""
    first, second = (scene(float((2 * number + field) / (2 * rate)), lines) for field in (0, 1))
    picture = np.empty((lines, 720), np.uint8)
    picture[0::2], picture[1::2] = (first[0::2], second[1::2]) if order == "top" else (second[0::2], first[1::2])
    return picture


def write_tape(
    path: Path, *, codec: str = "v210", form: str = "yuv422p10le", sound: str | None = "pcm_s16le", pictures: int = 12,
    lines: int = 576, rate: Fraction = Fraction(25), order: str = "top", sound_late_s: float = 0.0, shape=None,
    tone: bool = True, seed: int = 3, lost: tuple[int, ...] = (), sound_first: bool = False,
) -> Path:  # fmt: skip
    """A capture of an interlaced tape, with colour noise in it so that every plane is different."""
    rng = np.random.default_rng(seed)
    with av.open(str(path), "w") as out:
        early = out.add_stream(sound, rate=48000, layout="stereo") if sound and sound_first else None
        video = out.add_stream(codec, rate=rate)
        video.width, video.height, video.pix_fmt = 720, lines, form
        if shape:
            video.codec_context.sample_aspect_ratio = shape
        audio = early or (out.add_stream(sound, rate=48000, layout="stereo") if sound else None)
        late = int(sound_late_s * 48000)
        for number in range(pictures):
            frame = tape_frame(woven(number, rate, lines, order), form, rng)
            frame.pts, frame.time_base = number, 1 / rate
            for packet in video.encode(frame) if number not in lost else ():
                out.mux(packet)
            if audio is not None:
                start, end = (int(48000 * at / rate) for at in (number, number + 1))
                for packet in audio.encode(_tone(start, end, late, sound, tone)):
                    out.mux(packet)
        for stream in (video, audio):
            for packet in stream.encode(None) if stream is not None else ():
                out.mux(packet)
    return path


def tape_frame(luma: np.ndarray, form: str, rng: np.random.Generator) -> av.VideoFrame:
    lines, samples = luma.shape
    frame = av.VideoFrame(samples, lines, form)
    if form == "uyvy422":
        data = rng.integers(100, 156, (lines, samples * 2)).astype(np.uint8)
        data[:, 1::2] = luma
        frame.planes[0].update(data.tobytes())
        return frame
    deep = form.endswith("10le")
    planes = [luma.astype("<u2") * 4 + rng.integers(0, 4, luma.shape).astype("<u2") if deep else luma]
    for plane in frame.planes[1:]:
        values = rng.integers(100, 156, (plane.height, plane.width))
        planes.append(values.astype("<u2") * 4 if deep else values.astype(np.uint8))
    for plane, values in zip(frame.planes, planes):
        wide = np.zeros((plane.height, plane.line_size), np.uint8)
        raw = np.ascontiguousarray(values).view(np.uint8).reshape(plane.height, -1)
        wide[:, : raw.shape[1]] = raw
        plane.update(wide.tobytes())
    return frame


def _tone(start: int, end: int, late: int, codec: str, tone: bool) -> av.AudioFrame:
    at = np.arange(start, end) / 48000
    values = 0.2 * np.sin(2 * np.pi * 440 * at) if tone else np.zeros(end - start)
    pairs = np.repeat(values, 2)[None]
    if "24" in codec:
        frame = av.AudioFrame.from_ndarray((pairs * (2**23 - 1)).astype(np.int32) << 8, format="s32", layout="stereo")
    else:
        frame = av.AudioFrame.from_ndarray((pairs * (2**15 - 1)).astype(np.int16), format="s16", layout="stereo")
    frame.sample_rate, frame.pts, frame.time_base = 48000, start + late, Fraction(1, 48000)
    return frame


def report_of(
    medium: str = "sound", seconds: float = 1.0, *findings: Finding, trace: Trace | None = None, **figures
) -> Report:
    """A check's report with these figures."""
    measures = {name: Measured(value=value, unit="") for name, value in figures.items()}
    return Report(medium=medium, seconds=seconds, measures=measures, findings=findings, trace=trace or Trace())


def captured_box(folder: Path, originals: list[Original]) -> Box:
    folder.mkdir(parents=True)
    box = Box(folder, Record(folder, "test"))
    box.record.start()
    box.record.append("box-started", {"version": "test", "items_sha256": "0" * 64})
    for original in originals:
        known = {name: value for name, value in asdict(original).items() if value is not None}
        box.record.append("item-listed", known, item=original.id)
    return box


def put_capture(
    box: Box, item: str, source: Path, part: str = "", report: Report | None = None, repeats: str = ""
) -> str:
    """Take a file into a box as ``take`` and ``check`` leave it; its stored path."""
    target = box.folder / "captures" / item / source.name
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(source.read_bytes())
    digest = hashlib.sha256(target.read_bytes()).hexdigest()
    stored = box.relative(target)
    facts = {
        "file": source.name, "source": str(source), "stored": stored, "bytes": target.stat().st_size, "sha256": digest,
        "modified_ns": 1_800_000_000_000_000_000, "part": part,
    }  # fmt: skip
    box.record.append("taken", facts, item=item, key=stored)
    if report is not None:
        checked = {"sha256": digest, "by": "test", "report": facts_from(report), "repeats": repeats}
        box.record.append("checked", checked, item=item, key=stored)
    return stored


def put_made(box: Box, item: str, path: Path, role: str = "copy", picture: str = "", part: str = "") -> str:
    """Take down a finished file that lies in the box."""
    data = path.read_bytes()
    facts = {
        "role": role, "path": box.relative(path), "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest(),
        "from": [], "settings": {}, "picture": picture, "size": None, "part": part,
    }  # fmt: skip
    box.record.append("made", facts, item=item, key=facts["path"])
    return facts["path"]


def tree(folder: Path) -> dict[str, str]:
    """SHA-256 of every file under a folder."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
