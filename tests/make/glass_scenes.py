"""Beds laid with the second maker (``make.glass``), one function per kind of scene; every scene says its own truth."""

from __future__ import annotations

import cv2
import numpy as np
from make.glass import MM, PAPERS_MM, Glass, dirty, lay, lid, taken

LAMPS = ((0.6, 0.8), (-0.7, 0.7), (0.0, 1.0), (1.0, 0.1))


def begin(seed, ppi, size_in=(12, 17), kind="white"):
    rng = np.random.default_rng([seed, 77])
    rows, columns = round(size_in[1] * ppi), round(size_in[0] * ppi)
    glass = Glass(np.zeros((1, 1, 3), np.uint8), ppi)
    return rng, glass, lid(rng, rows, columns, kind)


def quad(centre, size, tilt):
    a = np.deg2rad(tilt)
    own = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.asarray(size) / 2
    return own @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + centre


def free_places(rng, light, ppi, many, sizes_mm, tilts, gap_mm=3.0):
    """Centres, sizes and tilts of papers that keep apart from each other and from the limits."""
    rows, columns = light.shape[:2]
    placed, boxes = [], []
    for _ in range(600):
        if len(placed) == many:
            break
        size = np.array(sizes_mm[rng.integers(len(sizes_mm))], float)
        size = size[::-1] if rng.random() < 0.5 else size
        tilt = float(rng.uniform(*tilts))
        grown = quad((0, 0), (size + gap_mm) / MM * ppi, tilt)
        reach = grown.max(0)
        if (2 * reach >= (columns, rows)).any():
            continue
        centre = rng.uniform(reach, np.array([columns, rows]) - reach)
        own = (grown + centre).astype(np.float32)
        if any(cv2.intersectConvexConvex(own, other)[0] > 0 for other in boxes):
            continue
        boxes.append(own)
        placed.append((centre, size, tilt))
    return placed


def apart(
    seed,
    ppi,
    kinds=("photo",),
    shape="plain",
    tilts=(-6, 6),
    ground="white",
    sizes=PAPERS_MM,
    many=None,
    size_in=(12, 17),
    frame=0.0,
    gap_mm=3.0,
):
    rng, glass, light = begin(seed, ppi, size_in, ground)
    lamp = LAMPS[rng.integers(len(LAMPS))]
    many = many or int(rng.integers(3, 8))
    for centre, size, tilt in free_places(rng, light, ppi, many, sizes, tilts, gap_mm):
        kind = kinds[rng.integers(len(kinds))]
        if kind == "polaroid":
            size = np.array([88, 107.0])
        lay(
            glass,
            light,
            rng,
            size,
            centre,
            tilt,
            kind=kind,
            shape=shape,
            lamp=lamp,
            shadow=0.0 if ground == "black" else None,
        )
    return taken(glass, dirty(rng, light, ppi), rng, frame=frame)


def row(seed, ppi, *, many=None, block=False, mixed=False, kinds=("photo",), ground="white"):
    """Prints that touch (0 to 1 px): a row of two to four, or a block of two by two; ``mixed``: of different sizes."""
    rng, glass, light = begin(seed, ppi, kind=ground)
    lamp = LAMPS[rng.integers(len(LAMPS))]
    tilt = float(rng.uniform(-6, 6))
    origin, across, _, below = quad((0, 0), (1, 1), tilt)
    along, down = across - origin, below - origin
    size = np.array(PAPERS_MM[rng.integers(3 if not block else len(PAPERS_MM))], float) / MM * ppi
    if rng.random() < 0.5:
        size = size[::-1]
    middle = np.array(light.shape[1::-1]) / 2 + rng.uniform(-0.5, 0.5, 2) * ppi
    if block:
        for i in (-0.5, 0.5):
            for j in (-0.5, 0.5):
                gap = rng.uniform(0, 1)
                lay(
                    glass,
                    light,
                    rng,
                    size / ppi * MM,
                    middle + along * i * (size[0] + gap) + down * j * (size[1] + gap),
                    tilt,
                    kind=kinds[rng.integers(len(kinds))],
                    lamp=lamp,
                    shadow=None if ground == "white" else 0.0,
                )
    else:
        many = many or int(rng.integers(2, 5))
        sizes = [size] * many
        if mixed:
            sizes = [np.array(PAPERS_MM[rng.integers(len(PAPERS_MM))], float) / MM * ppi for _ in range(many)]
        while sum(s[0] for s in sizes) > 11.2 * ppi:
            sizes.pop()
        at = -sum(s[0] for s in sizes) / 2
        for s in sizes:
            slide = (
                rng.uniform(-0.3, 0.3) * ppi if mixed else (rng.uniform(-0.1, 0.1) * ppi if rng.random() < 0.4 else 0)
            )
            lay(
                glass,
                light,
                rng,
                s / ppi * MM,
                middle + along * (at + s[0] / 2) + down * slide,
                tilt,
                kind=kinds[rng.integers(len(kinds))],
                lamp=lamp,
                shadow=None if ground == "white" else 0.0,
            )
            at += s[0] + rng.uniform(0, 1)
    return taken(glass, dirty(rng, light, ppi), rng)


def overlapping(seed, ppi):
    """One print partly over another, a third apart."""
    rng, glass, light = begin(seed, ppi)
    size = np.array(PAPERS_MM[rng.integers(3)], float)
    first = np.array([4.2, 5.0]) * ppi + rng.uniform(-0.3, 0.3, 2) * ppi
    tilts = rng.uniform(-12, 12, 2)
    lay(glass, light, rng, size, first, tilts[0], fate="person")
    shift = np.array([size[0] * rng.uniform(0.3, 0.8), size[1] * rng.uniform(0.2, 0.8)]) / MM * ppi
    lay(glass, light, rng, size, first + shift, tilts[1], fate="person")
    lay(glass, light, rng, (64, 89), np.array([9.5, 14.0]) * ppi, float(rng.uniform(-5, 5)))
    return taken(glass, dirty(rng, light, ppi), rng)


def album(seed, ppi):
    """A page of black card with prints mounted on it, the page whole on the white lid."""
    rng, glass, light = begin(seed, ppi)
    tilt = float(rng.uniform(-2, 2))
    page = np.array([230, 300.0])
    middle = np.array(light.shape[1::-1]) / 2 + rng.uniform(-0.2, 0.2, 2) * ppi
    art = np.full((round(page[1] / MM * ppi), round(page[0] / MM * ppi), 3), rng.uniform(22, 45), np.float32)
    art = art + rng.normal(0, 1.2, art.shape).astype(np.float32)
    lay(glass, light, rng, page, middle, tilt, art=art, fate="either")
    for i in range(2):
        for j in range(2):
            own = quad(middle, np.array([112, 145.0]) / MM * ppi, tilt)[[0, 1, 3, 2]][2 * j + i]
            kind = ("photo", "bordered", "thin")[rng.integers(3)]
            shape = ("plain", "deckle")[int(rng.random() < 0.3)] if kind != "photo" else "plain"
            lay(glass, light, rng, (76, 102), own, tilt + float(rng.uniform(-2, 2)), kind=kind, shape=shape, shadow=0.0)
    return taken(glass, dirty(rng, light, ppi), rng)


def limit(seed, ppi, past_mm):
    """A print that reaches ``past_mm`` over the scan's limit (negative: stays that far inside), another apart."""
    rng, glass, light = begin(seed, ppi)
    rows, columns = light.shape[:2]
    tilt = float(rng.uniform(-3, 3)) if rng.random() < 0.5 else 0.0
    size = np.array([101.6, 152.4])
    reach = quad((0, 0), size / MM * ppi, tilt).max(0)
    side = int(rng.integers(4))
    past = past_mm / MM * ppi
    centre = np.array([columns, rows]) * rng.uniform(0.35, 0.65, 2)
    if side == 0:
        centre[1] = reach[1] - past
    elif side == 1:
        centre[0] = columns - reach[0] + past
    elif side == 2:
        centre[1] = rows - reach[1] + past
    else:
        centre[0] = reach[0] - past
    kind = ("photo", "bordered", "photo", "faded")[rng.integers(4)]
    lay(glass, light, rng, size, centre, tilt, kind=kind)
    far = np.array([columns, rows]) * (0.2, 0.15)
    if np.abs(far - centre).max() > 6 * ppi:
        lay(glass, light, rng, (64, 89), far, 3.0)
    return taken(glass, dirty(rng, light, ppi), rng)


def slides(seed, ppi):
    rng, glass, light = begin(seed, ppi, (8.5, 11.7))
    for i in range(3):
        for j in range(4):
            if rng.random() < 0.85:
                middle = np.array([1.4 + 2.6 * i, 1.5 + 2.6 * j]) * ppi + rng.uniform(-0.1, 0.1, 2) * ppi
                lay(glass, light, rng, (50, 50), middle, float(rng.uniform(-4, 4)), kind="mount", shape="rounded")
    return taken(glass, dirty(rng, light, ppi), rng)


def strips(seed, ppi):
    rng, glass, light = begin(seed, ppi)
    for n in range(int(rng.integers(2, 5))):
        middle = np.array([6.0, 2.2 + 3.2 * n]) * ppi + rng.uniform(-0.3, 0.3, 2) * ppi
        lay(glass, light, rng, (228, 35), middle, float(rng.uniform(-2, 2)), kind="strip")
    return taken(glass, dirty(rng, light, ppi), rng)


def blank(seed, ppi, kind="white"):
    rng, glass, light = begin(seed, ppi, kind=kind)
    return taken(glass, dirty(rng, light, ppi), rng)


STAMPS = ((22, 26), (25, 36), (35, 45), (30, 40), (20, 25), (45, 35))
SCENES = {
    "clean": apart,
    "bordered": lambda s, p: apart(s, p, ("bordered",)),
    "thin": lambda s, p: apart(s, p, ("thin",)),
    "faded": lambda s, p: apart(s, p, ("faded",)),
    "black": lambda s, p: apart(s, p, ("photo", "bordered", "faded"), ground="black"),
    "night": lambda s, p: apart(s, p, ("night",), ground="black"),
    "sky": lambda s, p: apart(s, p, ("sky",)),
    "steep": lambda s, p: apart(s, p, ("photo", "bordered"), tilts=(-45, 45)),
    "mixed": lambda s, p: apart(s, p, ("photo", "bordered", "faded", "thin", "sky", "back", "news", "polaroid")),
    "close": lambda s, p: apart(s, p, ("photo", "bordered"), gap_mm=1.2, many=8),
    "deckle": lambda s, p: apart(s, p, ("bordered",), shape="deckle"),
    "oval": lambda s, p: apart(s, p, ("photo", "faded"), shape="oval"),
    "cut": lambda s, p: apart(s, p, ("photo", "bordered"), shape="cut"),
    "rounded": lambda s, p: apart(s, p, ("photo", "bordered", "thin"), shape="rounded"),
    "backs": lambda s, p: apart(s, p, ("photo", "back")),
    "alone": lambda s, p: apart(s, p, ("photo", "bordered", "faded", "sky"), many=1),
    "stamps": lambda s, p: apart(s, p, ("photo", "thin"), sizes=STAMPS, many=12, size_in=(8.5, 11.7)),
    "panorama": lambda s, p: apart(s, p, ("photo", "bordered"), sizes=((89, 254), (102, 280)), many=2),
    "frame": lambda s, p: apart(s, p, ("photo", "bordered"), frame=0.12),
    "row": row,
    "row-bordered": lambda s, p: row(s, p, kinds=("bordered", "photo")),
    "block": lambda s, p: row(s, p, block=True),
    "row-mixed": lambda s, p: row(s, p, mixed=True),
    "row-black": lambda s, p: row(s, p, ground="black", kinds=("photo", "bordered")),
    "overlap": overlapping,
    "album": album,
    "slides": slides,
    "strips": strips,
    "blank": blank,
    "past": lambda s, p: limit(s, p, (0.3, 0.5, 1.0, 3.0, 20.0)[s % 5]),
    "near": lambda s, p: limit(s, p, (-0.3, -0.5, -0.8, -1.2, -2.0)[s % 5]),
}
