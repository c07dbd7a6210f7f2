"""Rows straight from a TIFF are those that another reader sees; whatever is laid out otherwise goes through libvips."""

from __future__ import annotations

import numpy as np
import pytest
import pyvips
import tifffile

from takeup.errors import Unreadable
from takeup.media import still_rows
from takeup.media.still import OpenStill, look_at_still

LAYOUTS = {  # how it is written, and whether its rows can be taken as they lie
    "plain": ({"photometric": "rgb"}, True),
    "strips of 7 rows": ({"photometric": "rgb", "rowsperstrip": 7}, True),
    "BigTIFF": ({"photometric": "rgb", "bigtiff": True}, True),
    "tiles": ({"photometric": "rgb", "tile": (32, 48)}, False),
    "planes apart": ({"photometric": "rgb", "planarconfig": "separate"}, False),
    "packed": ({"photometric": "rgb", "compression": "deflate"}, False),
    "other order of bytes": ({"photometric": "rgb", "byteorder": ">"}, False),
    "grey": ({"photometric": "minisblack"}, True),
    "white is nothing": ({"photometric": "miniswhite"}, False),
}


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_rows_are_those_that_another_reader_sees(tmp_path, layout, kind, monkeypatch):
    options, plain = LAYOUTS[layout]
    pixels = np.random.default_rng(7).integers(0, np.iinfo(kind).max, (101, 67, 3), kind, endpoint=True)
    pixels = pixels[..., 0] if str(options["photometric"]).startswith("minis") else pixels
    path = tmp_path / "scan.tif"
    tifffile.imwrite(path, np.moveaxis(pixels, 2, 0) if "planarconfig" in options else pixels, **options)
    taken = []
    straight = still_rows._straight
    monkeypatch.setattr(still_rows, "_straight", lambda *told: taken.append(told) or straight(*told))
    monkeypatch.setattr("takeup.media.still.STRIP_BYTES", 4000)  # several strips
    strips = [strip.copy() for strip in OpenStill(path, look_at_still(path)).strips()]
    assert len(strips) > 1
    shown = np.iinfo(kind).max - pixels if options["photometric"] == "miniswhite" else pixels
    assert np.array_equal(np.concatenate(strips).squeeze(), shown)
    assert bool(taken) is plain


def test_another_page_is_read_from_its_own_place(tmp_path):
    pages = np.random.default_rng(8).integers(0, 256, (2, 60, 50, 3), np.uint8)
    path = tmp_path / "pages.tif"
    with tifffile.TiffWriter(path) as file:
        for page in pages:
            file.write(page, photometric="rgb")
    capture = look_at_still(path)
    for number, page in enumerate(pages):
        strips = OpenStill(path, capture, number).strips(raw=True)
        assert np.array_equal(np.concatenate([strip.copy() for strip in strips]), page)


def test_a_file_that_becomes_shorter_is_told(tmp_path):
    path = tmp_path / "scan.tif"
    pyvips.Image.black(400, 300, bands=3).tiffsave(str(path))
    still = OpenStill(path, look_at_still(path))
    strips = still.strips()
    fetch = still._fetching(False)[1]
    strips.close()
    with path.open("r+b") as file:
        file.truncate(200_000)
    with pytest.raises(Unreadable, match="shorter"):
        fetch(0, 0)
