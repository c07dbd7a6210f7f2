"""Invented pages of print with the place of every word known: columns, tables, titles, Chinese, photographs, turned."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import pylopdf_fonts_zh_cn
from make.photographs import photograph
from PIL import Image, ImageDraw, ImageFont

ENGLISH = (
    "The harbour was quiet when the morning ferry came in, and nobody on the quay expected to see her again so soon "
    "after the winter. “You said Thursday,” he called, “and it’s only Tuesday!” She laughed; the café behind them had "
    "opened its shutters, and the naïve young clerk at the window stared. In 1948 the parish council agreed to pay "
    "twelve pounds for a new pump, which (as the miller objected) was more than the old one had cost with the well."
).split()
CHINESE = (
    "外婆的信从一九五八年起就放在木箱里，每逢春节全家人都要读一遍。那时候村里只有一部电话，想要联系远方的亲戚，"
    "只能靠写信。她在信中说，今年的稻子长得很好，孩子们也都上学了，请不要挂念。等到秋天收完庄稼，我们就坐火车来看你们。"
)


@dataclass(frozen=True)
class Placed:
    """A word and the middle of its ink [px] on the page as drawn."""

    text: str
    x: float
    y: float


@dataclass(frozen=True)
class Sheet:
    """A page, grey or RGB, its resolution [px/inch], its words in reading order."""

    pixels: np.ndarray
    ppi: float
    words: tuple[Placed, ...]


def letters(name: str, px: float) -> ImageFont.FreeTypeFont:
    """``zh``: Chinese with the font that came along; else a plain Latin face."""
    if name == "zh":
        return ImageFont.truetype(str(pylopdf_fonts_zh_cn.sans_path()), round(px))
    return ImageFont.load_default(size=round(px))


def sheet(kind: str = "page", seed: int = 0, *, ppi: float = 200, size_in=(8.27, 11.69), paper: int = 238) -> Sheet:
    """A page of one kind: page, columns, few, title, photo, chinese, hand (crooked lines), blank, table."""
    rng = np.random.default_rng(seed)
    width, height = round(size_in[0] * ppi), round(size_in[1] * ppi)
    image = Image.new("L", (width, height), paper)
    draw, words = ImageDraw.Draw(image), []  # type: ignore[var-annotated]

    def flow(left, top, right, foot, size, lead=1.5, face="latin", crooked=0.0):
        font, y = letters(face, size * ppi), top * ppi
        while y + size * ppi < foot * ppi:
            x, slope = left * ppi, rng.normal(0, crooked)
            while True:
                if face == "zh":
                    start = rng.integers(0, len(CHINESE) - 8)
                    text = CHINESE[start : start + int(rng.integers(4, 8))].strip("，。")
                else:
                    text = ENGLISH[rng.integers(len(ENGLISH))]
                if x + font.getlength(text) > right * ppi:
                    break
                at = (x, y + slope * (x - left * ppi))
                draw.text(at, text, fill=42, font=font)
                box = draw.textbbox(at, text, font=font)
                words.append(Placed(text, (box[0] + box[2]) / 2, (box[1] + box[3]) / 2))
                x += font.getlength(text + ("" if face == "zh" else " "))
            y += size * lead * ppi

    wide, tall = size_in
    if kind in ("page", "photo"):
        flow(0.9, 1.0, wide - 0.9, tall / 2 if kind == "photo" else tall - 1, 0.15)
    elif kind == "columns":
        step = (wide - 1.2) / 3
        for n in range(3):
            flow(0.6 + n * step, 1.0 + 0.037 * n, 0.6 + (n + 1) * step - 0.2, tall - 0.8, 0.12, 1.35)
    elif kind == "few":
        flow(1.2, 2.0, wide - 1.2, 2.8, 0.17)
    elif kind == "chinese":
        flow(0.9, 1.0, wide - 0.9, tall - 1, 0.17, 1.6, "zh")
    elif kind == "hand":
        flow(0.9, 1.0, wide - 0.9, tall - 1, 0.16, 2.2, crooked=0.014)
    elif kind == "title":
        for n, text in enumerate(("RECIPES", "collected by", "Aunt Ottoline")):
            draw.text((2.2 * ppi, (3 + n) * ppi), text, fill=42, font=letters("latin", (0.5 - 0.1 * n) * ppi))
    if kind == "photo":
        photo = cv2.resize(cv2.cvtColor(photograph("astronaut"), cv2.COLOR_RGB2GRAY), (round(4.5 * ppi),) * 2)
        image.paste(Image.fromarray(photo), (round(1.5 * ppi), round(6.2 * ppi)))
    return Sheet(np.asarray(image), ppi, tuple(words))


def as_scanned(page: Sheet, *, tilt=0.0, margin_in=0.0, noise=2.0, seed=0, shading=10.0) -> Sheet:
    """The page as it came off a glass: turned clockwise, on a dark lid where there is a margin, soft, noisy, shaded."""
    rows, columns = page.pixels.shape[:2]
    edge = round(margin_in * page.ppi)
    turn = cv2.getRotationMatrix2D((columns / 2 - 0.5, rows / 2 - 0.5), -tilt, 1.0)
    turn[:, 2] += edge
    size = (columns + 2 * edge, rows + 2 * edge)
    lid = 30 if edge else float(np.median(page.pixels))
    pixels = cv2.warpAffine(page.pixels, turn, size, flags=cv2.INTER_CUBIC, borderValue=lid).astype(np.float32)
    pixels = cv2.GaussianBlur(pixels, (0, 0), 0.7) + np.linspace(-shading, shading / 2, size[0], dtype=np.float32)
    pixels += np.random.default_rng(seed).normal(0, noise, pixels.shape).astype(np.float32)
    words = tuple(Placed(one.text, *(turn @ [one.x, one.y, 1])) for one in page.words)
    return Sheet(np.clip(np.rint(pixels), 0, 255).astype(np.uint8), page.ppi, words)
