"""Who, when, where in every kind of file, read back by another library; pictures and sound the same byte for byte."""

import av
import numpy as np
import pikepdf
import pyexiv2
import pytest
import soundfile
import tifffile
from make.captures import noise_bursts, write_sound, write_tape
from make.tiny import write_pdf
from PIL import Image

from takeup.media.matroska_edit import CannotEdit
from takeup.media.tag_files import tag_file
from takeup.plan.tagging import Told, plan_tags
from takeup.streams import Original

TOLD = Told(
    title="外婆 <1974> & co",
    description="On the beach",
    people=("外婆", "Aunt Rosa"),
    date="1974-07-14",
    place="Port Ellery",
    keywords=("beach", "summer"),
    creator="Uncle Bo",
    rights="CC BY 4.0",
)
ORIGINAL = Original(id="b1", carrier="print", label="Album 3")
PIXELS = np.random.default_rng(4).integers(0, 256, (61, 83, 3), dtype=np.uint8)


def tags(told=TOLD, **more):
    return plan_tags(ORIGINAL, told, date_said="14 July 1974", **more)


def tag(source, target, told=TOLD, source_type="http://cv.iptc.org/newscodes/digitalsourcetype/print"):
    """Twice over, since people think again."""
    between = target.with_name(f"between-{target.name}")
    tag_file(source, between, tags(Told(title="before", date="1960", people=("Nobody",))))
    tag_file(between, target, tags(told), source_type)
    return target


def container_tags(path):
    with av.open(str(path)) as container:
        return {name.lower(): text for name, text in container.metadata.items()}


def packets(path, kind):
    with av.open(str(path)) as container:
        stream = getattr(container.streams, kind)[0]
        return [(packet.pts, bytes(packet)) for packet in container.demux(stream) if packet.size]


TIFFS = [
    ("classic", {}, np.uint8),
    ("big", {"bigtiff": True}, np.uint16),
    ("motorola", {"byteorder": ">"}, np.uint16),
    ("deflate", {"compression": "deflate", "predictor": True, "resolution": (600, 600)}, np.uint8),
    ("tiles", {"tile": (32, 32)}, np.uint8),
]


@pytest.mark.parametrize(("name", "options", "kind"), TIFFS, ids=[name for name, _, _ in TIFFS])
def test_tiff_pixels_stay_and_words_are_read(tmp_path, name, options, kind):
    pixels = PIXELS.astype(kind) * (257 if kind == np.uint16 else 1)
    source, target = tmp_path / f"{name}.tif", tmp_path / f"{name}-told.tif"
    tifffile.imwrite(source, pixels, photometric="rgb", **options)
    tag(source, target)
    with tifffile.TiffFile(target) as tiff:
        assert np.array_equal(tiff.asarray(), pixels) and len(tiff.pages) == 1
        page = tiff.pages[0]
        assert page.tags["ExifTag"].value["DateTimeOriginal"] == "1974:07:14 00:00:00"
        assert page.tags[315].value == "Uncle Bo" and page.tags[33432].value == "CC BY 4.0"
        assert "外婆 &lt;1974&gt; &amp; co" in page.tags[700].value.decode()
        if "resolution" in options:
            assert page.tags["XResolution"].value == (600, 1)


def test_tiff_pages_after_the_first_stay(tmp_path):
    with tifffile.TiffWriter(tmp_path / "two.tif") as writer:
        for page in (PIXELS, 255 - PIXELS):
            writer.write(page, photometric="rgb")
    tag(tmp_path / "two.tif", tmp_path / "told.tif")
    with tifffile.TiffFile(tmp_path / "told.tif") as tiff:
        assert [np.array_equal(page.asarray(), wanted) for page, wanted in zip(tiff.pages, (PIXELS, 255 - PIXELS))] == [
            True
        ] * 2


def jpeg(path, exif=None):
    options = {"exif": exif} if exif is not None else {}
    Image.fromarray(PIXELS).save(path, quality=91, dpi=(300, 300), **options)
    return path


def test_jpeg_packet_has_the_right_kinds_of_lists(tmp_path):
    """IPTC Photo Metadata 2021.1: Alt for title, description, rights; Seq for creator; Bag for the rest."""
    target = tag(jpeg(tmp_path / "a.jpg"), tmp_path / "b.jpg")
    image = pyexiv2.Image(str(target))
    xmp, raw = image.read_xmp(), image.read_raw_xmp()
    image.close()
    for name in ("dc.title", "dc.description", "dc.rights", "xmpRights.UsageTerms"):
        assert list(xmp[f"Xmp.{name}"]) == ['lang="x-default"'], name
    assert xmp["Xmp.dc.title"]['lang="x-default"'] == TOLD.title
    assert xmp["Xmp.iptcExt.PersonInImage"] == ["外婆", "Aunt Rosa"] and xmp["Xmp.dc.subject"] == ["beach", "summer"]
    assert xmp["Xmp.dc.creator"] == ["Uncle Bo"] and xmp["Xmp.photoshop.DateCreated"] == "1974-07-14"
    place = "Xmp.iptcExt.LocationShown[1]/Iptc4xmpExt:LocationName"
    assert xmp["Xmp.iptcExt.LocationShown"] == 'type="Bag"' and xmp[place]['lang="x-default"'] == "Port Ellery"
    for kind, name in (("Seq", "dc:creator"), ("Bag", "dc:subject"), ("Bag", "Iptc4xmpExt:PersonInImage")):
        assert f"<{name}><rdf:{kind}>" in "".join(raw.split("\n")).replace("> <", "><"), name
    assert xmp["Xmp.iptcExt.DigitalSourceType"].endswith("/print")
    assert raw.count("Nobody") == 0


def test_jpeg_picture_and_other_tags_stay(tmp_path):
    exif = Image.Exif()
    exif[274], exif[271] = 6, "Flatbed"
    exif.get_ifd(0x8769)[36868] = "2027:03:02 10:00:00"
    source = jpeg(tmp_path / "a.jpg", exif)
    target = tag(source, tmp_path / "b.jpg")
    assert np.array_equal(np.asarray(Image.open(source)), np.asarray(Image.open(target)))
    image = pyexiv2.Image(str(target))
    found = image.read_exif()
    image.close()
    assert found["Exif.Photo.DateTimeOriginal"] == "1974:07:14 00:00:00"
    assert found["Exif.Photo.DateTimeDigitized"] == "2027:03:02 10:00:00"
    assert (found["Exif.Image.Orientation"], found["Exif.Image.Make"]) == ("6", "Flatbed")
    assert Image.open(target).info["dpi"] == (300, 300)


@pytest.mark.parametrize(
    ("date", "created", "circa"),
    [
        ("1974", "1974", None),
        ("1974-07", "1974-07", None),
        ("1974~", None, "1974~"),
        ("197X", None, "197X"),
        ("that wet summer", None, "that wet summer"),
        ("", None, None),
    ],
)
def test_jpeg_date_fields_hold_only_what_is_sure(tmp_path, date, created, circa):
    target = tag(jpeg(tmp_path / "a.jpg"), tmp_path / "b.jpg", Told(title="x", date=date))
    image = pyexiv2.Image(str(target))
    xmp, exif = image.read_xmp(), image.read_exif()
    image.close()
    assert xmp.get("Xmp.photoshop.DateCreated") == created
    assert xmp.get("Xmp.iptcExt.ArtworkOrObject[1]/Iptc4xmpExt:AOCircaDateCreated") == circa
    assert "Exif.Photo.DateTimeOriginal" not in exif


def test_wave_samples_stay_and_both_readers_agree(tmp_path):
    source = write_sound(tmp_path / "a.wav", noise_bursts(1.0, 0.5, channels=1)[:47_999])
    target = tag(source, tmp_path / "b.wav")
    assert np.array_equal(soundfile.read(source, dtype="int32")[0], soundfile.read(target, dtype="int32")[0])
    assert container_tags(target)["title"] == TOLD.title and "1974-07-14" in container_tags(target)["date"]
    assert packets(source, "audio") == packets(target, "audio")


@pytest.mark.parametrize("faststart", [True, False])
def test_mp4_packets_stay_wherever_the_index_stands(tmp_path, faststart):
    plain = write_tape(tmp_path / "plain.mp4", codec="libx264", form="yuv420p", sound="pcm_s16le", lines=96)
    source = tmp_path / "a.mp4"
    with (
        av.open(str(plain)) as old,
        av.open(str(source), "w", options={"movflags": "faststart"} if faststart else {}) as out,
    ):
        streams = {stream.index: out.add_stream_from_template(stream) for stream in old.streams}
        for packet in old.demux():
            if packet.dts is not None:
                packet.stream = streams[packet.stream_index]
                out.mux(packet)
    target = tag(source, tmp_path / "b.mp4")
    found = container_tags(target)
    assert (found["title"], found["date"], found["copyright"]) == (TOLD.title, "1974-07-14", "CC BY 4.0")
    assert "外婆" in found["comment"] and "Nobody" not in found["comment"]
    for kind in ("video", "audio"):
        assert packets(source, kind) == packets(target, kind)


def test_matroska_packets_shape_and_places_stay(tmp_path):
    source = write_tape(tmp_path / "a.mkv", codec="ffv1", form="yuv422p", lines=96, pictures=30)
    target = tag(source, tmp_path / "b.mkv")
    assert container_tags(target)["title"] == TOLD.title and container_tags(target)["date_recorded"] == "1974-07-14"
    for kind in ("video", "audio"):
        assert packets(source, kind) == packets(target, kind)
    with av.open(str(target)) as container:
        container.seek(900_000)
        assert next(container.demux(video=0)).pts > 0


@pytest.mark.parametrize("kind", ["mp3", "flac", "m4a"])
def test_coded_sound_stays(tmp_path, kind):
    samples = noise_bursts(1.0, 0.5)
    source = tmp_path / f"a.{kind}"
    if kind == "flac":
        write_sound(source, samples)
    else:
        with av.open(str(source), "w") as out:
            stream = out.add_stream("libmp3lame" if kind == "mp3" else "aac", rate=48000, layout="stereo")
            frame = av.AudioFrame.from_ndarray(samples.T.astype(np.float32).copy(), format="fltp", layout="stereo")
            frame.sample_rate = 48000
            for packet in [*stream.encode(frame), *stream.encode(None)]:
                out.mux(packet)
    target = tag(source, tmp_path / f"b.{kind}")
    found = container_tags(target)
    assert found["title"] == TOLD.title and found["date"] == "1974-07-14" and found["artist"] == "Uncle Bo"
    assert packets(source, "audio") == packets(target, "audio")


def test_pdf_pages_and_claim_stay(tmp_path):
    write_pdf(tmp_path / "a.pdf", PIXELS, "PDF/A-2B")
    target = tag(tmp_path / "a.pdf", tmp_path / "b.pdf")
    with pikepdf.open(tmp_path / "a.pdf") as old, pikepdf.open(target) as new:
        pictures = [
            [thing.read_raw_bytes() for thing in pdf.objects if thing is not None and thing.get("/Subtype") == "/Image"]
            for pdf in (old, new)
        ]
        assert pictures[0] == pictures[1] != [] and len(new.pages) == 1
        with new.open_metadata() as xmp:
            assert (xmp["dc:title"], xmp.pdfa_status) == (TOLD.title, "2B")
            assert xmp["photoshop:DateCreated"] == "1974-07-14" and xmp["dc:subject"] == {"beach", "summer"}


def test_kind_without_a_place_for_words_is_refused_untouched(tmp_path):
    source = write_tape(tmp_path / "a.avi", codec="dvvideo", form="yuv420p", pictures=2)
    with pytest.raises(CannotEdit):
        tag_file(source, tmp_path / "b.avi", tags())
    assert not (tmp_path / "b.avi").exists()
