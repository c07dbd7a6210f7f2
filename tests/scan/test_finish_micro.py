"""Copies of microfilm and fiches: a page each, dark on light, at the size of the original; masters as they are."""

import numpy as np
import pikepdf
import pytest
import pyvips
from make.micro import fiche, spread

from takeup.media.probe import look_at
from takeup.plan.scan_finishing import halves_of
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check_scan import check_scan
from takeup.tasks.checking import Asked
from takeup.tasks.ears import SILENT
from takeup.tasks.finish_scan import finish_scan
from takeup.tasks.finishing import Chosen, Place


@pytest.fixture(autouse=True)
def _nothing_is_read(monkeypatch):
    monkeypatch.setattr("takeup.tasks.finish_pages.find_language_data", lambda *_: None)


def finished(folder, pixels, carrier, ppi, **known):
    path = folder / "m1.tif"
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels))
    image.tiffsave(str(path), xres=ppi / 25.4, yres=ppi / 25.4, resunit="inch")
    before = path.read_bytes()
    original = Original(id="m1", carrier=carrier, **known)
    report = check_scan(path, look_at(path), Asked(original=original), load_rows())
    chosen = Chosen(original=original, part="", stored=(path,), relative=("m1.tif",), reports=(report,))
    place = Place(masters=folder / "masters", copies=folder / "copies")
    out = finish_scan([chosen], place, load_rows(), Settings(), SILENT)
    assert path.read_bytes() == before
    return before, out


def pages_in(path):
    """Each page's width and height [inch] and its picture's mean code."""
    with pikepdf.open(path) as pdf:
        for page in pdf.pages:
            raw = next(iter(page.get_images().values()))
            shown = np.asarray(pikepdf.PdfImage(raw).as_pil_image().convert("L"), float)
            yield float(page.mediabox[2]) / 72, float(page.mediabox[3]) / 72, shown.mean()


def test_a_negative_frame_with_two_pages(tmp_path):
    """100 pixels per inch of the page, filmed 16 times smaller: 1600 on the film. Two pages of 4 x 6 in."""
    made = spread(1, ppi=100, size_in=(4.0, 6.0), frame_in=0.2)
    before, out = finished(tmp_path, 255 - made.pixels, "microfilm", 1600, reduction=16.0)
    masters = [one for one in out if one.role == "master"]
    assert [one.path.read_bytes() for one in masters] == [before]
    (copy,) = [one for one in out if one.role == "copy"]
    pages = list(pages_in(copy.path))
    assert len(pages) == 2
    for wide, tall, mean in pages:
        assert wide == pytest.approx(4.2, abs=0.12)  # a page and the frame on one side
        assert tall == pytest.approx(6.4, abs=0.12)
        assert mean > 128


def test_a_fiche_becomes_pictures_and_pages(tmp_path):
    made = fiche(2, rows=2, columns=3, frame=(240, 320), left_out=1)
    _, out = finished(tmp_path, made.pixels, "microfiche", 2400, reduction=24.0)
    pictures = [one for one in out if one.role == "master" and one.picture]
    assert [one.picture for one in pictures] == [f"m1-{n}" for n in range(1, 6)]
    assert len(list(pages_in(next(one.path for one in out if one.role == "copy")))) == 5


def test_halves_hold_every_pixel_of_a_leaning_line():
    """A line from (40, 10) to (60, 90) in 100 x 100 px meets the edges at 37.5 and 62.5."""
    left, right = halves_of([[40.0, 10.0], [60.0, 90.0]], (100, 100))
    assert left == (0, 0, 63, 100)
    assert right == (37, 0, 100, 100)
