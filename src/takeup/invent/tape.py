"""An invented home video as a tape plays it: fields, each at its own instant, soft, noisy, bent at the foot. Seeded.

The picture is 625-line video at 25 pictures per second, top field first, in codes of 10 bits: luma (576, 720), colour
(576, 360) each. What a tape does to a picture is simulated in the order in which it happens.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

WIDTH, HEIGHT, RATE = 720, 576, 25
EDGE = 9  # black samples at either side: 702 of 720 carry picture
LUMA_TAPS = cv2.getGaussianKernel(9, 1.35).ravel().astype(np.float32)  # about 3 MHz at 13.5 MHz
NOISE_CODES = 1.5 * 4  # about 43 dB under white
SWITCH_LINES = 6  # of a field


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One shot: a view, how the camera moves, for how many pictures. No view: the tape runs, nothing is on it."""

    view: np.ndarray | None  # RGB floats 0..255, larger than the picture
    pictures: int
    move: tuple[float, float] = (0.6, 0.05)  # pixels per field, across and down

    @property
    def black(self) -> bool:
        return self.view is None


def tape_pictures(shots: list[Shot], seed: int) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Luma and both colour planes of each picture, as uint16 codes of 10 bits."""
    dice = np.random.default_rng(seed)
    noise = _noises(dice)
    field = 0
    for shot in shots:
        planes = None if shot.view is None else _tape_planes(shot.view)
        for _ in range(shot.pictures):
            luma = np.empty((HEIGHT, WIDTH), np.float32)
            colour = np.full((2, HEIGHT, WIDTH // 2), 512, np.float32)
            for parity in (0, 1):
                if planes is None:
                    luma[parity::2] = 64
                else:
                    luma[parity::2], colour[:, parity::2] = _field(planes, shot, field, parity)
                _worn(luma[parity::2], noise, dice)
                field += 1
            yield (
                _codes(luma, 4, 1016),
                _codes(_coloured(colour[0], noise, dice)),
                _codes(_coloured(colour[1], noise, dice)),
            )


def _tape_planes(view: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Luma and colour of a view in 10-bit codes, as soft as a tape keeps them (BT.601 weights)."""
    red, green, blue = (view[..., at] / 255 for at in range(3))
    luma = 0.299 * red + 0.587 * green + 0.114 * blue
    both = [(blue - luma) / 1.772, (red - luma) / 1.402]
    planes = [64 + 876 * cv2.sepFilter2D(luma, -1, LUMA_TAPS, np.array([0.25, 0.5, 0.25], np.float32))]
    planes += [512 + 896 * cv2.GaussianBlur(one, (31, 1), 5) for one in both]
    return planes[0], planes[1], planes[2]


def _field(
    planes: tuple[np.ndarray, np.ndarray, np.ndarray], shot: Shot, field: int, parity: int
) -> tuple[np.ndarray, np.ndarray]:
    """The lines of one field at its instant: the camera drifts with a little shake of the hand."""
    x = 20 + shot.move[0] * field % (planes[0].shape[1] - WIDTH - 60) + 2.5 * np.sin(field / 23.0)
    y = 20 + shot.move[1] * field % 20 + 1.5 * np.sin(field / 17.0 + 1)
    window = np.array([[1, 0, x], [0, 1, y]], np.float32)
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    luma = cv2.warpAffine(planes[0], window, (WIDTH, HEIGHT), flags=how)[parity::2]
    half = np.array([[2, 0, x], [0, 1, y]], np.float32)
    colour = np.stack([cv2.warpAffine(one, half, (WIDTH // 2, HEIGHT), flags=how)[parity::2] for one in planes[1:]])
    soft = np.ones(WIDTH, np.float32)
    soft[:EDGE] = soft[-EDGE:] = 0
    soft[EDGE : EDGE + 3] = soft[-EDGE - 3 : -EDGE][::-1] = (0.25, 0.5, 0.75)
    return 64 + (luma - 64) * soft, 512 + (colour - 512) * soft[::2]


def _noises(dice: np.random.Generator) -> np.ndarray:
    """Some fields of noise with the tape's own softness; rolled at random they never repeat."""
    fields = dice.standard_normal((5, HEIGHT // 2, WIDTH), dtype=np.float32)
    fields = np.stack([cv2.sepFilter2D(one, -1, LUMA_TAPS, np.ones(1, np.float32)) for one in fields])
    return fields / fields.std()


def _worn(lines: np.ndarray, noise: np.ndarray, dice: np.random.Generator) -> None:
    """Noise over all, and the last lines bent where the heads change over (in place)."""
    lines += NOISE_CODES * _rolled(noise, dice)
    for at in range(1, SWITCH_LINES + 1):
        bend = int(round(7 + 18 * at / SWITCH_LINES + dice.uniform(-1, 1)))
        lines[-SWITCH_LINES + at - 1] = np.roll(lines[-SWITCH_LINES + at - 1], bend)
    lines[-SWITCH_LINES] += 40 * dice.standard_normal(WIDTH, dtype=np.float32)


def _coloured(plane: np.ndarray, noise: np.ndarray, dice: np.random.Generator) -> np.ndarray:
    plane[0::2] += 0.7 * NOISE_CODES * _rolled(noise, dice)[:, ::2]
    plane[1::2] += 0.7 * NOISE_CODES * _rolled(noise, dice)[:, ::2]
    return plane


def _rolled(noise: np.ndarray, dice: np.random.Generator) -> np.ndarray:
    one = noise[int(dice.integers(len(noise)))]
    return np.roll(one, (int(dice.integers(one.shape[0])), int(dice.integers(one.shape[1]))), (0, 1))


def _codes(plane: np.ndarray, low: int = 4, high: int = 1019) -> np.ndarray:
    return np.clip(np.rint(plane), low, high).astype(np.uint16)
