"""An invented Super 8 reel as a scanner stores it: grain, weave, leader, and repeats that fill 18 up to 30. Seeded."""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np

from takeup.invent.places import clouds


def reel_pictures(views: list[np.ndarray], pictures: int, size: tuple[int, int], seed: int) -> Iterator[np.ndarray]:
    """RGB bytes of each picture on the film, once each; shape (height, width, 3).

    Parameters
    ----------
    views : list of ndarray
        One per shot, RGB floats larger than the picture.
    pictures : int
        All shots together, each as long as the others.
    size : (width, height)
    """
    width, height = size
    dice = np.random.default_rng(seed)
    grains = dice.standard_normal((6, height + 40, width + 40), dtype=np.float32)
    grains = np.stack([cv2.GaussianBlur(one, (0, 0), 0.8) for one in grains])
    grains *= 7.0 / grains.std()
    per_shot = -(-pictures // len(views))
    weave = np.zeros(2)
    for at in range(pictures):
        view, into = views[at // per_shot], at % per_shot
        weave = 0.8 * weave + 0.35 * dice.standard_normal(2)
        x = 30 + 1.6 * into + weave[0] + 6 * np.sin(into / 11)
        y = 24 + 0.2 * into + weave[1] + 3 * np.sin(into / 9)
        window = np.array([[1, 0, x], [0, 1, y]], np.float32)
        picture = cv2.warpAffine(view, window, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
        gy, gx = (int(value) for value in dice.integers(0, 40, 2))
        grain = grains[int(dice.integers(6)), gy : gy + height, gx : gx + width]
        bright = 1 + 0.012 * float(dice.standard_normal())
        yield cv2.convertScaleAbs(np.maximum(picture * np.float32(bright) + grain[..., None], 0))


def leader_pictures(pictures: int, size: tuple[int, int], seed: int) -> Iterator[np.ndarray]:
    """White leader before the film: bright, even, dusty."""
    width, height = size
    dice = np.random.default_rng(seed)
    for _ in range(pictures):
        plain = 232 + 1.2 * clouds(dice, width, height, 2) + 2 * dice.standard_normal((height, width), dtype=np.float32)
        yield cv2.merge([cv2.convertScaleAbs(plain)] * 3)


def repeated(pictures: Iterator[np.ndarray], true_rate: int, file_rate: int) -> Iterator[np.ndarray]:
    """Each picture as often as a scanner with a fixed file rate shows it (18 in 30: twice, twice, once ...)."""
    shown = 0
    for at, picture in enumerate(pictures):
        until = ((at + 1) * file_rate) // true_rate
        for _ in range(until - shown):
            yield picture
        shown = until
