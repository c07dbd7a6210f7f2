"""Files that are no scan, or half of one: one plain sentence or the right finding, never a fault of the program."""

import io
import struct
import zlib

import numpy as np
import pikepdf
import pytest
import pyvips
import tifffile
from PIL import Image

from takeup.errors import Unreadable
from takeup.media.probe import look_at
from takeup.media.still import OpenStill
from takeup.media.still_write import CutOut, write_tiff_master
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check_scan import check_scan
from takeup.tasks.checking import Asked
from takeup.tasks.ears import SILENT
from takeup.tasks.finish_scan import finish_scan
from takeup.tasks.finishing import Chosen, Place

SPECKLE = np.random.default_rng(3).integers(90, 160, (600, 500, 3)).astype(np.uint8)


def jpeg(pixels=SPECKLE) -> bytes:
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "jpeg", quality=90)
    return out.getvalue()


def pdf(path, **more):
    document = pikepdf.new()
    image = pikepdf.Stream(document, jpeg())
    names = {"/Type": "/XObject", "/Subtype": "/Image", "/ColorSpace": "/DeviceRGB", "/Filter": "/DCTDecode"}
    image.update({key: pikepdf.Name(name) for key, name in names.items()})
    image.update({"/Width": 500, "/Height": 600, "/BitsPerComponent": 8})
    document.add_blank_page(page_size=(360, 432))
    document.pages[0].Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(Im=image))
    document.pages[0].Contents = pikepdf.Stream(document, b"q 360 0 0 432 0 0 cm /Im Do Q")
    document.save(path, **more)


def mangled(path, old, new):
    """A PDF of which one word says something else."""
    pdf(path, object_stream_mode=pikepdf.ObjectStreamMode.disable, compress_streams=False)
    data = path.read_bytes()
    assert old in data
    path.write_bytes(data.replace(old, new, 1))


def blown_up(path, side=100_000):
    """A whole TIFF of ``side`` x ``side`` blank pixels: group 4 says a blank row in one bit (ITU-T T.6, mode V0)."""
    data = b"\xff" * (side // 8 + 8)
    tags = {256: side, 257: side, 258: 1, 259: 4, 262: 0, 273: 8, 277: 1, 278: side, 279: len(data)}
    entries = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in tags.items())
    head = struct.pack("<2sHI", b"II", 42, 8 + len(data))
    path.write_bytes(head + data + struct.pack("<H", len(tags)) + entries + bytes(4))


def check(path):
    return check_scan(path, look_at(path), Asked(original=Original(id="p1", carrier="print")), load_rows())


@pytest.mark.parametrize(
    ("name", "write", "key"),
    [
        ("locked.pdf", lambda p: pdf(p, encryption=pikepdf.Encryption(owner="o", user="u")), "scan.password"),
        ("cut.pdf", lambda p: (pdf(p), p.write_bytes(p.read_bytes()[: p.stat().st_size // 2])), "capture.broken"),
        ("float.tif", lambda p: tifffile.imwrite(p, SPECKLE.astype(np.float32), photometric="rgb"), "scan.odd-numbers"),
        ("deep.tif", lambda p: tifffile.imwrite(p, SPECKLE[..., 0].astype(np.uint32)), "scan.odd-numbers"),
        ("preview.png", lambda p: Image.fromarray(SPECKLE[:20, :400]).save(p), "scan.too-small"),
        ("no-width.pdf", lambda p: mangled(p, b"/Width", b"/Widht"), "capture.broken"),
        ("odd-place.pdf", lambda p: mangled(p, b"360 0 0 432 0 0 cm", b"360 cm           "), "capture.broken"),
        ("blown-up.tif", blown_up, "scan.too-large"),
        ("thread.tif", lambda p: tifffile.imwrite(p, np.resize(SPECKLE, (33, 20_000, 3))), "scan.too-thin"),
        ("one.tif", lambda p: tifffile.imwrite(p, SPECKLE[:1, :1]), "scan.too-small"),
    ],
)
def test_what_is_no_scan_is_refused_in_a_sentence_of_its_own(tmp_path, name, write, key):
    path = tmp_path / name
    write(path)
    with pytest.raises(Unreadable) as told:
        check(path)
    assert told.value.key == key and told.value.facts["path"] == str(path)


@pytest.mark.parametrize("ppi", [0.001, 2e6])
def test_a_resolution_that_cannot_be_is_stated_and_not_believed(tmp_path, ppi):
    """It would make the scan 500 thousand inches long, or a quarter of a thousandth of one."""
    path = tmp_path / "slip.tif"
    tifffile.imwrite(path, SPECKLE, photometric="rgb", resolution=(ppi, ppi), resolutionunit=2)
    report = check(path)
    assert report.measures["ppi_stated"].value == pytest.approx(ppi, rel=1e-3)
    assert len(report.measures["pictures"].value) == 1


def test_nothing_is_made_of_a_damaged_scan(tmp_path):
    path = tmp_path / "damaged.jpg"
    data = bytearray(jpeg())
    data[len(data) // 2 : len(data) // 2 + 400] = np.random.default_rng(1).bytes(400)
    path.write_bytes(data)
    original = Original(id="p1", carrier="print")
    good = tmp_path / "good.jpg"
    good.write_bytes(jpeg())
    chosen = [
        Chosen(original=original, part=part, stored=(scan,), relative=(scan.name,), reports=(report,))
        for part, scan, report in (("1", good, None), ("2", path, check(path)))
    ]
    place = Place(masters=tmp_path / "masters", copies=tmp_path / "copies")
    with pytest.raises(Unreadable) as told:
        finish_scan(chosen, place, load_rows(), Settings(), SILENT)
    assert told.value.key == "scan.not-whole"
    assert {found for found in tmp_path.rglob("*") if found.is_file()} == {path, good}


def test_a_whole_pdf_of_a_scan_is_read(tmp_path):
    pdf(tmp_path / "whole.pdf")
    assert check(tmp_path / "whole.pdf").measures["ppi_stated"].value == pytest.approx(100.0)


def test_damage_inside_a_jpeg_is_told(tmp_path):
    """Of 400 bytes overwritten at random some are markers that may not stand there. One flipped bit decodes to another
    lawful picture: that no reader can tell."""
    data = bytearray(jpeg())
    whole = tmp_path / "whole.jpg"
    whole.write_bytes(data)
    assert "corrupt" not in [finding.name for finding in check(whole).findings]
    data[len(data) // 2 : len(data) // 2 + 400] = np.random.default_rng(1).bytes(400)
    (tmp_path / "damaged.jpg").write_bytes(data)
    found = {finding.name: finding.verdict for finding in check(tmp_path / "damaged.jpg").findings}
    assert found["corrupt"] == "redo"


def test_a_picture_that_claims_more_than_its_file_could_hold_takes_no_memory(tmp_path):
    pixels = pyvips.Image.black(64, 64).pngsave_buffer()
    claimed = bytearray(pixels)
    claimed[16:24] = (100_000).to_bytes(4, "big") * 2
    claimed[29:33] = zlib.crc32(bytes(claimed[12:29])).to_bytes(4, "big")
    (tmp_path / "bomb.png").write_bytes(claimed)
    found = {finding.name: finding.verdict for finding in check(tmp_path / "bomb.png").findings}
    assert found["corrupt"] == "redo"


def test_a_picture_is_cut_from_a_scan_of_one_bit(tmp_path):
    """libtiff has no prediction for single bits, and refuses to write with it."""
    ink = pyvips.Image.new_from_array(np.where(SPECKLE[..., 0] > 125, 255, 0).astype(np.uint8))
    ink.tiffsave(str(tmp_path / "page.tif"), bitdepth=1, compression="ccittfax4", predictor="none")
    still = OpenStill(tmp_path / "page.tif", look_at(tmp_path / "page.tif"))
    write_tiff_master(still, tmp_path / "cut.tif", CutOut(x=13, y=20, width=301, height=200))
    made = pyvips.Image.new_from_file(str(tmp_path / "cut.tif"))
    assert look_at(tmp_path / "cut.tif").image.bits_stated == 1
    assert np.array_equal(made.numpy(), ink.numpy()[20:220, 13:314])
