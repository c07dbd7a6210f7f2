"""Proposes which way up the pictures of a scan are, by lettering in them: never more than a proposal."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from takeup.box.folder import Box
from takeup.measure.scan.lettering import lettering
from takeup.measure.scan.mirrored import Words
from takeup.measure.scan.same_print import straight
from takeup.measure.scan.way_up import WayUp, turn_read, turns_of_neighbours
from takeup.media.still import read_miniature
from takeup.media.text_reading import find_language_data, read_lines
from takeup.plan.arranging import Placed
from takeup.settings import Settings
from takeup.tables.loader import load_rows
from takeup.tables.rows import Rows
from takeup.tasks.arrange import Arrangement

LANGUAGE = "eng"
LONG_PX, CUT_PX = 4000, 1800
LINES = 4
SURE, LETTERS, SHARE = "scan.mirrored.sure", "scan.way_up.letters", "scan.way_up.other_share"
NEIGHBOURS = "scan.way_up.neighbours"


def proposed_turns(box: Box, stands: Arrangement, settings: Settings) -> Mapping[int, WayUp]:
    """Turns by the number of the picture, of those that stand as they lay; none where nothing tells.

    Raises
    ------
    Unreadable
        When the scan cannot be decoded.
    """
    folder = find_language_data(LANGUAGE, settings.language_data)
    asked = [one for one in stands.standing if not one.turn and not one.back_of]
    if folder is None or not asked:
        return {}
    rows = load_rows()
    small = read_miniature(box.path(stands.stored), LONG_PX)
    times = small.shape[1] / stands.size[0]
    read = [_read(small, one, times, folder, rows) for one in asked]
    found = turns_of_neighbours(read, [_across(one) for one in asked], int(rows.value(NEIGHBOURS)))
    return {one.number: way for one, way in zip(asked, found, strict=True) if way is not None}


def _across(one: Placed) -> bool:
    points = np.asarray(one.corners)
    return bool(np.hypot(*(points[1] - points[0])) >= np.hypot(*(points[3] - points[0])))


def _read(small: np.ndarray, one: Placed, times: float, folder: Path, rows: Rows) -> WayUp | None:
    cut = straight(small, tuple((x * times, y * times) for x, y in one.corners), CUT_PX)
    lines = lettering(cut, LINES)
    if not lines:
        return None
    told: dict[int, list[Words]] = {turn: [] for turn in range(4)}
    held = [np.rot90(line.pixels, turn) for turn in (0, 2) for line in lines]
    for n, words in enumerate(read_lines(held, LANGUAGE, folder)):
        turn = 2 * (n // len(lines)) + lines[n % len(lines)].upwards
        told[turn].append(words)
    return turn_read(told, rows.value(SURE), rows.value(LETTERS), rows.value(SHARE))
