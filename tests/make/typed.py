"""A page of made words, set with a plain font: what measures of the machine must not take for ruler, lid or fault."""

from __future__ import annotations

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

LETTERS = list("etaoinshrdlucmfwyp")


def typed(leading, columns, seed):
    """A page of made words at 150 px an inch, as wide as half a page, softened and with noise."""
    rng = np.random.default_rng(seed)
    width, height = 940, 1300
    sheet = Image.new("L", (width, height), 235)
    draw, font = ImageDraw.Draw(sheet), ImageFont.load_default(size=int(0.7 * leading))
    wide = (width - 120) // columns
    for column in range(columns):
        for y in range(60, height - 60, leading):
            x = 60.0 + column * wide
            while x < 60 + (column + 1) * wide - 60:
                word = "".join(rng.choice(LETTERS, rng.integers(2, 9)))
                draw.text((x, y), word, fill=40, font=font)
                x += draw.textlength(word + " ", font=font)
    return cv2.GaussianBlur(np.asarray(sheet, np.float32), (0, 0), 0.6) + rng.normal(0, 2, (height, width))
