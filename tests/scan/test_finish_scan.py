"""Finished scans: masters hold the capture's very pixels, copies are straight and upright, pages can be searched."""

import subprocess
from functools import cache

import cv2
import numpy as np
import pikepdf
import pytest
import pyvips
from make import scan as made
from make.captures import captured_box, put_capture
from PIL import Image

from takeup.media.probe import look_at
from takeup.media.text_reading import find_language_data
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check_scan import check_scan
from takeup.tasks.checking import Asked
from takeup.tasks.ears import SILENT
from takeup.tasks.finish import finish_box
from takeup.tasks.finish_scan import finish_scan
from takeup.tasks.finishing import Chosen, Place


def save(path, pixels, ppi, **options):
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels))
    image.tiffsave(str(path), xres=ppi / 25.4, yres=ppi / 25.4, resunit="inch", **options)
    return path


def finish(paths, box, carrier="print", name="b1", label="", **settings):
    original = Original(id=name, carrier=carrier, label=label)
    chosen = []
    for n, path in enumerate(paths):
        report = check_scan(path, look_at(path), Asked(original=original), load_rows())
        part = str(n + 1) if len(paths) > 1 else ""
        chosen.append(Chosen(original=original, part=part, stored=(path,), relative=(path.name,), reports=(report,)))
    place = Place(masters=box / "masters", copies=box / "copies")
    return finish_scan(chosen, place, load_rows(), Settings(**settings), SILENT)


def read(path):
    image = pyvips.Image.new_from_file(str(path))
    return image.numpy().reshape(image.height, image.width, image.bands)


@cache
def three_prints():
    """To read only."""
    return made.bed(33, many=3, size_in=(9, 10))


@pytest.mark.parametrize("deep", [False, True], ids=["8-bit", "16-bit"])
def test_prints_are_cut_outward_pixel_for_pixel_and_copied_straight(tmp_path, deep):
    bed = three_prints()
    pixels = bed.pixels.astype(np.uint16) * 257 - (bed.pixels > 0) * np.uint16(3) if deep else bed.pixels
    path = save(tmp_path / "b1.tif", pixels, 150, compression="lzw", profile="srgb")
    before = path.read_bytes()
    out = finish([path], tmp_path)
    assert path.read_bytes() == before
    masters = {one.picture: one for one in out if one.role == "master"}
    assert set(masters) == {"", "b1-1", "b1-2", "b1-3"}
    assert masters[""].path.read_bytes() == before
    capture = read(path)
    for picture, one in masters.items():
        if not picture:
            continue
        x, y, width, height = one.settings["cut"]
        assert np.array_equal(read(one.path), capture[y : y + height, x : x + width])
        assert read(one.path).dtype == (np.uint16 if deep else np.uint8)
        stated = look_at(one.path).image
        assert stated.ppi_stated == pytest.approx(150, rel=1e-4) and stated.profile is not None
        kept = [share_kept(corners, (x, y, width, height)) for corners in bed.corners]
        assert max(kept) >= 0.999
    for one in (one for one in out if one.role == "copy"):
        assert_straight_copy(one, bed)


def share_kept(corners, cut):
    x, y, w, h = cut
    frame = np.float32([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
    area, _ = cv2.intersectConvexConvex(np.float32(corners), frame)
    return area / cv2.contourArea(np.float32(corners))


def assert_straight_copy(one, bed):
    """The copy is what an independent warp by the true corners gives."""
    copy = read(one.path)
    stated = look_at(one.path).image
    assert stated.ppi_stated == pytest.approx(150, abs=0.6) and stated.profile is not None and copy.dtype == np.uint8
    height, width = copy.shape[:2]
    best = 0.0
    for corners in bed.corners:
        target = np.float32([[0, 0], [width, 0], [width, height], [0, height]]) - 0.5
        turn = cv2.getPerspectiveTransform(np.float32(corners) - np.float32(0.5), target)
        wanted = cv2.warpPerspective(bed.pixels, turn, (width, height), flags=cv2.INTER_CUBIC)
        inner = np.s_[8:-8, 8:-8]
        best = max(best, np.corrcoef(wanted[inner].ravel(), copy[inner].ravel())[0, 1])
    assert best > 0.985


def test_unsure_prints_are_not_cut_and_said(tmp_path):
    path = save(tmp_path / "b1.tif", made.overlapping(1).pixels, 150, profile="srgb")
    out = finish([path], tmp_path)
    assert [(one.role, one.picture) for one in out] == [("master", ""), ("copy", "")]
    assert out[1].notes[0][0] == "scan.split-unsure"


def test_a_lossy_capture_is_kept_byte_for_byte(tmp_path):
    path = tmp_path / "p.jpg"
    Image.fromarray(made.photographs()[0]).save(path, dpi=(600, 600))
    out = finish([path], tmp_path)
    assert out[0].path.read_bytes() == path.read_bytes() and out[0].path.suffix == ".jpg"
    assert [key for key, _ in out[0].notes] == ["finish.kept-lossy"]


def test_the_orientation_of_a_scan_is_honoured_in_the_copy(tmp_path):
    import tifffile

    art = made.photographs()[1]
    tifffile.imwrite(
        tmp_path / "p.tif", art, photometric="rgb", resolution=(600, 600), resolutionunit=2,
        extratags=[(274, "H", 1, 6, True)],
    )  # fmt: skip
    copy = next(one for one in finish([tmp_path / "p.tif"], tmp_path) if one.role == "copy")
    turned = np.rot90(art, -1)  # TIFF 6.0: 6 means the first row is the right-hand side
    assert read(copy.path).shape == turned.shape
    assert np.abs(read(copy.path).astype(int) - turned).mean() < 4


needs_english = pytest.mark.skipif(find_language_data("eng") is None, reason="no English language data here")


@needs_english
def test_pages_make_one_searchable_pdf_with_its_words_in_place(tmp_path):
    paths = [save(tmp_path / f"d1-{n}.tif", made.page(n, ppi=200, size_in=(8.27, 5.8)), 200) for n in range(2)]
    out = finish(paths, tmp_path, "document", "d1")
    (pdf,) = [one for one in out if one.role == "copy"]
    assert pdf.path.name == "d1.pdf" and pdf.settings["searchable"] and pdf.settings["pages"] == 2
    with pikepdf.open(pdf.path) as file:
        for page in file.pages:  # page size in points = px / ppi * 72, half a point allowed (check values, part 6)
            assert float(page.mediabox[2]) == pytest.approx(1654 / 200 * 72, abs=0.5)
            assert float(page.mediabox[3]) == pytest.approx(1160 / 200 * 72, abs=0.5)
        assert "/OutputIntents" in file.Root and file.trailer.ID
        with file.open_metadata() as about:
            assert (about["pdfaid:part"], about["pdfaid:conformance"]) == ("2", "U")
    boxes = words_of(pdf.path)
    text = " ".join(word for word, *_ in boxes)
    assert "harbour" in text and "Rosalind" in text
    # "Port", the first word, was drawn at 0.9 inch from the left, its line from 1.0 inch down, letters 0.16 inch high
    _, x, y, right, bottom = next(box for box in boxes if box[0] == "Port")
    assert x == pytest.approx(0.9 * 72, abs=72 / 25.4)
    assert (y + bottom) / 2 == pytest.approx((1.0 + 0.09) * 72, abs=72 / 25.4)


def words_of(path):
    out = subprocess.run(["pdftotext", "-bbox", str(path), "-"], capture_output=True, text=True, check=True).stdout
    found = []
    for line in out.splitlines():
        if "<word " in line:
            parts = line.split('"')
            edges = [float(parts[n]) for n in (1, 3, 5, 7)]
            found.append((line.split(">")[1].split("<")[0], *edges))
    return found


def test_without_language_data_the_pdf_is_plain_and_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr("takeup.tasks.finish_pages.find_language_data", lambda language, extra="": None)
    path = save(tmp_path / "d1.tif", made.page(1, ppi=100), 100)
    pdf = finish([path], tmp_path, "document", "d1")[-1]
    assert not pdf.settings["searchable"]
    assert ("scan.no-language-data", {"name": "d1.pdf"}) in pdf.notes


def test_an_albums_page_is_kept_whole_as_well_as_cut(tmp_path):
    path = save(tmp_path / "b1.tif", three_prints().pixels, 150)
    copies = {one.path.name for one in finish([path], tmp_path, label="Green album") if one.role == "copy"}
    assert copies == {"b1.jpg", "b1-1.jpg", "b1-2.jpg", "b1-3.jpg"}


def test_a_scan_that_no_check_looks_at_is_said_so_and_not_called_unchecked(tmp_path):
    """40 pixels high and 4000 long: its check refuses it, so it can never have a report."""
    box = captured_box(tmp_path / "box", [Original(id="p1", carrier="print")])
    source = tmp_path / "p1.tif"
    pyvips.Image.black(4000, 40, bands=3).copy(interpretation="srgb").tiffsave(str(source))
    put_capture(box, "p1", source)
    (skipped,) = finish_box(box.folder, Settings()).skipped
    assert skipped.fault is not None and skipped.fault.key == "scan.too-thin"
