"""Drawn pages of print whose other side shows through, as a scanner sees both. Seeded."""

from functools import cache

import cv2
import numpy as np

from takeup.measure.scan.density import density

ROWS, COLUMNS, PAPER = 900, 760, 0.82
LIGHT = ((np.arange(256) / 255) ** 2.2).astype(np.float32)


@cache
def page(seed):
    """Words of chance letters in lines, as light: paper 0.82, ink 0.03."""
    rng = np.random.default_rng(seed)
    drawn = np.full((ROWS, COLUMNS), 255, np.uint8)
    y = 60
    while y < ROWS - 40:
        x = 50
        while x < COLUMNS - 150:
            word = "".join(chr(97 + sign) for sign in rng.integers(0, 26, int(rng.integers(2, 9))))
            cv2.putText(drawn, word, (x, y), cv2.FONT_HERSHEY_COMPLEX, 0.7, 20, 2, cv2.LINE_AA)
            x += 15 * len(word) + 24
        y += 36 if rng.random() < 0.85 else 90
    return np.maximum(PAPER * (drawn / 255) ** 2.2, 0.03)


def scanned(share, blur, seed=1, noise=1.0):
    """Both sides as 8-bit codes, the back mirrored and lying askew; true density of the front, true places."""
    sides = [density(page(seed)), density(page(seed + 50))]
    kept = [1 - 10 ** (density(PAPER) - side) for side in sides]
    seen = [10 ** -(side + share * cv2.GaussianBlur(other, (0, 0), blur)) for side, other in zip(sides, kept[::-1])]
    y, x = np.mgrid[0:ROWS, 0:COLUMNS].astype(np.float32)
    there = (x + 4.3 + 0.002 * (y - 400) + 8e-7 * (x - 300) ** 2, y - 2.7 - 0.002 * (x - 380))
    back = (x - 4.3 - 0.002 * (y - 400) - 8e-7 * (x - 300) ** 2, y + 2.7 + 0.002 * (x - 380))
    seen[1] = cv2.remap(seen[1].astype(np.float32), *back, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    rng = np.random.default_rng(seed)
    codes = [255 * np.maximum(one, 1e-3) ** (1 / 2.2) + rng.normal(0, noise, one.shape) for one in seen]
    return [np.clip(np.rint(one), 1, 255).astype(np.uint8) for one in codes], sides[0], there
