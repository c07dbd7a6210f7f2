"""Pictures of a scan that are cut while the scan passes by once: each of them is held as soon as it has passed whole.

Read one by one, six prints on a glass want the scan read eighteen times: for a master, its proof and a copy of each.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pyvips

from takeup.media.still import OpenStill

Box = tuple[int, int, int, int]  # left, top, width, height [px]


class HeldStill(OpenStill):
    """A scan of which one upright box is at hand, with the pixels, the profile and the turn that the scan has there."""

    def __init__(self, still: OpenStill, box: Box, pixels: np.ndarray) -> None:
        vars(self).update(vars(still))
        self.box, head = box, still.raw()
        height, width, bands = pixels.shape
        self._pixels = pixels  # libvips reads them where they are
        held = pyvips.Image.new_from_memory(pixels.data, width, height, bands, head.format)
        held = held.copy(interpretation=head.interpretation, xres=head.xres, yres=head.yres)
        if head.get_typeof("icc-profile-data"):
            held.set_type(pyvips.GValue.blob_type, "icc-profile-data", head.get("icc-profile-data"))
        if head.get_typeof("orientation"):
            held.set_type(pyvips.GValue.gint_type, "orientation", head.get("orientation"))
        self._image = held

    def holds(self, box: Box) -> bool:
        """Whether all of a box is at hand."""
        left, top, width, height = self.box
        x, y, across, down = box
        return left <= x and top <= y and x + across <= left + width and y + down <= top + height

    def cut(self, box: Box) -> pyvips.Image:
        """An upright box with all its channels."""
        if not self.holds(box):
            return super().cut(box)
        return self._image.crop(box[0] - self.box[0], box[1] - self.box[1], box[2], box[3])


@dataclass(slots=True)
class _Place:
    number: int
    box: Box
    pixels: np.ndarray | None = None


def held_cuts(
    still: OpenStill, boxes: Sequence[Box], may_hold: Callable[[int, int], bool]
) -> Iterator[tuple[int, OpenStill]]:
    """Number and pixels of each box, as soon as they have passed; of one that may not be held, the scan itself.

    Parameters
    ----------
    boxes : sequence of (left, top, width, height)
    may_hold : callable
        Told a box's number and bytes once its first row has come. May wait until others are done with.

    Raises
    ------
    Unreadable
        ``capture.broken`` at the first row that cannot be decoded.
    """
    coming = [_Place(number, box) for number, box in enumerate(boxes)]
    coming.sort(key=lambda place: place.box[1])
    begun: list[_Place] = []
    top = 0
    if not coming:
        return
    for strip in still.strips(raw=True):
        foot = top + len(strip)
        while coming and coming[0].box[1] < foot:
            place = coming.pop(0)
            shape = (place.box[3], place.box[2], strip.shape[2])
            if min(shape) > 0 and may_hold(place.number, shape[0] * shape[1] * shape[2] * strip.itemsize):
                place.pixels = np.empty(shape, strip.dtype)
                begun.append(place)
            else:
                yield place.number, still
        for place in begun:
            _take(place, strip, top)
        for place in [one for one in begun if one.box[1] + one.box[3] <= foot]:
            begun.remove(place)
            assert place.pixels is not None
            held = HeldStill(still, place.box, place.pixels)
            place.pixels = None  # it is let go with what holds it
            yield place.number, held
            del held
        if not coming and not begun:
            return
        top = foot


def _take(place: _Place, strip: np.ndarray, top: int) -> None:
    left, first, width, height = place.box
    start, end = max(first, top), min(first + height, top + len(strip))
    assert place.pixels is not None
    place.pixels[start - first : end - first] = strip[start - top : end - top, left : left + width]
