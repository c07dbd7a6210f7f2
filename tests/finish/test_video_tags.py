"""What masters and copies say of themselves, read byte by byte: RFC 9559 (Matroska), ISO 14496-12, H.264 Annex E."""

import io
import struct
from fractions import Fraction

import av
import numpy as np
import pytest
from make.captures import captured_box, put_capture, report_of, tape_frame, woven, write_tape
from PIL import Image

from takeup.media.mp4_edit import write_mp4_tags
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tasks.finish import finish_box

NTSC = Fraction(30000, 1001)
INTERLACED, ORDER, PIXELS, LINES, WIDE, HIGH, UNIT = 0x9A, 0x9D, 0xB0, 0xBA, 0x54B0, 0x54BA, 0x54B2
MATRIX, RANGE, TRANSFER, PRIMARIES = 0x55B1, 0x55B9, 0x55BA, 0x55BB


def finish(folder, capture, **figures):
    box = captured_box(folder / "box", [Original(id="v1", carrier="vhs", label="Beach", notes="At the sea")])
    put_capture(box, "v1", capture, "", report_of("video", 0.2, **figures))
    return {one.made.role: one.made for one in finish_box(box.folder, Settings()).made}


def elements(data, start=0, end=None):
    """(id, body) of each element, masters not gone into: RFC 8794 by hand."""
    at, end = start, len(data) if end is None else end
    while at < end:
        id_length = next(n for n in range(1, 5) if data[at] >> (8 - n))
        size_length = next(n for n in range(1, 9) if data[at + id_length] >> (8 - n))
        body = at + id_length + size_length
        size = int.from_bytes(data[at + id_length : body], "big") - (1 << 7 * size_length)
        yield int.from_bytes(data[at : at + id_length], "big"), data[body : body + size]
        at = body + size


def within(data, *path):
    for wanted in path:
        data = next(body for number, body in elements(data) if number == wanted)
    return data


def numbers(data):
    return {number: int.from_bytes(body, "big") for number, body in elements(data) if len(body) <= 8}


def video_of(path):
    """The Video element of the track that has one: Segment, Tracks, TrackEntry, Video."""
    tracks = within(path.read_bytes(), 0x18538067, 0x1654AE6B)
    for number, entry in elements(tracks):
        if number == 0xAE and any(inner == 0xE0 for inner, _ in elements(entry)):
            return within(entry, 0xE0)
    raise AssertionError("no picture track")


@pytest.mark.parametrize(
    ("order", "lines", "rate", "flags", "shown", "colour"),
    [
        # FieldOrder 1 top first, 6 bottom first, 0 progressive; 12/11 x 720 = 785.45, so the ratio 15:11 is told
        ("top", 576, Fraction(25), {INTERLACED: 1, ORDER: 1}, (15, 11, 3), (5, 6, 5)),
        ("bottom", 486, NTSC, {INTERLACED: 1, ORDER: 6}, (400, 297, 3), (6, 6, 6)),  # 720 x 10/11 : 486
        ("progressive", 480, NTSC, {INTERLACED: 2}, (15, 11, 3), (6, 6, 6)),  # 720 x 10/11 : 480
    ],
)
def test_master_states_fields_shape_and_colour(tmp_path, order, lines, rate, flags, shown, colour):
    capture = write_tape(tmp_path / "t.mov", lines=lines, rate=rate, pictures=2, sound=None)
    video = video_of(finish(tmp_path, capture, field_order=order)["master"].path)
    said = numbers(video)
    assert (said[PIXELS], said[LINES]) == (720, lines)
    assert {name: said.get(name) for name in flags} == flags
    assert (said[WIDE], said[HIGH], said.get(UNIT, 0)) == shown
    told = numbers(within(video, 0x55B0))
    assert (told[PRIMARIES], told[TRANSFER], told[MATRIX], told[RANGE]) == (*colour, 1)


def test_master_states_whole_pixels_where_the_shape_has_them(tmp_path):
    """16:15 as the capture states it: 720 x 16/15 = 768, no ratio needed."""
    tape = {"codec": "rawvideo", "form": "uyvy422", "shape": Fraction(16, 15), "sound": None}
    capture = write_tape(tmp_path / "t.mov", pictures=2, **tape)
    said = numbers(video_of(finish(tmp_path, capture, field_order="top")["master"].path))
    assert (said[WIDE], said[HIGH], said.get(UNIT, 0)) == (768, 576, 0)


def boxes(data, start=0, end=None):
    at, end = start, len(data) if end is None else end
    while at + 8 <= end:
        size, name = struct.unpack_from(">I4s", data, at)
        head = 8
        if size == 1:
            size, head = struct.unpack_from(">Q", data, at + 8)[0], 16
        yield name.decode("latin-1"), data[at + head : at + size]
        at += size


def box(data, *path):
    for name in path:
        data = next(body for found, body in boxes(data) if found == name)
    return data


def tracks_of(path):
    """Each track's handler and body."""
    moov = box(path.read_bytes(), "moov")
    return {box(body, "mdia", "hdlr")[8:12].decode(): body for name, body in boxes(moov) if name == "trak"}


def sample_entry(track):
    """avc1's own boxes: they begin after 78 bytes of a visual sample entry."""
    stsd = box(track, "mdia", "minf", "stbl", "stsd")
    return dict(boxes(stsd[8:]))["avc1"][78:]


class Bits:
    """A NAL unit's bits: fixed fields and Exp-Golomb numbers (H.264 9.1)."""

    def __init__(self, data):
        text = data.replace(b"\0\0\3", b"\0\0")  # emulation prevention
        self.bits, self.at = "".join(f"{byte:08b}" for byte in text), 0

    def u(self, count):
        self.at += count
        return int(self.bits[self.at - count : self.at], 2) if count else 0

    def ue(self):
        zeros = self.bits.index("1", self.at) - self.at
        self.at += zeros
        return self.u(zeros + 1) - 1

    def se(self):
        value = self.ue()
        return (value + 1) // 2 * (1 if value % 2 else -1)


def vui_of(avcc):
    """Shape, range and colour from the sequence parameter set in ``avcC``: H.264 7.3.2.1.1 and E.1.1."""
    length = struct.unpack_from(">H", avcc, 6)[0]
    bits = Bits(avcc[9 : 8 + length])
    profile = bits.u(8)
    bits.u(16)
    bits.ue()
    if profile in (100, 110, 122, 244):
        chroma = bits.ue()
        assert chroma == 1  # 4:2:0
        bits.ue(), bits.ue(), bits.u(1)
        assert bits.u(1) == 0  # no scaling matrix
    bits.ue()
    if bits.ue() == 0:
        bits.ue()
    bits.ue(), bits.u(1)
    size = 16 * (bits.ue() + 1), 16 * (bits.ue() + 1)
    frames_only = bits.u(1)
    bits.u(1)
    crop = (bits.ue(), bits.ue(), bits.ue(), bits.ue()) if bits.u(1) else (0, 0, 0, 0)
    found = {"size": (size[0] - 2 * crop[0] - 2 * crop[1], size[1] - 2 * crop[2] - 2 * crop[3]), "frames": frames_only}
    assert bits.u(1) == 1  # there is a VUI
    if bits.u(1):
        kind = bits.u(8)
        found["shape"] = (bits.u(16), bits.u(16)) if kind == 255 else {1: (1, 1), 2: (12, 11), 3: (10, 11)}[kind]
    if bits.u(1):
        bits.u(1)
    if bits.u(1):
        bits.u(3)
        found["range"] = bits.u(1)
        found["colour"] = (bits.u(8), bits.u(8), bits.u(8)) if bits.u(1) else None
    return found


@pytest.fixture(scope="module")
def copies(tmp_path_factory):
    """Copies of both systems by their lines."""
    made = {}
    for order, lines, rate in (("top", 576, Fraction(25)), ("bottom", 486, NTSC)):
        folder = tmp_path_factory.mktemp("copies")
        capture = write_tape(folder / "t.mov", lines=lines, rate=rate, order=order, pictures=10)
        box = captured_box(folder / "box", [Original(id="v1", carrier="vhs", label="Beach", keep="copy")])
        put_capture(box, "v1", capture, "", report_of("video", 0.4, field_order=order))
        (one,) = finish_box(box.folder, Settings()).made
        made[lines] = one.made.path
    return made


@pytest.mark.parametrize(("lines", "shape", "colour"), [(576, (12, 11), (5, 6, 5)), (486, (10, 11), (6, 6, 6))])
def test_copy_says_shape_range_and_colour_in_stream_and_container(copies, lines, shape, colour):
    inside = dict(boxes(sample_entry(tracks_of(copies[lines])["vide"])))
    vui = vui_of(inside["avcC"])
    assert vui == {"size": (720, lines), "frames": 1, "shape": shape, "range": 0, "colour": colour}
    assert struct.unpack(">II", inside["pasp"]) == shape
    assert inside["colr"][:4] == b"nclx" and struct.unpack_from(">HHHB", inside["colr"], 4) == (*colour, 0)
    assert inside["avcC"][1] == 100 and inside["avcC"][3] <= 31  # High, level 3.1 at most


def test_copy_begins_at_once_and_sound_with_it(copies):
    """``moov`` before ``mdat``; edit lists put the first picture at 0 and cut the coder's lead-in off the sound."""
    path = copies[576]
    data = path.read_bytes()
    names = [name for name, _ in boxes(data)]
    assert names.index("moov") < names.index("mdat")
    scale = struct.unpack_from(">I", box(data, "moov", "mvhd"), 12)[0]
    for kind, track in tracks_of(path).items():
        own = struct.unpack_from(">I", box(track, "mdia", "mdhd"), 12)[0]
        entries = box(track, "edts", "elst")
        assert struct.unpack_from(">I", entries, 4)[0] == 1, kind
        lasts, starts = struct.unpack_from(">Ii", entries, 8)
        assert lasts / scale == pytest.approx(0.4, abs=0.03)
        if kind == "soun":
            assert starts / own == pytest.approx(1024 / 48000, abs=1e-3)  # AAC's priming
        else:
            table = box(track, "mdia", "minf", "stbl", "ctts")
            assert starts == struct.unpack_from(">I", table, 12)[0]  # the first picture's delay to reorder


def test_copy_has_title_and_poster_where_players_look(copies):
    """``covr`` of kind 13 is a JPEG; the picture is shown in its right shape: 785 x 576 no larger than 640 wide."""
    items = box(copies[576].read_bytes(), "moov", "udta", "meta")[4:]
    found = {name: box(body, "data") for name, body in boxes(box(items, "ilst"))}
    assert found["\xa9nam"][8:].decode() == "Beach"
    assert struct.unpack_from(">I", found["covr"])[0] == 13
    with Image.open(io.BytesIO(found["covr"][8:])) as poster:
        assert poster.format == "JPEG" and poster.size == (640, 470)  # 640 x 576 / 785.45 = 469.3, even


def test_poster_stays_when_words_are_written_later(copies, tmp_path):
    write_mp4_tags(copies[576], tmp_path / "t.mp4", {"\xa9nam": "Another day"})
    found = []
    for path in (copies[576], tmp_path / "t.mp4"):
        items = box(path.read_bytes(), "moov", "udta", "meta")[4:]
        found.append({name: box(body, "data")[8:] for name, body in boxes(box(items, "ilst"))})
    assert found[0]["covr"] == found[1]["covr"] and found[1]["\xa9nam"].decode() == "Another day"


def test_colour_that_the_capture_states_is_kept(tmp_path):
    """A converter that states BT.709 transfer (as ``colr`` in MOV often does) is believed, in master and copy."""
    path = tmp_path / "t.mov"
    rng = np.random.default_rng(1)
    with av.open(str(path), "w") as out:
        stream = out.add_stream("v210", rate=NTSC)
        stream.width, stream.height, stream.pix_fmt = 720, 486, "yuv422p10le"
        coder = stream.codec_context
        coder.color_primaries, coder.color_trc, coder.colorspace, coder.color_range = 6, 1, 6, 1
        for number in range(3):
            frame = tape_frame(woven(number, NTSC, 486, "bottom"), "yuv422p10le", rng)
            frame.pts, frame.time_base = number, 1 / NTSC
            for packet in [*stream.encode(frame), *(stream.encode(None) if number == 2 else ())]:
                out.mux(packet)
    made = finish(tmp_path, path, field_order="bottom")
    told = numbers(within(video_of(made["master"].path), 0x55B0))
    assert (told[PRIMARIES], told[TRANSFER], told[MATRIX]) == (6, 1, 6)
    inside = dict(boxes(sample_entry(tracks_of(made["copy"].path)["vide"])))
    assert struct.unpack_from(">HHH", inside["colr"], 4) == (6, 1, 6)
