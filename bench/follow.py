"""``check --follow`` of a 96 kHz / 24-bit stereo capture written in real time: its share of a core, how soon it tells.

Two runs of different length, so that starting up is not counted. ``python -m bench follow`` takes about 50 seconds.
"""

from __future__ import annotations

import json
import os
import struct
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

RATE, FRAME = 96_000, 6
SHORT_S, LONG_S = 6.0, 36.0
PIECE_S = 0.02  # a capture program's buffer
CLIPPED_AT_S = 4.0
WANTED_SHARE, WANTED_S, WANTED_PER_S = 0.15, 2.0, 9.5


def samples_of(seconds: float) -> np.ndarray:
    """Bursts of noise in hiss, seeded, with half a second of cut tops. Packed bytes."""
    rng = np.random.default_rng(6)
    count = round(seconds * RATE)
    common = rng.standard_normal((count, 1)) + 0.02 * rng.standard_normal((count, 2))
    loud = np.repeat(rng.uniform(0, 1, count // 9600 + 1) ** 3, 9600)[:count, None]
    sound = 0.1 * loud * common + 1e-3 * rng.standard_normal((count, 2))
    at = round(CLIPPED_AT_S * RATE)
    tone = 3 * np.sin(2 * np.pi * 300 * np.arange(RATE // 2) / RATE)
    sound[at : at + RATE // 2] = tone[:, None]
    whole = np.round(np.clip(sound, -1, 1 - 2**-23) * 2**23).astype("<i4")
    return whole.view(np.uint8).reshape(-1, 4)[:, :3].reshape(-1)


class Writer(threading.Thread):
    """Writes a capture in real time, its header open until the end."""

    def __init__(self, path: Path, raw: np.ndarray) -> None:
        super().__init__()
        self.path, self.raw, self.began = path, raw.tobytes(), 0.0
        form = struct.pack("<HHIIHH", 1, 2, RATE, RATE * FRAME, FRAME, 24)
        header = b"RIFF" + bytes(4) + b"WAVEfmt " + struct.pack("<I", 16) + form + b"data" + bytes(4)
        path.write_bytes(header)

    def run(self) -> None:
        step = round(PIECE_S * RATE) * FRAME
        self.began = time.monotonic()
        with self.path.open("r+b", buffering=0) as file:
            file.seek(0, 2)
            for number, at in enumerate(range(0, len(self.raw), step)):
                time.sleep(max(0.0, self.began + (number + 1) * PIECE_S - time.monotonic()))
                file.write(self.raw[at : at + step])
            file.seek(40)
            file.write(struct.pack("<I", len(self.raw)))


def follow(folder: Path, seconds: float) -> tuple[float, float, int, float]:
    """Processor seconds, seconds until the cut tops were told, progress events, and the longest a meter stood still."""
    path = folder / f"side-{seconds:.0f}.wav"
    writer = Writer(path, samples_of(seconds))
    command = [sys.executable, "-m", "takeup", "check", "--follow", str(path), "--carrier", "cassette", "--idle", "2"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    writer.start()
    told, progress, stamps = float("inf"), 0, []
    for line in process.stdout or ():
        now, event = time.monotonic() - writer.began, json.loads(line)
        if event["event"] == "finding" and event["name"] == "clipping":
            told = min(told, now - CLIPPED_AT_S)
        if event["event"] == "progress":
            progress += 1
            stamps.append(now)
    _, _, used = os.wait4(process.pid, 0)
    writer.join()
    still = float(np.diff([one for one in stamps if one > 3]).max())
    return used.ru_utime + used.ru_stime, told, progress, still


def run() -> list[dict]:
    """The ratios."""
    with tempfile.TemporaryDirectory() as folder:
        short, _, _, _ = follow(Path(folder), SHORT_S)
        long, told, progress, still = follow(Path(folder), LONG_S)
    share = (long - short) / (LONG_S - SHORT_S)
    detail = f"{short:.2f} s of processor for {SHORT_S:.0f} s of sound, {long:.2f} s for {LONG_S:.0f} s"
    return [
        _most("share of one core while following", share, WANTED_SHARE, detail),
        _most("cut tops told, over 2 s", told / WANTED_S, 1.0, f"{told:.2f} s after they were written"),
        _most("longest the meters stood still, over 0.3 s", still / 0.3, 1.0, f"{still:.2f} s"),
        {
            "name": "levels for every second of sound",
            "ratio": progress / LONG_S,
            "wanted": f"at least {WANTED_PER_S:g}",
            "met": progress / LONG_S >= WANTED_PER_S,
            "detail": f"{progress} events",
        },
    ]


def _most(name: str, ratio: float, most: float, detail: str) -> dict:
    return {"name": name, "ratio": ratio, "wanted": f"at most {most:g}", "met": ratio <= most, "detail": detail}
