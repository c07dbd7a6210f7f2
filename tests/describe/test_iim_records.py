"""The older records of a picture, read back by another library; their places in the file by hand."""

import struct

import numpy as np
import pyexiv2
import pytest
import tifffile
from PIL import Image

from takeup.media.iim import iim_records, read_records
from takeup.media.resource_blocks import read_blocks, write_blocks
from takeup.media.tag_files import tag_file
from takeup.plan.tagging import Scanned, Told, plan_tags
from takeup.streams import Original

PIXELS = np.random.default_rng(9).integers(0, 256, (61, 83, 3), dtype=np.uint8)
SCANNED = Scanned(written="2027-01-15T08:00:00+00:00", sha256=("ab" * 32,))
TOLD = Told(
    title="外婆 at the fair", description="Two people wave", people=("Rosa",), date="1974-07-14", place="Port Ellery",
    keywords=("fair", "夏天"), creator="Uncle Bo", rights="CC BY 4.0", event="Harbour fair",
)  # fmt: skip


def tags(told=TOLD):
    return plan_tags(Original(id="b1", carrier="print"), told, scanned=SCANNED)


def records(path):
    image = pyexiv2.Image(str(path))
    found = image.read_iptc(encoding="utf-8")
    image.close()
    return {name.removeprefix("Iptc.Application2."): text for name, text in found.items()}


@pytest.mark.parametrize("form", ["tif", "jpg"])
def test_another_library_reads_who_when_and_where(tmp_path, form):
    source, between, target = (tmp_path / f"{name}.{form}" for name in "abc")
    if form == "jpg":
        Image.fromarray(PIXELS).save(source, quality=91)
    else:
        tifffile.imwrite(source, PIXELS, photometric="rgb")
    tag_file(source, between, tags(Told(title="before", keywords=("x", "y", "z"), date="1960-01-02")))
    tag_file(between, target, tags())
    assert records(target) == {
        "Iptc.Envelope.CharacterSet": "\x1b%G",
        "RecordVersion": "4",
        "ObjectName": "外婆 at the fair", "Keywords": ["fair", "夏天"], "DateCreated": "1974-07-14",
        "DigitizationDate": "2027-01-15", "DigitizationTime": "08:00:00+00:00", "Byline": ["Uncle Bo"],
        "SubLocation": "Port Ellery", "Copyright": "CC BY 4.0", "Caption": "Two people wave",
    }  # fmt: skip
    if form == "jpg":  # the segment once, in the published layout
        data = target.read_bytes()
        assert data.count(b"Photoshop 3.0\0" + b"8BIM\x04\x04\0\0") == 1
        assert np.array_equal(np.asarray(Image.open(source)), np.asarray(Image.open(target)))


def test_a_doubtful_day_stands_in_no_field_of_days_and_long_texts_end_at_a_whole_letter():
    told = Told(title="外" * 30, date="1974~", creator="é" * 20)
    found = {field: data for _, field, data in read_records(iim_records(tags(told)))}
    assert found[5].decode() == "外" * 21  # 63 of 64 bytes
    assert found[80].decode() == "é" * 16  # 32 bytes
    assert 55 not in found


def test_what_the_file_said_itself_stays_where_it_can_be_told(tmp_path):
    def record(number, field, data):
        return struct.pack(">BBBH", 0x1C, number, field, len(data)) + data

    own = (
        record(2, 40, b"handle with care") + record(2, 5, b"scan 1") + record(2, 105, "Schl\xfcssel".encode("latin-1"))
    )
    blocks = [(1082, b"\0\0", bytes(16)), (1028, b"\0\0", own), (1061, b"\x01a", bytes(15))]
    Image.fromarray(PIXELS).save(tmp_path / "a.jpg")
    data = (tmp_path / "a.jpg").read_bytes()
    body = write_blocks(blocks)
    assert read_blocks(body) == blocks
    (tmp_path / "b.jpg").write_bytes(data[:2] + struct.pack(">BBH", 0xFF, 0xED, len(body) + 2) + body + data[2:])
    tag_file(tmp_path / "b.jpg", tmp_path / "c.jpg", tags())
    found = records(tmp_path / "c.jpg")
    assert found["SpecialInstructions"] == "handle with care" and found["ObjectName"] == "外婆 at the fair"
    assert "Headline" not in found  # its letters were in a set of characters that it did not name
    assert Image.open(tmp_path / "c.jpg").info["photoshop"][1082] == bytes(16)


def test_a_segment_that_nobody_can_read_stays_as_it_is(tmp_path):
    Image.fromarray(PIXELS).save(tmp_path / "a.jpg")
    data, body = (tmp_path / "a.jpg").read_bytes(), b"Photoshop 3.0\0" + b"8BIM\x04\x04\0\0\0\0\xff\xff?"
    (tmp_path / "b.jpg").write_bytes(data[:2] + struct.pack(">BBH", 0xFF, 0xED, len(body) + 2) + body + data[2:])
    tag_file(tmp_path / "b.jpg", tmp_path / "c.jpg", tags())
    assert (tmp_path / "c.jpg").read_bytes().count(body) == 1


def test_segments_with_more_than_one_can_hold_stay_as_they_are(tmp_path):
    body = write_blocks([(1036, b"\0\0", bytes(90_000))])  # a large miniature, say
    bodies = [body[:60_000], b"Photoshop 3.0\0" + body[60_000:]]
    Image.fromarray(PIXELS).save(tmp_path / "a.jpg")
    data = (tmp_path / "a.jpg").read_bytes()
    segments = b"".join(struct.pack(">BBH", 0xFF, 0xED, len(one) + 2) + one for one in bodies)
    (tmp_path / "b.jpg").write_bytes(data[:2] + segments + data[2:])
    tag_file(tmp_path / "b.jpg", tmp_path / "c.jpg", tags())
    made = (tmp_path / "c.jpg").read_bytes()
    assert segments in made and b"Harbour fair" in made  # the packet tells all the same


def test_nothing_told_is_no_record():
    assert iim_records(plan_tags(Original(id="", carrier="print"), None)) == b""
