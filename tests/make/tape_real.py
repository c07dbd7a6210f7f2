"""A second maker of tape pictures: photographs under a hand-held camera, played by a tape whose faults are laid down.

Unlike ``make.video`` in every step: the camera rolls, zooms and shakes; things lie before the picture (a crawl,
confetti, bars, glints); the line is limited and shifted by its Fourier transform; dropouts have a sharp beginning and
an end that fades or rings. Photographs come from installed test packages and are never copied into the repository.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
import scipy.fft
from make.photographs import photograph as shipped

WIDE = 720
Planes = tuple[np.ndarray, np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Streak:
    """One dropout: ``picture`` and ``parity`` say the field, ``line`` its first line counted in that field."""

    picture: int
    parity: int
    line: int
    start: int
    length: int
    code: int
    lines: int = 1
    end: str = "fade"  # fade, ring, sharp
    colour: bool = True  # whether colour goes with it


@dataclass(frozen=True)
class Band:
    """A tracking fault from picture ``first`` to ``end``: its middle (field line) at both, height in field lines."""

    first: int
    end: int
    middle: tuple[float, float]
    height: float
    noise: float = 45.0


@dataclass(frozen=True)
class Scene:
    """What the camera sees and how the tape plays. Times in pictures."""

    pictures: int = 12
    lines: int = 576
    seed: int = 1
    world: str = "china.jpg"
    camera: str = "hand"  # still, hand, pan, fast, roll
    extras: tuple[str, ...] = ()
    cuts: tuple[tuple[int, str], ...] = ()  # picture, world from there on
    top_first: bool = True
    jitter_px: float = 0.12
    slow_px: float = 0.0  # amplitude of a bend over many lines
    skew_px: float = 0.0  # bend at the top of a field
    switch: int = 6
    noise: float = 1.5
    delay_px: float = 0.0
    delay_lines: int = 0  # of a field
    soft: float = 0.0  # blur of the picture itself [px]
    bands: tuple[Band, ...] = ()
    footage: np.ndarray | None = None  # (n, rows, columns, 3) R'G'B' pictures, one a field, instead of a world


@cache
def photograph(name: str) -> np.ndarray:
    """An R'G'B' photograph 1000 px wide or more."""
    if name == "fence":
        rgb = np.full((900, 1200, 3), (120, 150, 90), np.uint8)
        rgb[:, ::7] = (90, 120, 70)
        for top in range(40, 900, 46):
            rgb[top : top + 5] = (225, 220, 205)
        rgb[:, 20::90] = rgb[:, 21::90] = rgb[:, 22::90] = (60, 45, 40)
    elif name == "stripes":
        rows = np.arange(900)[:, None] + 6 * np.sin(np.arange(1200) / 60)[None, :]
        rgb = np.where((rows % 11 < 5)[..., None], np.uint8([215, 215, 220]), np.uint8([30, 40, 110]))
        rgb = rgb.astype(np.uint8)
    elif name == "water":
        rng = np.random.default_rng(7)
        swell = sum(
            cv2.resize(rng.normal(size=(900 // h, 1200 // w)).astype(np.float32), (1200, 900)) * a
            for h, w, a in ((6, 40, 14), (3, 15, 12), (30, 120, 20))
        )
        rgb = np.clip(np.float32([70, 105, 120]) + swell[..., None], 0, 255).astype(np.uint8)
    else:
        rgb = shipped(name)
    rgb = np.stack([rgb] * 3, -1) if rgb.ndim == 2 else rgb[..., :3]
    scale = max(1000 / rgb.shape[1], 820 / rgb.shape[0])
    size = round(rgb.shape[1] * scale), round(rgb.shape[0] * scale)
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    return cv2.resize(np.ascontiguousarray(rgb), size, interpolation=way)


def play(scene: Scene) -> Iterator[Planes]:
    """Pictures at 4:2:2 as float codes: luma (lines, 720), colour (lines, 360)."""
    for at in range(scene.pictures):
        planes = (
            np.empty((scene.lines, WIDE), np.float32),
            np.empty((scene.lines, WIDE // 2), np.float32),
            np.empty((scene.lines, WIDE // 2), np.float32),
        )
        for order in (0, 1):
            parity = order if scene.top_first else 1 - order
            for plane, part in zip(planes, _field(scene, at, 2 * at + order, parity)):
                plane[parity::2] = part
        yield planes


def codes(planes: Planes, form: str = "8") -> tuple[np.ndarray, ...]:
    """Codes as a file holds them: ``8``, ``10`` (4:2:2), ``420``, ``411``."""
    luma, *colour = planes
    if form == "10":
        return tuple(np.clip(np.rint(4 * plane), 4, 1019).astype(np.uint16) for plane in planes)
    if form == "411":
        colour = [plane[:, ::2] for plane in colour]
    if form == "420":
        colour = [
            np.stack([(p[0::4] + p[2::4]) / 2, (p[1::4] + p[3::4]) / 2], 1).reshape(len(p) // 2, -1) for p in colour
        ]
    return tuple(np.clip(np.rint(plane), 1, 254).astype(np.uint8) for plane in (luma, *colour))


def streaks_for(pictures: list[Planes], number: int, seed: int, contrast: float = 45) -> list[Streak]:
    """Random streaks of 60 px and more that lie at least ``contrast`` codes beside the mean of what is under them."""
    rng = np.random.default_rng([seed, 41])
    order = rng.permutation(np.arange(1, len(pictures) - 1))
    found: list[Streak] = []
    while len(found) < number:
        at, parity = int(order[len(found) % len(order)]), int(rng.integers(2))
        field = pictures[at][0][parity::2]
        line, lines = int(rng.integers(12, len(field) - 20)), int(rng.choice([1, 1, 1, 2, 3]))
        length = int(rng.integers(60, 300))
        start = int(rng.integers(14, WIDE - 20 - length))
        under = field[line : line + lines, start : start + length]
        code = int(np.clip(under.mean() + rng.choice([-1, 1]) * (contrast + 20 * rng.random()), 18, 245))
        if abs(code - under.mean()) < contrast:
            continue
        if any(other.picture == at and abs(other.line - line) < 8 for other in found):
            continue
        end = str(rng.choice(["fade", "ring", "sharp"]))
        found.append(Streak(at, parity, line, start, length, code, lines, end))
    return found


def with_streaks(pictures: list[Planes], streaks: list[Streak]) -> list[Planes]:
    """The same pictures with the streaks on them."""
    spoilt = [tuple(plane.copy() for plane in planes) for planes in pictures]
    for number, streak in enumerate(streaks):
        fields = [plane[streak.parity :: 2] for plane in spoilt[streak.picture]]
        _drop(fields, streak, np.random.default_rng([number, 6]))
    return spoilt  # type: ignore[return-value]


def _field(scene: Scene, at: int, number: int, parity: int) -> list[np.ndarray]:
    rng = np.random.default_rng([scene.seed, number, 5])
    rgb = _view(scene, at, number)
    if scene.soft:
        rgb = cv2.GaussianBlur(rgb, (0, 0), scene.soft)
    rgb = rgb.astype(np.float32)
    rgb = (rgb[parity::2] + np.concatenate([rgb[parity + 1 :: 2], rgb[-1:]])[: scene.lines // 2]) / 2
    matrix = np.float32([[0.299, 0.587, 0.114], [-0.1687, -0.3313, 0.5], [0.5, -0.4187, -0.0813]])  # ITU-T T.871
    planes = np.moveaxis(cv2.transform(rgb, matrix), -1, 0)
    luma, blue, red = 16 + planes[0] * 219 / 255, planes[1] * 224 / 255, planes[2] * 224 / 255
    cycles = np.fft.rfftfreq(WIDE)
    luma_pass = 1 / (1 + (cycles / (3.0 / 13.5)) ** 12)
    colour_pass = np.exp(-2 * (np.pi * cycles * 5) ** 2) * np.exp(-2j * np.pi * cycles * scene.delay_px)
    window = _window()
    luma = (_passed(luma, luma_pass) - 16) * window
    blue, red = (_passed(plane, colour_pass) * window for plane in (blue, red))
    if scene.delay_lines:
        blue, red = (np.roll(plane, scene.delay_lines, 0) for plane in (blue, red))
    shift = _shifts(scene, rng, number, len(luma))
    near = _band(scene, at, parity, len(luma))
    shift = shift + near * rng.normal(0, 12, len(luma))
    turn = np.exp(-2j * np.pi * cycles[None, :] * shift[:, None])
    luma, blue, red = (_passed(plane, turn) for plane in (luma, blue, red))
    grain = _passed(rng.standard_normal(luma.shape, np.float32), luma_pass)
    luma = luma + grain * scene.noise / grain.std()
    luma, blue, red = _spoilt(luma, blue, red, near, rng, scene)
    if scene.switch:
        luma[-scene.switch] += _passed(rng.normal(0, 60, WIDE), luma_pass)
    planes = (luma + 16, blue[:, ::2] + 128, red[:, ::2] + 128)
    return [plane.astype(np.float32) for plane in planes]


def _passed(lines: np.ndarray, response: np.ndarray) -> np.ndarray:
    spectrum = scipy.fft.rfft(np.asarray(lines, np.float32), axis=-1)
    return scipy.fft.irfft(spectrum * response.astype(np.complex64), WIDE, axis=-1)


def _window() -> np.ndarray:
    x = np.arange(WIDE)
    return np.clip((x - 7) / 4, 0, 1) * np.clip((WIDE - 8 - x) / 4, 0, 1)


def _shifts(scene: Scene, rng: np.random.Generator, number: int, lines: int) -> np.ndarray:
    k = np.arange(lines)
    shift = rng.normal(0, 1, lines) * scene.jitter_px + scene.slow_px * np.sin(k / 30 + number)
    shift += scene.skew_px * np.exp(-k / 12)
    if scene.switch:
        shift[-scene.switch :] += np.linspace(24, 6, scene.switch)
    return shift


def _band(scene: Scene, at: int, parity: int, lines: int) -> np.ndarray:
    near = np.zeros(lines)
    for band in scene.bands:
        if band.first <= at < band.end:
            part = (at - band.first) / max(1, band.end - band.first - 1)
            middle = band.middle[0] + (band.middle[1] - band.middle[0]) * part
            near = np.maximum(near, np.clip(band.height / 2 + 1 - np.abs(np.arange(lines) - middle), 0, 1))
    return near


def _spoilt(
    luma: np.ndarray, blue: np.ndarray, red: np.ndarray, near: np.ndarray, rng: np.random.Generator, scene: Scene
) -> tuple[np.ndarray, ...]:
    """What a tracking fault leaves: streaky noise, no colour."""
    if not near.any():
        return luma, blue, red
    streaky = cv2.GaussianBlur(rng.normal(size=luma.shape), (0, 0), sigmaX=2.5, sigmaY=0.01)
    sparks = (rng.random(luma.shape) < 0.004).astype(float)
    sparks = cv2.filter2D(sparks, -1, np.exp(-np.arange(40) / 12)[None, ::-1], borderType=cv2.BORDER_CONSTANT)
    noise = max((band.noise for band in scene.bands), default=0)
    weight = near[:, None]
    luma = luma * (1 - 0.6 * weight) + weight * (0.4 * 90 + noise * streaky / streaky.std() + 90 * sparks)
    colour = rng.normal(0, 6, (2, *luma.shape))
    return luma, blue * (1 - weight) + weight * colour[0], red * (1 - weight) + weight * colour[1]


def _drop(planes: list[np.ndarray], streak: Streak, rng: np.random.Generator) -> None:
    x = np.arange(WIDE, dtype=float)
    body = np.clip(x - streak.start + 1, 0, 1) * (x < streak.start + streak.length)
    after = np.maximum(x - streak.start - streak.length, 0)
    if streak.end == "fade":
        body = np.where(after > 0, np.exp(-after / 14), body)
    if streak.end == "ring":
        body = np.where(after > 0, np.exp(-after / 10) * np.cos(after * 0.9), body)
    for line in range(streak.line, streak.line + streak.lines):
        level = streak.code + rng.normal(0, 4, WIDE)
        planes[0][line] += np.where(x >= streak.start, np.clip(body, -0.3, 1), 0) * (level - planes[0][line])
        if streak.colour:
            for plane in planes[1:]:
                plane[line] += np.clip(np.where(x >= streak.start, body, 0), 0, 1)[::2] * (128 - plane[line])


def _view(scene: Scene, at: int, number: int) -> np.ndarray:
    """The whole picture the camera sees in one field's instant, shape (lines, 720, 3)."""
    world = scene.world
    for picture, name in scene.cuts:
        world = name if at >= picture else world
    size = (WIDE, scene.lines)
    if scene.footage is not None:
        view = cv2.resize(scene.footage[number % len(scene.footage)], size, interpolation=cv2.INTER_CUBIC)
    else:
        photo = photograph(world)
        way = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        view = cv2.warpAffine(photo, _camera(scene, photo, number), size, flags=way, borderMode=cv2.BORDER_REFLECT)
    for extra in scene.extras:
        EXTRAS[extra](view, scene, number)
    return view


def _camera(scene: Scene, photo: np.ndarray, number: int) -> np.ndarray:
    rng = np.random.default_rng([scene.seed, 11])
    phase = rng.uniform(0, 6.28, 8)
    t = 0.0 if scene.camera == "still" else float(number)
    amount = {"still": 0.0, "hand": 1.0, "pan": 1.0, "fast": 1.5, "roll": 2.0}[scene.camera]
    pan = {"pan": 3.0, "fast": 14.0}.get(scene.camera, 0.15)
    shake_x = amount * (5 * np.sin(t / 9 + phase[0]) + 1.2 * np.sin(t / 2.1 + phase[1]))
    shake_y = amount * (4 * np.sin(t / 11 + phase[2]) + 1.0 * np.sin(t / 2.7 + phase[3]))
    turn = np.deg2rad(amount * 0.8 * np.sin(t / 25 + phase[4]) + (0.25 * t if scene.camera == "roll" else 0))
    zoom = 1.0 + 0.04 * amount * np.sin(t / 40 + phase[5]) + (0.004 * t if scene.camera == "roll" else 0)
    c, s = np.cos(turn) * zoom, np.sin(turn) * zoom
    middle = np.array([photo.shape[1] / 2 + shake_x + pan * t - 60, photo.shape[0] / 2 + shake_y])
    start = middle - np.array([[c, -s], [s, c]]) @ np.array([WIDE / 2, scene.lines / 2])
    return np.float32([[c, -s, start[0]], [s, c, start[1]]])


def _confetti(view: np.ndarray, scene: Scene, number: int) -> None:
    rng = np.random.default_rng([scene.seed, 21])
    for _ in range(90):
        x, y, vx, vy = rng.uniform(0, 900), rng.uniform(-500, 600), rng.uniform(-2, 2), rng.uniform(1.5, 6)
        colour, spin = rng.uniform(60, 255, 3).tolist(), rng.uniform(0, 40)
        box = ((x + vx * number, (y + vy * number) % 700 - 40), (rng.uniform(8, 26), rng.uniform(2, 9)))
        cv2.fillConvexPoly(view, np.int32(cv2.boxPoints((*box, spin * number % 360))), colour, cv2.LINE_AA)


def _flakes(view: np.ndarray, scene: Scene, number: int) -> None:
    rng = np.random.default_rng([scene.seed, 22])
    for _ in range(350):
        x, y, v, r = rng.uniform(0, 720), rng.uniform(0, 620), rng.uniform(3, 9), rng.uniform(0.8, 3)
        at = (int(16 * ((x + 2 * number) % 740)), int(16 * ((y + v * number) % 640)))
        cv2.circle(view, at, int(16 * r), (240, 240, 245), -1, cv2.LINE_AA, shift=4)


def _crawl(view: np.ndarray, scene: Scene, number: int) -> None:
    for line in range(14):
        y = int(640 + 52 * line - 3 * number)
        cv2.putText(view, f"- NAME {line} ===== E T Z -", (90, y), cv2.FONT_HERSHEY_DUPLEX, 1.3, (235,) * 3, 3)
        cv2.rectangle(view, (150, y + 10), (520, y + 12), (240, 240, 240), -1)


def _title(view: np.ndarray, scene: Scene, number: int) -> None:
    if number >= scene.pictures:  # in the middle of the scene
        cv2.putText(view, "SUMMER 1989", (80, 300), cv2.FONT_HERSHEY_SIMPLEX, 2.6, (240, 240, 90), 7)
        cv2.rectangle(view, (80, 330), (600, 333), (240, 240, 240), -1)


def _flash(view: np.ndarray, scene: Scene, number: int) -> None:
    if number in (scene.pictures, scene.pictures + 1, scene.pictures + 8):
        cv2.add(view, (110, 110, 110, 0), dst=view)


def _bars(view: np.ndarray, scene: Scene, number: int) -> None:
    rng = np.random.default_rng([scene.seed, 23])
    for _ in range(9):
        y, v, high, x, wide = rng.uniform(0, 560), rng.uniform(-9, 9), rng.uniform(2, 6), rng.uniform(0, 500), 160
        code = float(rng.choice([15, 245]))
        top = int(16 * ((y + v * number) % 600))
        cv2.rectangle(
            view, (int(16 * x), top), (int(16 * (x + wide)), top + int(16 * high)), (code,) * 3, -1, cv2.LINE_AA, 4
        )


def _glints(view: np.ndarray, scene: Scene, number: int) -> None:
    rng = np.random.default_rng([scene.seed, number, 24])
    for _ in range(220):
        at = (int(rng.integers(0, 720)), int(rng.integers(200, 576)))
        cv2.ellipse(view, at, (int(rng.integers(3, 16)), int(rng.integers(1, 3))), 0, 0, 360, (250, 250, 245), -1)


def _walker(view: np.ndarray, scene: Scene, number: int) -> None:
    """A striped shirt that walks before the picture, otherwise than the camera moves."""
    left, top = int(100 + 4 * number) % 560, int(200 + 6 * np.sin(number / 3))
    shirt = photograph("stripes")[:220, :130]
    high = min(220, len(view) - top)
    view[top : top + high, left : left + 130] = shirt[:high]


EXTRAS = {
    "confetti": _confetti,
    "flakes": _flakes,
    "crawl": _crawl,
    "title": _title,
    "flash": _flash,
    "bars": _bars,
    "glints": _glints,
    "walker": _walker,
}
