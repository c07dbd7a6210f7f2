"""A made scan through the whole check, from a file; and through the look at its light alone."""

from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pyvips

from takeup.measure.scan import miniature
from takeup.measure.scan.colour import lab_from_srgb
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.ground_colour import light_of
from takeup.measure.scan.pictures import Pictures
from takeup.media.probe import look_at
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check_scan import check_scan
from takeup.tasks.checking import Asked


def checked(pixels, *, ppi, carrier="print"):
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels))
    with TemporaryDirectory() as folder:
        path = Path(folder) / "a.tif"
        image.tiffsave(str(path), xres=ppi / 25.4, yres=ppi / 25.4, resunit="inch", profile="srgb")
        return check_scan(path, look_at(path), Asked(original=Original(id="x", carrier=carrier)), load_rows())


def look_for(pixels):
    """The light of an empty lid."""
    small = miniature.finish(miniature.step(miniature.begin(1), pixels))
    empty = Pictures(prints=(), unsure=(), ground="empty")
    first = FirstLook(small=small, pictures=empty, size=pixels.shape[1::-1], ppi=None, full_scale=255)
    return light_of(first, lab_from_srgb)
