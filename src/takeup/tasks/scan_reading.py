"""Reads the lettering in a picture both ways, to tell a scan that was made from the wrong side."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from takeup.judge.scan import PAGES_OF_TEXT, Seen
from takeup.measure.scan.ghost_text import pale_part
from takeup.measure.scan.lettering import Line, lettering
from takeup.measure.scan.miniature import Miniature
from takeup.measure.scan.mirrored import Reading, reading_of, signs_read
from takeup.measure.scan.polarity import BLOCK, text_blocks
from takeup.media.text_reading import find_language_data, read_lines, read_words
from takeup.tables.rows import Rows

SURE = "scan.mirrored.sure"
LANGUAGE = "eng"  # letters and figures of signs, of a film's edge and of mounts
PAGE_BLOCKS = (15, 8)  # across and down, of a page that are read
LINES = 4
PAPERS = ("document", "newspaper")  # what shows its other side
ENOUGH = 8  # letters read in a mirror before the same is read as it lies
GROWN = 1.5  # by how much a page's own miniature is enlarged for reading


def reading_seen(small: Miniature, seen: Seen, family: str, rows: Rows) -> Reading:
    """What was read both ways: of films always, of pages where they hold text, of nothing else."""
    if small.pixels.dtype != np.uint8 or seen.image.bits_stated < 8:
        return Reading()
    grey = _grey(small)
    if family in PAGES_OF_TEXT:
        part = _fullest(grey)
        if part is None:
            return Reading()
        grey = cv2.resize(part, None, fx=GROWN, fy=GROWN, interpolation=cv2.INTER_CUBIC)
    elif family != "film":
        return Reading()
    folder = find_language_data(LANGUAGE)
    lines = lettering(grey, LINES) if folder is not None else ()
    return read_both_ways(lines, folder, rows.value(SURE)) if lines and folder is not None else Reading()


def read_both_ways(lines: tuple[Line, ...], folder: Path, least: float) -> Reading:
    """What lines of lettering say, held upright and head over foot, and in a mirror, in words at least so sure."""
    cuts = [np.rot90(held, turn) for turn in (0, 2) for held in (line.pixels for line in lines)]
    cuts += [np.rot90(line.pixels[:, ::-1], turn) for turn in (0, 2) for line in lines]
    told = read_lines(cuts, LANGUAGE, folder)
    count = len(lines)
    ways = [[word for line in told[n * count : (n + 1) * count] for word in line] for n in range(4)]
    return reading_of(ways[:2], ways[2:], least)


def ghost_seen(small: Miniature, seen: Seen, family: str, rows: Rows) -> Reading:
    """What was read of a page's pale marks, as they lie and in a mirror; nothing where hardly any are seen."""
    if family not in PAPERS or small.pixels.dtype != np.uint8 or seen.image.bits_stated < 8:
        return Reading()
    folder = find_language_data(LANGUAGE)
    part = pale_part(_grey(small)) if folder is not None else None
    if part is None or folder is None:
        return Reading()
    own, least = 0, rows.value(SURE)
    mirrored = max(_signs(np.rot90(part[:, ::-1], turn), folder, least) for turn in (0, 2))
    if mirrored[0] >= ENOUGH:
        own = max(_signs(np.rot90(part, turn), folder, least) for turn in (0, 2))[0]
    return Reading(own, *mirrored)


def _signs(part: np.ndarray, folder: Path, least: float) -> tuple[int, tuple[str, ...]]:
    words = read_words(np.ascontiguousarray(part), LANGUAGE, folder, as_it_lies=True)
    return signs_read([(word.text, word.sure) for word in words], least)


def _grey(small: Miniature) -> np.ndarray:
    return small.pixels[..., 0] if small.pixels.shape[2] == 1 else cv2.cvtColor(small.pixels, cv2.COLOR_RGB2GRAY)


def _fullest(grey: np.ndarray) -> np.ndarray | None:
    """The part of a page that holds most blocks of letters."""
    blocks = (text_blocks(grey) != 0).astype(np.float32)
    wide, high = min(PAGE_BLOCKS[0], blocks.shape[1]), min(PAGE_BLOCKS[1], blocks.shape[0])
    if not blocks.any():
        return None
    full = cv2.boxFilter(blocks, -1, (wide, high), anchor=(0, 0), normalize=False, borderType=cv2.BORDER_CONSTANT)
    full = full[: blocks.shape[0] - high + 1, : blocks.shape[1] - wide + 1]
    y, x = np.unravel_index(int(np.argmax(full)), full.shape)
    return np.ascontiguousarray(grey[y * BLOCK : (y + high) * BLOCK, x * BLOCK : (x + wide) * BLOCK])
