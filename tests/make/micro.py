"""Invented frames of microfilm, open books and fiches, with what lies where known by construction."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from tests.make.pages import sheet


@dataclass(frozen=True)
class Open:
    """Two pages in one picture: its pixels (grey), and where the line between them meets its head and foot [px]."""

    pixels: np.ndarray
    top: float
    foot: float


def finished(pixels, seed=0, *, noise=2.0, soft=0.7):
    """Softened by a lens, with noise, as codes."""
    pixels = cv2.GaussianBlur(np.asarray(pixels, np.float32), (0, 0), soft)
    pixels += np.random.default_rng(seed).normal(0, noise, pixels.shape).astype(np.float32)
    return np.clip(np.rint(pixels), 0, 255).astype(np.uint8)


def turned(pixels, degrees, ground):
    """Turned clockwise about its middle."""
    rows, columns = pixels.shape[:2]
    turn = cv2.getRotationMatrix2D((columns / 2 - 0.5, rows / 2 - 0.5), -degrees, 1.0)
    pixels = np.asarray(pixels, np.float32)
    return cv2.warpAffine(pixels, turn, (columns, rows), flags=cv2.INTER_CUBIC, borderValue=ground), turn


def spread(
    seed=0, *, kinds=("page", "page"), size_in=(5.5, 8.5), ppi=150, fold="shadow", tilt=0.0, ground=25, frame_in=0.4
) -> Open:
    """An open book or two sheets. ``fold``: shadow (pages roll into the fold), gap (ground between), none (edge to
    edge); ``frame_in`` of ground all round."""
    rng = np.random.default_rng(seed)
    sheets = [sheet(kind, seed * 2 + n, ppi=ppi, size_in=size_in) for n, kind in enumerate(kinds)]
    left, right = (one.pixels.astype(np.float32) for one in sheets)
    if fold == "gap":
        middle = round(rng.uniform(0.25, 0.7) * ppi)
        strip = np.full((left.shape[0], middle), float(ground), np.float32)
        pixels = np.hstack([left, strip, right])
        at = left.shape[1] + middle / 2
    else:
        pixels = np.hstack([left, right])
        at = float(left.shape[1])
        if fold == "shadow":
            away = np.abs(np.arange(pixels.shape[1]) - at) / ppi
            pixels *= 1 - rng.uniform(0.25, 0.7) * np.exp(-away / rng.uniform(0.12, 0.3))
    edge = round(frame_in * ppi)
    pixels = cv2.copyMakeBorder(pixels, edge, edge, edge, edge, cv2.BORDER_CONSTANT, value=ground)
    at += edge
    pixels, turn = turned(pixels, tilt, ground)
    ends = [turn @ [at, y, 1] for y in (edge, pixels.shape[0] - edge)]
    return Open(finished(pixels, seed), float(ends[0][0]), float(ends[1][0]))


def single(
    seed=0, *, size_in=(11.0, 8.5), ppi=150, columns=2, rule="thin", gap_in=0.3, ground=25, frame_in=0.3, tilt=0.0
):
    """One page, wider than tall unless told, of columns set about a rule in its middle."""
    wide, tall = size_in
    each = (wide - 1.2 - gap_in * (columns - 1)) / columns
    page = np.full((round(tall * ppi), round(wide * ppi)), 238, np.float32)
    for n in range(columns):
        text = sheet("page", seed * 5 + n, ppi=ppi, size_in=(each + 1.8, tall)).pixels
        inner = text[:, round(0.9 * ppi) : round((0.9 + each) * ppi)]
        x = round((0.6 + n * (each + gap_in)) * ppi)
        page[: inner.shape[0], x : x + inner.shape[1]] = inner[: page.shape[0]]
    if rule:
        thick = {"thin": 2, "thick": round(0.03 * ppi)}[rule]
        middle = page.shape[1] // 2
        page[round(0.8 * ppi) : round((tall - 0.8) * ppi), middle - thick // 2 : middle - thick // 2 + thick] = 40
    edge = round(frame_in * ppi)
    page = cv2.copyMakeBorder(page, edge, edge, edge, edge, cv2.BORDER_CONSTANT, value=ground)
    return finished(turned(page, tilt, ground)[0], seed)


@dataclass(frozen=True)
class Fiche:
    """A sheet of frames: pixels (grey), the box of each frame in reading order (x, y, width, height) [px]."""

    pixels: np.ndarray
    frames: tuple[tuple[float, float, float, float], ...]


def fiche(
    seed=0, *, rows=5, columns=7, frame=(180, 240), gap=(16, 20), negative=False, left_out=0, header=True, tilt=0.0,
    edge=60,
) -> Fiche:  # fmt: skip
    """Frames of one page each, in rows and columns; the last ``left_out`` places are empty."""
    rng = np.random.default_rng(seed)
    wide, tall = frame
    ground = 228.0 if negative else 24.0
    head = 110 if header else 0
    down = 2 * edge + head + rows * tall + (rows - 1) * gap[1]
    pixels = np.full((down, 2 * edge + columns * wide + (columns - 1) * gap[0]), ground, np.uint8)
    if header:
        cv2.putText(
            pixels, "PORT ELLERY GAZETTE 1931", (edge, edge + 50), cv2.FONT_HERSHEY_SIMPLEX, 1.4, 255 - ground, 4
        )
    boxes = []
    for n in range(rows * columns - left_out):
        row, column = divmod(n, columns)
        x, y = edge + column * (wide + gap[0]), edge + head + row * (tall + gap[1])
        page = np.full((tall, wide), float(rng.integers(215, 240)), np.float32)
        kind = rng.random()
        for line in range(20, tall - 20, 9):
            if kind < 0.15 and line > tall / 3:
                break
            for start in range(14, wide - 20, 12):
                if rng.random() < 0.8:
                    page[line : line + 4, start : start + int(rng.integers(4, 10))] = 60
        pixels[y : y + tall, x : x + wide] = 255 - page if negative else page
        boxes.append((x, y, wide, tall))
    pixels, turn = turned(pixels, tilt, ground)
    moved = []
    for x, y, w, h in boxes:
        middle = turn @ [x + w / 2, y + h / 2, 1]
        moved.append((float(middle[0] - w / 2), float(middle[1] - h / 2), float(w), float(h)))
    return Fiche(finished(pixels, seed), tuple(moved))
