"""Joins two passes over an original larger than the glass to one everyday copy; both passes stay masters.

What does not fit is left as it is, and said: nobody is shown a page that never was.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pyvips

from takeup.files.beside import beside
from takeup.measure.scan.joining import LONG_PX, PIECE_PX, SEEK_PX, exact, join_passes, pieces_wanted
from takeup.media.probe import look_at
from takeup.media.still import OpenStill
from takeup.media.still_join import grey_small, lay_onto, piece, whole_pass, write_joined_copy
from takeup.plan.joining import fills_glass, lie_alike, may_be_passes
from takeup.plan.tagging import plan_tags
from takeup.tables.rows import Rows
from takeup.tasks.ears import Ears
from takeup.tasks.finishing import UNSAFE, Chosen, Made, Place

Note = tuple[str, Mapping[str, Any]]


def joined_copies(chosen: list[Chosen], place: Place, rows: Rows, ears: Ears) -> tuple[list[Made], dict[str, Note]]:
    """Copies of what was scanned in two passes, one after the other; and what is to be said of passes that do not fit,
    by the name of the first.

    Raises
    ------
    Unreadable
        ``capture.broken`` when a pass cannot be decoded.
    """
    made: list[Made] = []
    notes: dict[str, Note] = {}
    if not chosen or not may_be_passes(chosen[0].original, len(chosen)):
        return made, notes
    at = 0
    while at + 1 < len(chosen):
        one, other = chosen[at], chosen[at + 1]
        both = fills_glass(one.reports[0]) and fills_glass(other.reports[0])
        told = _pair(one, other, place, rows, ears) if both else None
        if isinstance(told, Made):
            made.append(told)
            at += 1
        elif told is not None:
            notes[one.name] = told
        at += 1
    return made, notes


def _pair(one: Chosen, other: Chosen, place: Place, rows: Rows, ears: Ears) -> Made | Note | None:
    paths = one.stored[0], other.stored[0]
    second = UNSAFE.sub("-", other.part).strip("-.")
    target = place.copy(f"{one.name}-and-{second or '2'}-joined.jpg")
    if standing := place.standing(target, paths):
        return standing
    first, then = (OpenStill(path, look_at(path)) for path in paths)
    if not lie_alike(first.image, then.image):
        return None
    ears.progress(target.name, 0, 1.0, "share")
    times = max(first.width, first.height, then.width, then.height) / LONG_PX
    smalls = [grey_small(still, max(1, round(max(still.width, still.height) / times))) for still in (first, then)]
    joint = join_passes(*smalls)
    refused: Note = ("scan.join-refused", {"first": paths[0].name, "second": paths[1].name})
    if joint.onto is None:
        return refused if joint.why == "unlike" else None
    onto = _enlarged(joint.onto, smalls[0].shape[1] / first.width, smalls[1].shape[1] / then.width)
    passes = whole_pass(first), whole_pass(then)
    fitted = _made_exact(*passes, onto)
    if fitted is None:
        return refused
    with beside(target) as part:
        size = write_joined_copy(first, passes, fitted, part, quality=rows.value("formats.scan.copy.quality"))
    ears.progress(target.name, 1.0, 1.0, "share")
    settings = {
        "format": "jpeg", "quality": rows.value("formats.scan.copy.quality"), "colour": "sRGB",
        "joined": [path.name for path in paths], "likeness": round(joint.likeness, 3),
        "turned": round(float(np.degrees(np.arctan2(fitted[1, 0], fitted[0, 0]))), 3),
    }  # fmt: skip
    title = plan_tags(one.original, one.told, part="", date_said="").title
    return Made(path=target, role="copy", from_=paths, settings=settings, title=title, size=size, part=one.part)


def _enlarged(onto: np.ndarray, first: float, second: float) -> np.ndarray:
    """A map between two miniatures as one between the passes; ``first``, ``second``: miniature over full pixels.

    Middles of pixels lie half a pixel in, in the large as in the small.
    """
    small_of_second = np.array([[second, 0, second / 2 - 0.5], [0, second, second / 2 - 0.5], [0, 0, 1]])
    small_of_first = np.array([[first, 0, first / 2 - 0.5], [0, first, first / 2 - 0.5], [0, 0, 1]])
    whole = np.linalg.inv(small_of_first) @ np.vstack([onto, [0, 0, 1]]) @ small_of_second
    return np.asarray(whole[:2])


def _made_exact(one: pyvips.Image, then: pyvips.Image, onto: np.ndarray) -> np.ndarray | None:
    """The map by pieces at full size; None where they do not agree."""
    moved, (left, top) = lay_onto(then, onto)
    pieces = []
    for x, y in pieces_wanted(onto, (one.width, one.height), (then.width, then.height)):
        about = piece(moved, x - left, y - top, PIECE_PX + 2 * SEEK_PX)
        pieces.append((piece(one, x, y, PIECE_PX), about, (x, y)))
    return exact(onto, pieces)
