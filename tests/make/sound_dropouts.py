"""Holes laid into sound (truth by construction), and what is easily taken for one: gates, fades, claps, cut notes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from make.sound import Samples, db

EDGE_S = 0.001  # raised cosine


@dataclass(frozen=True)
class Laid:
    """One hole as it was laid in; ``channel`` None: in all."""

    from_s: float
    to_s: float
    depth_db: float
    channel: int | None


def lay(samples: Samples, holes: list[Laid], rate: int) -> Samples:
    """y = x (1 - D w(t)), D = 1 - 10^(-depth / 20), w with raised-cosine edges of 1 ms (check values: fault 2)."""
    out = samples.copy()
    for hole in holes:
        first, end = (round((at + way * EDGE_S) * rate) for at, way in ((hole.from_s, -1), (hole.to_s, 1)))
        t = np.arange(first, end) / rate
        way = np.clip(np.minimum(t - hole.from_s, hole.to_s - t) / EDGE_S, 0, 1)
        gain = 1 - (1 - db(-hole.depth_db)) * (0.5 - 0.5 * np.cos(np.pi * way))
        struck = slice(None) if hole.channel is None else [hole.channel]
        out[first:end, struck] *= gain[:, None]
    return out


def holes_at_random(
    rng: np.random.Generator, seconds: float, channels: int, depths: tuple[float, ...], lengths_ms: tuple[float, ...]
) -> list[Laid]:
    """Holes anywhere, 0.2 to 0.9 s apart."""
    found, at = [], 0.5
    while True:
        length = float(rng.choice(lengths_ms)) / 1000 * rng.uniform(1, 1.2)
        at += rng.uniform(0.2, 0.9)
        if at + length > seconds - 0.5:
            return found
        channel = None if channels == 1 else (None, 0, 1)[rng.integers(3)]
        found.append(Laid(at, at + length, float(rng.choice(depths)), channel))
        at += length


def gate(samples: Samples, rate: int, threshold_dbfs: float, depth_db: float, open_s: float, close_s: float) -> Samples:
    """A noise gate before the recorder's output: hiss and all, opening and closing exponentially."""
    step = rate // 1000
    level = np.sqrt((samples[: len(samples) // step * step] ** 2).mean(axis=1).reshape(-1, step).mean(axis=1))
    gain, now = np.empty(len(level)), 0.0
    for at, wanted in enumerate(level > db(threshold_dbfs)):
        now += (wanted - now) * (1 - np.exp(-0.001 / (open_s if wanted > now else close_s)))
        gain[at] = now
    smooth = np.interp(np.arange(len(samples)), (np.arange(len(gain)) + 0.5) * step, gain)
    return samples * (db(-depth_db) + (1 - db(-depth_db)) * smooth)[:, None]


def claps(rng: np.random.Generator, seconds: float, rate: int, each_second: float = 120.0) -> Samples:
    """Applause: bursts of 4 to 20 ms, each with its own colour and place. Shape (n, 2), RMS 1."""
    count = round(seconds * rate)
    out = np.zeros((count, 2))
    for _ in range(int(seconds * each_second)):
        length = round(rng.uniform(0.004, 0.02) * rate)
        at = rng.integers(0, count - length)
        burst = np.convolve(rng.standard_normal(length), np.ones(rng.integers(1, 12)), "same")
        place = rng.uniform(0.1, 0.9)
        burst *= rng.uniform(0.2, 1) * np.exp(-np.arange(length) / (length / 5))
        out[at : at + length] += burst[:, None] * np.sqrt([1 - place, place])
    return out / out.std()


def cut_notes(rng: np.random.Generator, seconds: float, rate: int) -> Samples:
    """Staccato: notes of 30 to 150 ms that begin and end within 0.5 to 6 ms, rests of 10 to 300 ms. Shape (n,)."""
    out, at = np.zeros(round(seconds * rate)), 0
    while at < len(out):
        t = np.arange(round(rng.uniform(0.03, 0.15) * rate)) / rate
        hz = rng.choice([262, 330, 392, 523, 659, 784])
        note = sum(np.sin(2 * np.pi * hz * k * t + k * k) / k**0.8 for k in range(1, 13))
        edge = rng.choice([0.0005, 0.002, 0.006])
        note *= np.clip(np.minimum(t, t[-1] - t) / edge, 0, 1) * rng.uniform(0.3, 1)
        part = out[at : at + len(t)]
        part += note[: len(part)]
        at += len(t) + round(rng.choice([0.01, 0.03, 0.06, 0.12, 0.3]) * rate)
    return out / out.std()


def drums(rng: np.random.Generator, seconds: float, rate: int) -> Samples:
    """A kit: kick, snare and hats of decaying noise, each in its place; shape (n, 2), RMS 1."""
    out = np.zeros((round(seconds * rate), 2))
    beat = 60 / rng.uniform(90, 150) / 2
    t = np.arange(round(0.4 * rate)) / rate
    for number in range(int(seconds / beat)):
        start = round(number * beat * rate)
        hats = np.diff(rng.standard_normal(len(t) + 1)) * np.exp(-t * rng.choice([8, 60]))
        strokes = [(0.2 * hats, 0.7)]
        if number % 4 == 0:
            strokes.append((np.sin(2 * np.pi * (50 * t + 3 * (1 - np.exp(-30 * t)))) * np.exp(-12 * t), 0.5))
        if number % 4 == 2:
            strokes.append((0.8 * rng.standard_normal(len(t)) * np.exp(-25 * t), 0.45))
        for stroke, place in strokes:
            part = out[start : start + len(t)]
            part += stroke[: len(part), None] * np.sqrt([1 - place, place])
    return out / out.std()
