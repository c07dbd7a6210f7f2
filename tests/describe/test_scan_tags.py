"""What a scan says of itself: every property in its own kind of list, the moment of scanning, the original, a lasting
name. The raw packet is parsed here by hand and once more by another library; pixels are compared bit by bit."""

from dataclasses import replace
from uuid import UUID
from xml.etree import ElementTree

import numpy as np
import pikepdf
import pyexiv2
import pytest
import tifffile
from make.captures import captured_box, put_capture, report_of
from make.tiny import write_pdf
from PIL import Image

from takeup.media.pdf_rules import broken_rules
from takeup.media.tag_files import tag_file
from takeup.plan.tagging import Scanned, Told, plan_tags
from takeup.settings import Settings
from takeup.streams import Measured, Original
from takeup.tasks.describe import describe_box
from takeup.tasks.finish import finish_box

RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
XML_LANG = "{http://www.w3.org/XML/1998/namespace}lang"
SPACES = {
    "http://purl.org/dc/elements/1.1/": "dc",
    "http://ns.adobe.com/xap/1.0/": "xmp",
    "http://ns.adobe.com/xap/1.0/rights/": "xmpRights",
    "http://ns.adobe.com/photoshop/1.0/": "photoshop",
    "http://ns.adobe.com/exif/1.0/": "exif",
    "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/": "core",
    "http://iptc.org/std/Iptc4xmpExt/2008-02-29/": "ext",
}
TOLD = Told(
    title="外婆 <1974> & co", description="Two people on a beach, one waves", people=("外婆", "Rosa"), date="1974~",
    place="Port Ellery", keywords=("beach", "summer"), creator="Uncle Bo", rights="CC BY 4.0",
    event="夏天 fair",
)  # fmt: skip
SCANNED = Scanned(
    written="2027-01-15T08:00:00+00:00", sha256=("ab" * 32,),
    object_said=(("en", "Photographic print, about 102 x 152 mm"), ("zh-Hans", "照片，约 102 × 152 毫米")),
)  # fmt: skip
PIXELS = np.random.default_rng(9).integers(0, 256, (61, 83, 3), dtype=np.uint8)
PRINT = "http://cv.iptc.org/newscodes/digitalsourcetype/print"
CONTAINERS = {  # IPTC Photo Metadata 2021.1 and the check values, part 6
    "dc:title": "Alt", "dc:description": "Alt", "dc:rights": "Alt", "xmpRights:UsageTerms": "Alt", "dc:creator": "Seq",
    "dc:subject": "Bag", "ext:PersonInImage": "Bag", "ext:LocationShown": "Bag", "ext:ArtworkOrObject": "Bag",
    "ext:Event": "Alt",
    "core:AltTextAccessibility": "Alt", "xmp:CreateDate": "", "ext:DigImageGUID": "", "ext:DigitalSourceType": "",
}  # fmt: skip


def said(**more):
    return plan_tags(Original(id="b1", carrier="print"), TOLD, date_said="about 1974", scanned=SCANNED, **more)


def read(path):
    """The raw packet as the file holds it, and what another library reads of EXIF and XMP."""
    data = path.read_bytes()
    if data[:2] == b"\xff\xd8":
        packet = data[data.index(b"<x:xmpmeta") : data.index(b"</x:xmpmeta>") + 12]
        assert data.count(b"<x:xmpmeta") == 1
    else:
        with tifffile.TiffFile(path) as tiff:
            packet, known = (bytes(tiff.pages[0].tags[700].value), tiff.pages[0].tags["ExifTag"].value)
        if data[2:4] == b"+\0":  # the other library knows no BigTIFF
            return packet, {f"Exif.Photo.{name}": text for name, text in known.items()}, None
    image = pyexiv2.Image(str(path))
    exif, xmp = image.read_exif(), image.read_xmp()
    image.close()
    return packet, exif, xmp


def pixels(path):
    return np.asarray(Image.open(path)) if path.suffix == ".jpg" else tifffile.imread(path)


def properties(packet):
    """Name -> (kind of list, [(language, text)]) of every property of a raw packet."""
    found = {}
    for block in ElementTree.fromstring(packet.strip(b"\0")).iter(f"{RDF}Description"):
        for thing in block:
            space, name = thing.tag[1:].split("}")
            kind = thing[0].tag.removeprefix(RDF) if len(thing) else ""
            texts = [(one.get(XML_LANG), one.text) for one in thing.iter(f"{RDF}li")] or [(None, thing.text)]
            assert f"{SPACES.get(space, space)}:{name}" not in found, "a property stands twice"
            found[f"{SPACES.get(space, space)}:{name}"] = kind, texts
    return found


def inner(packet, name):
    return next(
        ElementTree.fromstring(packet.strip(b"\0")).iter(f"{{http://iptc.org/std/Iptc4xmpExt/2008-02-29/}}{name}")
    )


@pytest.mark.parametrize("form", ["classic", "big", "jpeg"])
def test_every_property_stands_in_its_own_kind_of_list_and_pixels_stay(tmp_path, form):
    source, between, target = (tmp_path / f"{name}.{'jpg' if form == 'jpeg' else 'tif'}" for name in "abc")
    if form == "jpeg":
        Image.fromarray(PIXELS).save(source, quality=91)
    else:
        tifffile.imwrite(source, PIXELS, photometric="rgb", bigtiff=form == "big")
    tag_file(source, between, said(), PRINT)
    tag_file(between, target, said(), PRINT)  # once more: nothing stands twice
    assert np.array_equal(pixels(source), pixels(target))
    packet, exif, xmp = read(target)
    found = properties(packet)
    assert {name: found[name][0] for name in CONTAINERS} == CONTAINERS
    assert found["core:AltTextAccessibility"][1] == [("x-default", TOLD.description)]
    assert found["xmp:CreateDate"][1] == [(None, SCANNED.written)]
    assert "photoshop:DateCreated" not in found and found["ext:Event"][1] == [("x-default", TOLD.event)]
    physical = inner(packet, "AOPhysicalDescription")
    assert [(one.get(XML_LANG), one.text) for one in physical.iter(f"{RDF}li")] == [
        ("x-default", SCANNED.object_said[0][1]), *SCANNED.object_said,
    ]  # fmt: skip
    assert inner(packet, "AOCircaDateCreated").text == "1974~" and inner(packet, "AOSourceInvNo").text == "b1"
    assert exif["Exif.Photo.DateTimeDigitized"] == "2027:01:15 08:00:00"
    assert exif["Exif.Photo.OffsetTimeDigitized"] == "+00:00"
    guid = found["ext:DigImageGUID"][1][0][1]
    assert UUID(guid).version == 5 and exif["Exif.Photo.ImageUniqueID"] == UUID(guid).hex
    if form != "big":
        assert xmp["Xmp.iptcExt.DigImageGUID"] == guid and xmp["Xmp.iptcExt.PersonInImage"] == list(TOLD.people)


def test_the_lasting_name_is_the_pictures_and_the_captures():
    again = plan_tags(Original(id="b1", carrier="print"), Told(title="other"), scanned=SCANNED)
    other = plan_tags(Original(id="b1", carrier="print"), TOLD, scanned=Scanned(sha256=("cd" * 32,)))
    assert said().guid == again.guid
    assert len({said().guid, said(id="b1-2").guid, other.guid}) == 3


def test_a_long_description_stands_whole_beside_a_short_one():
    long = plan_tags(Original(id="b1", carrier="print"), Told(title="Beach", description="x" * 251))
    assert (long.alt_texts, said().alt_texts) == (("Beach", "x" * 251), (TOLD.description, ""))


def test_a_moment_that_the_scanner_wrote_itself_stays(tmp_path):
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({36868: "2026:12:31 23:59:58", 36882: "+01:00"})
    Image.fromarray(PIXELS).save(tmp_path / "a.jpg", exif=exif)
    tag_file(tmp_path / "a.jpg", tmp_path / "b.jpg", said(), PRINT)
    packet, found, _ = read(tmp_path / "b.jpg")
    assert found["Exif.Photo.DateTimeDigitized"] == "2026:12:31 23:59:58"
    assert properties(packet)["xmp:CreateDate"][1] == [(None, "2026-12-31T23:59:58+01:00")]


def test_a_pdf_says_the_same_and_keeps_the_rules_of_its_claim(tmp_path):
    write_pdf(tmp_path / "a.pdf", PIXELS, "PDF/A-2U")
    tag_file(tmp_path / "a.pdf", tmp_path / "b.pdf", said(), PRINT)
    tag_file(tmp_path / "b.pdf", tmp_path / "c.pdf", said(), PRINT)
    assert broken_rules(tmp_path / "a.pdf") == broken_rules(tmp_path / "c.pdf") == ()
    with pikepdf.open(tmp_path / "c.pdf") as new:
        packet = bytes(new.Root.Metadata.read_raw_bytes())
        assert b"pdfaSchema:prefix>Iptc4xmpExt" in packet
    found = properties(packet)
    kinds = {"dc:title": "Alt", "dc:creator": "Seq", "dc:subject": "Bag", "ext:PersonInImage": "Bag"}
    assert {name: found[name][0] for name in kinds} == kinds
    assert found["ext:PersonInImage"][1] == [(None, "外婆"), (None, "Rosa")]
    assert found["exif:DateTimeDigitized"][1] == [(None, SCANNED.written)]
    assert found["ext:DigitalSourceType"][1] == [(None, PRINT)]
    assert found["ext:DigImageGUID"][1] == [(None, said().guid.urn)]


def test_scans_nobody_described_say_what_is_known_and_a_kept_master_stays_to_the_byte(tmp_path):
    box = captured_box(tmp_path / "box", [Original(id="b1", carrier="print")])
    path = tmp_path / "b1.tif"
    tifffile.imwrite(path, np.tile(PIXELS, (4, 4, 1)), photometric="rgb", resolution=(150, 150), resolutionunit="inch")
    corners = [[[x, 20.0], [x + 120, 20.0], [x + 120, 200.0], [x, 200.0]] for x in (10.0, 180.0)]
    found = Measured(value=[{"corners": four, "tilt": 0.0} for four in corners], unit="px", extra={"ground": "lid"})
    report = replace(report_of("scan", 0.0), measures={"pictures": found})
    put_capture(box, "b1", path, "", report)
    finish_box(box.folder, Settings(), even_redo=True)
    masters, copies = box.folder / "masters" / "b1", box.folder / "copies" / "b1"
    assert (masters / "b1.tif").read_bytes() == path.read_bytes()
    guids = set()
    # 120 x 180 pixels at 150 an inch are 20.3 x 30.5 mm of paper, whatever margin a file is cut with
    kinds = [(masters / "b1-1.tif", (20, 30)), (copies / "b1-1.jpg", (20, 30))]
    for cut, size in kinds:
        words = "Photographic print, about {} x {} mm".format(*size)
        packet, exif, _ = read(cut)
        assert properties(packet)["ext:DigitalSourceType"][1] == [(None, PRINT)]
        assert exif["Exif.Photo.DateTimeDigitized"] == "2027:01:15 08:00:00"  # 1 800 000 000 s after 1970
        assert inner(packet, "AOPhysicalDescription")[0][0].text == words
        guids.add(exif["Exif.Photo.ImageUniqueID"])
    assert len(guids) == 1
    listed = tmp_path / "told.csv"
    listed.write_text("id,title\nb1,Album\n")
    describe_box(box.folder, Settings(), csv=listed)
    packet, _, _ = read(masters / "b1.tif")
    assert properties(packet)["xmp:CreateDate"][1] == [(None, SCANNED.written)]
    assert np.array_equal(tifffile.imread(masters / "b1.tif"), tifffile.imread(path))
