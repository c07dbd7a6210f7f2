"""Small real files of every medium, for tests of the command line: seeded, made by general libraries, not by ours."""

import io
import wave
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from PIL import Image


def sound_samples(seconds: float = 6.0, rate_hz: int = 48000, seed: int = 1) -> np.ndarray:
    """Talk-like sound in two channels with a quiet hiss, peaks near -9 dBFS; float, shape (n, 2)."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * rate_hz)) / rate_hz
    voice = sum(np.sin(2 * np.pi * 140 * k * t + rng.uniform(0, 6)) / k for k in range(1, 12))
    words = np.clip(np.sin(2 * np.pi * 1.7 * t) + 0.4 * np.sin(2 * np.pi * 0.31 * t), 0, None)
    both = np.stack([voice * words, 0.8 * voice * words], axis=1)
    return 0.34 * both / np.abs(both).max() + rng.normal(0, 6e-4, both.shape)


def write_wav(path: Path, samples: np.ndarray, rate_hz: int = 48000, bits: int = 16) -> Path:
    """PCM by the standard library."""
    whole = np.clip(np.round(samples * 2 ** (bits - 1)), -(2 ** (bits - 1)), 2 ** (bits - 1) - 1).astype("<i4")
    data = whole.astype("<i2").tobytes() if bits == 16 else whole.view(np.uint8).reshape(-1, 4)[:, :3].tobytes()
    with wave.open(str(path), "wb") as file:
        file.setnchannels(samples.shape[1])
        file.setsampwidth(bits // 8)
        file.setframerate(rate_hz)
        file.writeframes(data)
    return path


def pictures(count: int, width: int, height: int, seed: int = 2):
    """Textured moving scenes, grey in all three colours: uint8 arrays (height, width, 3)."""
    rng = np.random.default_rng(seed)
    ground = np.kron(rng.uniform(50, 200, (height // 8 + 30, width // 8 + 40)), np.ones((8, 8))).astype(np.float32)
    for at in range(count):
        y, x = 2 * at % 200, 3 * at % 300
        view = ground[y : y + height, x : x + width] + 2 * rng.standard_normal((height, width), dtype=np.float32)
        yield np.repeat(np.clip(view, 16, 235).astype(np.uint8)[..., None], 3, axis=2)


def write_moving(
    path: Path,
    count: int,
    rate: Fraction,
    *,
    size=(720, 576),
    codec="ffv1",
    pixels="yuv422p",
    sound: np.ndarray | None = None,
    repeat=lambda at: at,
) -> Path:
    """A film or video file by libav. ``repeat`` maps the file's picture number to the scene's."""
    with av.open(str(path), "w") as file:
        stream = file.add_stream(codec, rate=rate)
        stream.width, stream.height, stream.pix_fmt = size[0], size[1], pixels
        if codec == "libx264":
            stream.options = {"crf": "18", "preset": "veryfast"}
        track = (
            file.add_stream("pcm_s16le" if path.suffix != ".mp4" else "aac", rate=48000, layout="stereo")
            if sound is not None
            else None
        )
        scenes = list(pictures(repeat(count - 1) + 1, *size))
        for at in range(count):
            frame = av.VideoFrame.from_ndarray(scenes[repeat(at)], format="rgb24").reformat(format=pixels)
            frame.pts = at
            frame.time_base = 1 / Fraction(rate)
            for packet in stream.encode(frame):
                file.mux(packet)
        for packet in stream.encode(None):
            file.mux(packet)
        if track is not None:
            for at in range(0, len(sound), 1024):
                block = np.round(sound[at : at + 1024] * 32767).astype(np.int16).reshape(1, -1)
                frame = av.AudioFrame.from_ndarray(block, format="s16", layout="stereo")
                frame.sample_rate, frame.pts = 48000, at
                for packet in track.encode(frame):
                    file.mux(packet)
            for packet in track.encode(None):
                file.mux(packet)
    return path


def write_scan(path: Path, *, ppi: int = 600, size=(1500, 1100), seed: int = 3) -> Path:
    """One print on a scanner's white lid."""
    rng = np.random.default_rng(seed)
    lid = rng.normal(247, 1.0, (size[1], size[0], 3))
    coarse = rng.uniform(40, 210, (40, 50, 3)).astype(np.uint8)
    scene = np.asarray(Image.fromarray(coarse).resize((size[0] - 400, size[1] - 300), Image.Resampling.BICUBIC), float)
    lid[150 : 150 + scene.shape[0], 200 : 200 + scene.shape[1]] = scene + rng.normal(0, 2, scene.shape)
    image = Image.fromarray(np.clip(lid, 0, 255).astype(np.uint8))
    profile = __import__("PIL.ImageCms", fromlist=["ImageCms"])
    srgb = profile.ImageCmsProfile(profile.createProfile("sRGB")).tobytes()
    image.save(path, dpi=(ppi, ppi), icc_profile=srgb)
    return path


def write_pdf(path: Path, pixels: np.ndarray, claim: str) -> Path:
    """A PDF of one page with one JPEG on it, titled "before". ``claim``: PDF/A-2B, PDF/A-2U."""
    from fpdf import FPDF

    pdf = FPDF(enforce_compliance=claim)
    pdf.set_title("before")
    pdf.add_page()
    data = io.BytesIO()
    Image.fromarray(pixels).save(data, "JPEG")
    pdf.image(data, 0, 0, 100)
    pdf.output(path)
    return path
