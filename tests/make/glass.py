"""A second maker of beds, unlike ``make.scan``: papers are polygons on a finer grid in linear light, averaged.

The lid is a lamp's field with dirt, fingerprints and hairs, the light comes from one side (shadow away from it, a
bright cut edge towards it), the scanner may show its dark frame. Truth is the polygon of each paper. Seeded.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from make.scan import photographs

MM = 25.4
FINE = 4  # cells of the finer grid per pixel and axis
PAPERS_MM = ((89, 127), (101.6, 152.4), (127, 178), (89, 89), (102, 127), (64, 89), (76, 76), (100, 150), (90, 130))


@dataclass
class Laid:
    """One paper on the glass: ``corners`` of its box, clockwise from the top left as it lies [px]; ``edge``: its true
    outline; ``fate``: "cut" (must be found), "person" (must not be cut silently), "either"."""

    corners: np.ndarray
    edge: np.ndarray
    tilt: float
    fate: str = "cut"


@dataclass
class Glass:
    pixels: np.ndarray
    ppi: float
    laid: list[Laid] = field(default_factory=list)


def linear(codes):
    v = np.asarray(codes, np.float32) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)


def coded(light):
    v = np.clip(light, 0, 1)
    return 255 * np.where(v <= 0.0031308, v * 12.92, 1.055 * np.power(v, 1 / 2.4) - 0.055)


def cloud(rng, rows, columns, cells):
    """Smooth random field of about unit spread."""
    grid = rng.normal(0, 1, (cells + 3, max(4, int(cells * columns / rows)) + 3)).astype(np.float32)
    return cv2.resize(grid, (columns, rows), interpolation=cv2.INTER_CUBIC)


def lid(rng, rows, columns, kind):
    """Linear light of the empty glass: a lamp along the width, a carriage along the height, dirt on the lid."""
    if kind == "black":
        base = linear(rng.uniform(14, 34, 3) * 0.3 + rng.uniform(14, 30))
    else:
        base = linear(rng.uniform(236, 251) + rng.uniform(-2.5, 2.5, 3))
    x = np.linspace(-1, 1, columns, dtype=np.float32)[None]
    y = np.linspace(-1, 1, rows, dtype=np.float32)[:, None]
    fall = rng.uniform(0.0, 0.05) * np.abs(x - rng.uniform(-0.3, 0.3)) ** 2.5 + rng.uniform(-0.02, 0.02) * y
    fall = fall + rng.uniform(0.0, 0.012) * cloud(rng, rows, columns, 3)
    field_ = base[None, None] * (1 - fall)[..., None]
    smear = np.clip(cloud(rng, rows, columns, 9) - 1.6, 0, None) * rng.uniform(0, 0.008)
    return field_ * (1 - smear[..., None])


def dirty(rng, light, ppi):
    """Specks, a hair or two, a fingerprint: on the lid and on papers alike."""
    rows, columns = light.shape[:2]
    for _ in range(int(rng.integers(20, 90))):
        at = (int(rng.integers(columns)), int(rng.integers(rows)))
        radius = int(rng.integers(0, max(1, round(ppi / 100)) + 1))
        cv2.circle(light, at, radius, [float(rng.uniform(0.05, 0.6))] * 3, -1, cv2.LINE_AA)
    for _ in range(int(rng.integers(0, 3))):
        walk = np.cumsum(rng.normal(0, 0.3, 30)) + rng.uniform(0, 6.28)
        path = np.cumsum(np.stack([np.cos(walk), np.sin(walk)], 1) * 0.012 * ppi, axis=0)
        path = path + rng.uniform([0, 0], [columns, rows])
        cv2.polylines(
            light, [np.rint(path * 16).astype(np.int32)], False, [0.35] * 3, max(1, round(ppi / 200)), cv2.LINE_AA, 4
        )
    return light


def turned(points, tilt, centre):
    a = np.deg2rad(tilt)
    return np.asarray(points) @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + centre


def filled(points, shape):
    """Which cells' middles lie in a polygon (float32 0 or 1): half-planes for convex ones, else OpenCV's filling."""
    if len(points) > 60:  # teeth and ovals; that filling is half a cell too generous
        mask = np.zeros(shape, np.float32)
        cv2.fillPoly(mask, [np.rint(points * 16).astype(np.int32)], 1.0, cv2.LINE_8, 4)
        return mask
    y, x = np.arange(shape[0], dtype=np.float32)[:, None], np.arange(shape[1], dtype=np.float32)[None]
    inside = np.ones(shape, bool)
    for (ax, ay), (bx, by) in zip(points, np.roll(points, -1, axis=0)):
        dx, dy = np.float32(bx - ax), np.float32(by - ay)
        inside &= dx * (y - np.float32(ay)) >= dy * (x - np.float32(ax))
    return inside.astype(np.float32)


def edge_of(rng, size, shape, ppi):
    """A paper's outline about its middle, as points [px]."""
    w, h = size
    box = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2
    if shape == "oval":
        t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
        return np.stack([w / 2 * np.cos(t), h / 2 * np.sin(t)], 1)
    if shape == "cut":  # corners cut off straight
        c = rng.uniform(2, 5) / MM * ppi
        return np.array(
            [
                [-w / 2 + c, -h / 2],
                [w / 2 - c, -h / 2],
                [w / 2, -h / 2 + c],
                [w / 2, h / 2 - c],
                [w / 2 - c, h / 2],
                [-w / 2 + c, h / 2],
                [-w / 2, h / 2 - c],
                [-w / 2, -h / 2 + c],
            ]
        )
    if shape == "rounded":
        r = rng.uniform(1.5, 5) / MM * ppi
        t = np.linspace(0, np.pi / 2, 12)
        arcs = []
        for n, (x, y) in enumerate(
            [(w / 2 - r, -h / 2 + r), (w / 2 - r, h / 2 - r), (-w / 2 + r, h / 2 - r), (-w / 2 + r, -h / 2 + r)]
        ):
            a = t - np.pi / 2 + n * np.pi / 2
            arcs.append(np.stack([x + r * np.cos(a), y + r * np.sin(a)], 1))
        return np.concatenate(arcs)
    if shape == "deckle":  # torn or pinked: teeth of up to 0.6 mm inwards, none alike
        out = []
        for a, b in zip(box, np.roll(box, -1, axis=0)):
            length = np.hypot(*(b - a))
            n = max(6, int(length / (1.3 / MM * ppi)))
            s = np.sort(np.concatenate([np.linspace(0, 1, n, endpoint=False), rng.uniform(0, 1, n // 3)]))
            normal = np.array([-(b - a)[1], (b - a)[0]]) / length
            depth = rng.uniform(0, 0.6, s.size) / MM * ppi
            depth[0] = 0
            out.append(a + (b - a) * s[:, None] + normal * depth[:, None])
        return np.concatenate(out)
    return box


def face(rng, size, kind, ppi):
    """A paper's face in codes, float32 (rows, columns, 3), at about the bed's resolution."""
    w, h = max(8, round(size[0])), max(8, round(size[1]))
    if kind == "back":
        art = np.full((h, w, 3), rng.uniform(222, 241)) + rng.uniform(-4, 4, 3)
        art += 0.6 * cloud(rng, h, w, 40)[..., None]
        written = np.zeros((h, w), np.uint8)
        for n in range(3):
            cv2.putText(
                written,
                "1974 Ellery 12",
                (w // 8, int(h * (0.3 + 0.2 * n))),
                cv2.FONT_HERSHEY_SCRIPT_SIMPLEX,
                w / 400,
                255,
                max(1, w // 300),
            )
        art -= written[..., None] / 255.0 * [140, 140, 110]
        return art.astype(np.float32)
    if kind == "news":
        art = np.full((h, w, 3), (206, 199, 180), np.float32) + cloud(rng, h, w, 60)[..., None]
        step = max(5, round(ppi / 12))
        for y in range(step, h - step, step):
            for x0 in range(step, w - step, max(40, w // 3)):
                n = rng.integers(3, 9)
                xs = x0 + np.sort(rng.integers(0, max(30, w // 3 - step), 2 * n))
                for a, b in zip(xs[::2], xs[1::2]):
                    art[y : y + step // 2, a : min(b, w - step)] = rng.uniform(60, 110)
        return art
    photos = photographs()
    art = photos[rng.integers(len(photos))]
    rows, columns = art.shape[:2]
    zoom = rng.uniform(0.6, 1.0) * min(columns / w, rows / h)
    cw, ch = int(w * zoom), int(h * zoom)
    x, y = rng.integers(0, columns - cw + 1), rng.integers(0, rows - ch + 1)
    art = cv2.resize(np.ascontiguousarray(art[y : y + ch, x : x + cw]), (w, h), interpolation=cv2.INTER_CUBIC).astype(
        np.float32
    )
    art = 12 + art * rng.uniform(0.82, 0.92)
    if kind == "sky":  # the sky runs white to the paper's edge on top and down part of both sides
        fade = np.clip((np.linspace(0, 1, h) - rng.uniform(0.25, 0.45)) / 0.2, 0, 1)[:, None, None]
        art = art * fade + (1 - fade) * rng.uniform(232, 246)
    if kind == "night":
        art = 8 + art * 0.16
    if kind == "faded":
        art = 150 + 0.3 * art + np.array([10, 0, -14]) * rng.uniform(0, 1)
    if kind in ("bordered", "polaroid", "thin"):
        low, high = {"bordered": (3, 8), "thin": (1.5, 3), "polaroid": (5, 7)}[kind]
        b = max(2, round(rng.uniform(low, high) / MM * ppi))
        foot = b if kind != "polaroid" else round(20 / MM * ppi)
        white = np.full_like(art, 0) + rng.uniform(232, 245) + rng.uniform(-3, 3, 3)
        if w > 2 * b + 8 and h > b + foot + 8:
            white[b : h - foot, b : w - b] = cv2.resize(art, (w - 2 * b, h - b - foot), interpolation=cv2.INTER_AREA)
            art = white.astype(np.float32)
    if kind == "mount":  # a card mount of a slide with its window
        card = np.full_like(art, 0) + rng.uniform(215, 240) + rng.uniform(-3, 3, 3)
        x0, y0 = round(w * (1 - 34.3 / 50) / 2), round(h * (1 - 22.5 / 50) / 2)
        card[y0 : h - y0, x0 : w - x0] = cv2.resize(art * 0.6, (w - 2 * x0, h - 2 * y0), interpolation=cv2.INTER_AREA)
        art = card.astype(np.float32)
    if kind == "strip":  # a strip of negatives: orange base, frames, perforations
        art = art * [0.5, 0.3, 0.2] + [60, 30, 10]
        mm = w / 228.0
        base = np.full((h, w, 3), (205, 120, 70), np.float32)
        for n in range(6):
            x0 = round((1 + 38 * n) * mm)
            base[round(5.5 * mm) : round(29.5 * mm), x0 : x0 + round(36 * mm)] = art[
                round(5.5 * mm) : round(29.5 * mm), x0 : x0 + round(36 * mm)
            ]
        for n in range(48):
            for y0 in (2.0, 30.2):
                base[
                    round(y0 * mm) : round((y0 + 2.8) * mm),
                    round((n + 0.3) * 4.75 * mm) : round((n + 0.3) * 4.75 * mm + 2 * mm),
                ] = 245
        art = base.astype(np.float32)
    return art


def lay(
    glass,
    light,
    rng,
    size_mm,
    centre,
    tilt,
    *,
    kind="photo",
    shape="plain",
    lamp=(0.6, 0.8),
    shadow=None,
    thick=True,
    fate="cut",
    art=None,
    told=True,
):
    """Lay one paper on the glass: ``centre`` [px], ``light`` is changed in place."""
    ppi = glass.ppi
    size = np.array(size_mm, float) / MM * ppi
    edge = turned(edge_of(rng, size, shape, ppi), tilt, centre)
    box = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * size / 2
    corners = turned(box, tilt, centre)
    art = face(rng, size, kind, ppi) if art is None else art
    rows, columns = light.shape[:2]
    pad = int(0.06 * ppi) + 4
    x0, y0 = np.maximum(np.floor(corners.min(0)).astype(int) - pad, 0)
    x1, y1 = np.minimum(np.ceil(corners.max(0)).astype(int) + pad, (columns, rows))
    if x1 <= x0 or y1 <= y0:
        return
    fine = [(y1 - y0) * FINE, (x1 - x0) * FINE]
    own = (edge - [x0, y0]) * FINE - 0.5
    mask = filled(own, fine)
    at = np.array([[-size[0] / 2, -size[1] / 2], [size[0] / 2, -size[1] / 2], [-size[0] / 2, size[1] / 2]])
    target = ((turned(at, tilt, centre) - [x0, y0]) * FINE - 0.5).astype(np.float32)
    source = np.array([[-0.5, -0.5], [art.shape[1] - 0.5, -0.5], [-0.5, art.shape[0] - 0.5]], np.float32)
    shown = cv2.warpAffine(
        linear(np.clip(art, 0, 255)),
        cv2.getAffineTransform(source, target),
        fine[::-1],
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    small = (x1 - x0, y1 - y0)
    alpha = cv2.resize(mask, small, interpolation=cv2.INTER_AREA)[..., None]
    colour = cv2.resize(shown * mask[..., None], small, interpolation=cv2.INTER_AREA)
    part = light[y0:y1, x0:x1]
    depth = rng.uniform(0.05, 0.35) if shadow is None else shadow
    away = np.array(lamp) * rng.uniform(0.15, 0.4) / MM * ppi
    cast = cv2.warpAffine(alpha[..., 0], np.float32([[1, 0, away[0]], [0, 1, away[1]]]), small)
    part *= 1 - depth * cv2.GaussianBlur(cast, (0, 0), max(0.5, 0.12 / MM * ppi))[..., None]
    part *= 1 - alpha
    part += colour
    if thick:  # the cut edge of the paper catches the light on the lamp's side
        lit = np.clip(
            alpha[..., 0]
            - cv2.warpAffine(alpha[..., 0], np.float32([[1, 0, -away[0] / 4], [0, 1, -away[1] / 4]]), small),
            0,
            1,
        )
        part += 0.02 * lit[..., None] * rng.uniform(0, 1)
    if told:
        glass.laid.append(Laid(corners, edge, tilt, fate))


def taken(glass, light, rng, noise=None, frame=0.0):
    """The lens, the sensor, the codes."""
    if frame:
        b = round(frame * glass.ppi)
        dark = linear([9, 9, 10])
        light[:b] = light[-b:] = dark
        light[:, :b] = light[:, -b:] = dark
    light = cv2.GaussianBlur(light, (0, 0), rng.uniform(0.45, 0.8))
    pixels = coded(light) + rng.normal(0, rng.uniform(0.6, 2.2) if noise is None else noise, light.shape).astype(
        np.float32
    )
    glass.pixels = np.clip(np.rint(pixels), 0, 255).astype(np.uint8)
    return glass
