"""An original larger than the glass: two passes become one copy where they fit, and stay two where they do not."""

import shutil
import subprocess
from collections import Counter

import cv2
import numpy as np
import pikepdf
import pytest
import pyvips
from make.pages import sheet

from takeup.measure.scan.joining import join_passes
from takeup.media.probe import look_at
from takeup.media.text_reading import find_language_data
from takeup.settings import Settings
from takeup.streams import Measured, Original, Report, Trace
from takeup.tables.loader import load_rows
from takeup.tasks.check_scan import check_scan
from takeup.tasks.checking import Asked
from takeup.tasks.ears import SILENT
from takeup.tasks.finish_scan import finish_scan
from takeup.tasks.finishing import Chosen, Place


def passes(page, share, turn, seed, bent=0.0):
    """Two passes that share a part of the page; the second turned clockwise by some degrees, or bent by some pixels.
    Also the true map from the second to the first."""
    rng = np.random.default_rng(seed)
    rows, columns = page.shape
    width = int(columns * (0.5 + share / 2))
    whole = page.astype(np.float32)
    second = whole[:, columns - width :]
    if bent:
        y, x = np.mgrid[0:rows, 0:width].astype(np.float32)
        second = cv2.remap(second, x, y + np.float32(bent) * np.sin(y / 90), cv2.INTER_LINEAR)
    turned = cv2.getRotationMatrix2D((width / 2, rows / 2), -turn, 1)
    turned[:, 2] += rng.uniform(-9, 9, 2)
    second = cv2.warpAffine(second, turned, (width, rows), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    back = cv2.invertAffineTransform(turned)
    back[:, 2] += [columns - width, 0]

    def taken(picture):
        picture = cv2.GaussianBlur(picture, (0, 0), 0.7) + rng.normal(0, 2, picture.shape)
        return np.clip(np.rint(picture), 0, 255).astype(np.uint8)

    return taken(whole[:, :width]), taken(second), back


@pytest.mark.parametrize(
    ("kind", "share", "turn"), [("columns", 0.25, 1.2), ("photo", 0.4, -0.5), ("chinese", 0.25, 0.0)]
)
def test_passes_that_fit(kind, share, turn):
    one, other, back = passes(sheet(kind, 1, ppi=80, size_in=(15, 10)).pixels, share, turn, 1)
    found = join_passes(one, other)
    assert found.onto is not None
    shared = np.array([(0, 0, 1), (0, other.shape[0], 1), (150, 300, 1)], float)
    assert np.abs(shared @ found.onto.T - shared @ back.T).max() < 0.6


def test_passes_that_do_not_fit():
    page, next_page = (sheet("page", seed, ppi=80, size_in=(15, 10)).pixels for seed in (1, 7))
    one, other, _ = passes(page, 0.25, 0.3, 1, bent=7)
    assert join_passes(one, other).why == "unlike"
    assert join_passes(page[:, :720], next_page[:, 480:]).why == "apart"


def test_a_pattern_that_repeats_is_for_a_person():
    """What both show is wallpaper, alike every 60 pixels: laid in its true place it fits, and proves nothing."""
    rng = np.random.default_rng(5)
    tile = cv2.GaussianBlur(np.tile(rng.normal(0, 1, (60, 60)), (3, 3)), (0, 0), 1.5)[60:120, 60:120]
    paper = np.clip(np.tile(128 + 45 * tile / tile.std(), (14, 20)), 0, 255).astype(np.uint8)
    paper[:, :420] = sheet("photo", 1, ppi=80, size_in=(15, 10.5)).pixels[:840, 300:720]
    one, other, back = passes(paper, 0.3, 0.0, 3)
    joint = join_passes(one, other)
    assert joint.onto is None


def finished(folder, pixels, carrier="print", report=None):
    chosen = []
    original = Original(id="n1", carrier=carrier)
    for n, one in enumerate(pixels, 1):
        path = folder / f"n1-{n}.tif"
        image = pyvips.Image.new_from_array(np.repeat(one[..., None], 3, axis=2))
        image.tiffsave(str(path), xres=100 / 25.4, yres=100 / 25.4, resunit="inch")
        checked = report or check_scan(path, look_at(path), Asked(original=original), load_rows())
        chosen.append(Chosen(original=original, part=str(n), stored=(path,), relative=(path.name,), reports=(checked,)))
    place = Place(masters=folder / "masters", copies=folder / "copies")
    return finish_scan(chosen, place, load_rows(), Settings(), SILENT)


def test_the_joined_copy_shows_the_page(tmp_path):
    """Laid beside the page it was made from, the joined copy differs by no more than noise and packing."""
    page = sheet("photo", 1, ppi=100, size_in=(13, 8)).pixels
    one, other, _ = passes(page, 0.3, 0.6, 1)
    out = finished(tmp_path, [one, other])
    (joined,) = [made for made in out if made.role == "copy" and "joined" in made.settings]
    assert {"n1-1.tif", "n1-2.tif"} <= {made.path.name for made in out if made.role == "master"}
    shown = pyvips.Image.new_from_file(str(joined.path)).numpy()[..., 0].astype(float)
    rows, columns = page.shape
    soft = cv2.GaussianBlur(page.astype(np.float32), (0, 0), 0.7)
    found = cv2.matchTemplate(shown.astype(np.float32), soft[150:-150, 150:-150], cv2.TM_CCOEFF_NORMED)
    _, likeness, _, (x, y) = cv2.minMaxLoc(found)
    assert likeness > 0.98
    part = shown[y : y + rows - 300, x : x + columns - 300]
    assert np.sqrt(np.mean((part - soft[150:-150, 150:-150]) ** 2)) < 8


def test_a_join_that_does_not_fit_is_left_and_said(tmp_path):
    page = sheet("page", 1, ppi=80, size_in=(15, 10)).pixels
    one, other, _ = passes(page, 0.25, 0.3, 1, bent=7)
    out = finished(tmp_path, [one, other])
    assert not [made for made in out if "joined" in made.settings]
    assert "scan.join-refused" in {key for made in out for key, _ in made.notes}


@pytest.mark.skipif(find_language_data("eng") is None, reason="no English language data here")
@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not here")
def test_a_page_in_two_passes_is_one_page_of_the_pdf(tmp_path):
    """The words that both passes show are there once: as many of each as were drawn, but for misread ones."""
    page = sheet("columns", 3, ppi=100, size_in=(11, 5))
    one, other, _ = passes(page.pixels, 0.3, 0.4, 2)
    whole = Measured(value=[], unit="", extra={"ground": "whole"})
    report = Report(medium="scan", seconds=None, measures={"pictures": whole}, findings=(), trace=Trace())
    out = finished(tmp_path, [one, other], "newspaper", report)
    (pdf,) = [made for made in out if made.path.suffix == ".pdf"]
    assert {"n1-1.tif", "n1-2.tif"} <= {made.path.name for made in out if made.role == "master"}
    with pikepdf.open(pdf.path) as opened:
        assert len(opened.pages) == 1
        wide = float(opened.pages[0].mediabox[2])
    assert wide == pytest.approx(11 * 72, rel=0.01)
    assert pdf.settings["joined"] == [["n1-1.tif", "n1-2.tif"]]
    text = subprocess.run(["pdftotext", str(pdf.path), "-"], capture_output=True, text=True, check=True).stdout.split()
    drawn = Counter(word.text for word in page.words)
    read = Counter(text)
    assert sum((drawn & read).values()) >= 0.8 * drawn.total()
    long = [word for word in drawn if word.isalpha() and len(word) > 3]
    assert sum(read[word] for word in long) <= sum(drawn[word] for word in long)
