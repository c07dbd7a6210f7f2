"""Makes the files of every picture on a scan while the scan passes by once, two pictures at a time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait

from takeup.media.still import OpenStill
from takeup.media.still_held import Box, held_cuts
from takeup.media.still_write import HELD_BYTES
from takeup.tasks.finishing import Made

Make = Callable[[int, OpenStill], list[Made | None]]


def around(boxes: Sequence[Box]) -> Box:
    """The smallest box that holds some others.

    Examples
    --------
    >>> around([(10, 20, 5, 5), (12, 18, 10, 4)])
    (10, 18, 12, 7)
    """
    left, top = min(box[0] for box in boxes), min(box[1] for box in boxes)
    right, foot = max(box[0] + box[2] for box in boxes), max(box[1] + box[3] for box in boxes)
    return left, top, right - left, foot - top


def make_each(still: OpenStill, boxes: Sequence[Box], make: Make) -> list[list[Made | None]]:
    """What ``make`` makes of each box of a scan, in their order.

    Boxes are held as they pass, as far as 120 MB go; what has no room is read by itself. Two are made at a time where
    two of the largest can be held: libvips packs most of a file on one core.

    Raises
    ------
    Unreadable, CopyDiffers
        As ``make`` does, and when the scan cannot be decoded.
    """
    depth = still.raw().bands * still.dtype.itemsize
    largest = max((width * height * depth for _, _, width, height in boxes), default=0)
    held: dict[int, int] = {}
    work: dict[int, Future[list[Made | None]]] = {}

    def may_hold(number: int, size_bytes: int) -> bool:
        while True:
            living = sum(size for one, size in held.items() if one not in work or not work[one].done())
            if living + size_bytes <= HELD_BYTES:
                held[number] = size_bytes
                return True
            if not (making := [one for one in work.values() if not one.done()]):
                return False
            wait(making, return_when=FIRST_COMPLETED)

    with ThreadPoolExecutor(2 if largest <= HELD_BYTES / 2 else 1, thread_name_prefix="pictures") as makers:
        for number, picture in held_cuts(still, boxes, may_hold):
            work[number] = makers.submit(make, number, picture)
            del picture  # it is let go as soon as it is made
        return [work[number].result() for number in range(len(boxes))]
