"""What the pictures of copies are: parted by motion, legal in their levels, close to what went into the coder.

References: the scene that was woven, BT.601's formulas by hand, libav's own idet, psnr and ssim.
"""

from fractions import Fraction
from itertools import pairwise

import av
import numpy as np
import pytest
from av.filter import Graph
from make.captures import captured_box, put_capture, report_of, scene, write_tape
from make.video import Form, Tape, write

from takeup.media.moving_copy import CopyPlan, write_h264
from takeup.media.moving_fields import Making
from takeup.media.moving_prove import Held
from takeup.plan.copies import Levels, plan_levels
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.finish import finish_box

PLAIN = {
    "order": "top", "shape": Fraction(12, 11), "crf": 19, "preset": "faster", "profile": "high", "key_s": 2.0,
    "primaries": 5, "transfer": 6, "matrix": 5,
}  # fmt: skip


def making(path, **more):
    """The pictures that go to the coder, as three planes each."""
    with av.open(str(path)) as source:
        graph = Making(source.streams.video[0], CopyPlan(**(PLAIN | more)))
        return [planes(frame) for frame in graph.made_of(source, Held())]


def planes(frame):
    return [
        np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)[: plane.height, : plane.width].astype(int)
        for plane in frame.planes
    ]


def write_pictures(path, codec, form, pictures, rate=25, full=False, options=None):
    """Whole pictures, each a list of planes (or one packed array), as they are."""
    with av.open(str(path), "w") as out:
        stream = out.add_stream(codec, rate=rate, options=options or {})
        stream.width, stream.height, stream.pix_fmt = pictures[0][0].shape[1], pictures[0][0].shape[0], form
        stream.codec_context.color_range = 2 if full else 0
        for number, parts in enumerate(pictures):
            frame = av.VideoFrame(parts[0].shape[1], parts[0].shape[0], form)
            for plane, values in zip(frame.planes, parts):
                kind = "<u2" if "10" in form else np.uint8
                raw = np.ascontiguousarray(values.astype(kind)).view(np.uint8).reshape(plane.height, -1)
                wide = np.zeros((plane.height, plane.line_size), np.uint8)
                wide[:, : raw.shape[1]] = raw
                plane.update(wide.tobytes())
            frame.pts = number
            for packet in stream.encode(frame):
                out.mux(packet)
        for packet in stream.encode(None):
            out.mux(packet)
    return path


@pytest.mark.parametrize(("lines", "noise", "bound"), [(1, 0.0, 0.1), (2, 1.5, 2.0)])
def test_what_stands_still_keeps_every_line(tmp_path, lines, noise, bound):
    """A still chart of light and dark lines, woven: each picture of the copy is the whole chart, not one field.

    Without noise single lines stay to the code. Under a tape's noise (1.5 codes: 1.2 on average by itself) pairs of
    lines do; bwdif takes single lines of full contrast for combs then, which no interlaced camera makes.
    """
    chart = scene(0.0, 576).astype(int)
    chart[100:300, 100:600] = np.where(np.arange(200) // lines % 2, 180, 60)[:, None]
    stretched = np.abs((chart[110:290] + chart[112:292]) / 2 - chart[111:291])[:, 110:590].mean()  # one field's lines
    rng = np.random.default_rng(2)
    colour = [np.full((576, 360), 512), np.full((576, 360), 512)]
    tape = [[np.rint(chart * 4 + rng.normal(0, 4 * noise, chart.shape)), *colour] for _ in range(5)]
    pictures = making(write_pictures(tmp_path / "t.mov", "v210", "yuv422p10le", tape))[2:-2]
    off = [np.abs(picture[0] - chart) for picture in pictures]
    assert max(one[110:290, 110:590].mean() for one in off) < bound < stretched / 10
    assert max(one[310:560].mean() for one in off) < bound


@pytest.fixture(scope="module")
def moving(tmp_path_factory):
    """A simulated tape with motion, its copy as taped, and what went into the coder."""
    folder = tmp_path_factory.mktemp("moving")
    capture = folder / "t.mov"
    write(capture, Tape(pictures=12, seed=5, speed_px=(4.0, 0.6), head_switch_lines=0), Form("v210"))
    write_h264(capture, folder / "c.mp4", None, CopyPlan(**PLAIN), {}, lambda _: None)
    return capture, folder / "c.mp4"


def filtered(name, *paths):
    """Run one of libav's measuring filters over files; each picture's metadata."""
    graph = Graph()
    judge = graph.add(name)
    inputs, files = [], [av.open(str(path)) for path in paths]
    for number, file in enumerate(files):
        stream = file.streams.video[0]
        coder = stream.codec_context
        source = graph.add_buffer(
            width=coder.width, height=coder.height, format="yuv420p", time_base=Fraction(1, 50), name=f"in{number}"
        )
        source.link_to(judge, 0, number)
        inputs.append((source, file.decode(stream)))
    sink = graph.add("buffersink")
    judge.link_to(sink)
    graph.configure()
    told = []
    for number, frames in enumerate(zip(*(frames for _, frames in inputs))):
        for (source, _), frame in zip(inputs, frames):
            frame.pts, frame.time_base = number, Fraction(1, 50)
            source.push(frame)
        try:
            told.append(dict(sink.pull().metadata))
        except av.error.BlockingIOError:
            continue
    for file in files:
        file.close()
    return told


def test_no_moving_picture_has_combs(moving):
    """libav's idet takes the capture's pictures for interlaced and every picture of the copy for progressive."""
    capture, copy = moving
    votes = [one["lavfi.idet.single.current_frame"] for one in filtered("idet", copy)]
    assert len(votes) >= 22 and set(votes) == {"progressive"}
    with av.open(str(capture)) as container:
        combs = [
            _combs(np.frombuffer(f.planes[0], "<u2").reshape(576, -1)[:, :720] / 4) for f in container.decode(video=0)
        ]
    with av.open(str(copy)) as container:
        clean = [_combs(planes(frame)[0]) for frame in container.decode(video=0)]
    assert np.mean(clean) < np.mean(combs) / 2


def _combs(luma):
    """How far lines lie from both their neighbours, on the same side: mean, in codes."""
    up, down = luma[1:-1] - luma[:-2], luma[1:-1] - luma[2:]
    return np.where(up * down > 0, np.minimum(np.abs(up), np.abs(down)), 0).mean()


def test_copy_is_close_to_what_went_into_the_coder(moving, tmp_path):
    """PSNR of luma at least 38 dB and SSIM at least 0.95 on every picture of a tape at 43 dB, by libav's filters."""
    capture, copy = moving
    pictures = making(capture)
    before = write_pictures(tmp_path / "before.mkv", "ffv1", "yuv420p", pictures, rate=50)
    worst = min(float(one["lavfi.psnr.psnr.y"]) for one in filtered("psnr", copy, before))
    alike = min(float(one["lavfi.ssim.Y"]) for one in filtered("ssim", copy, before))
    by_hand = [
        10 * np.log10(255**2 / np.mean((np.array(one[0]) - two[0]) ** 2))
        for one, two in zip(_decoded(copy), pictures, strict=True)
    ]
    assert worst == pytest.approx(min(by_hand), abs=0.05)
    assert worst > 38 and alike > 0.95


def _decoded(path):
    with av.open(str(path)) as container:
        return [planes(frame) for frame in container.decode(video=0)]


CODES = np.array([[0, 16, 64, 128], [180, 235, 250, 255]])


def patches(values, high=96, wide=192):
    return np.kron(values, np.ones((high // values.shape[0], wide // values.shape[1]), int))


def middles(plane, shape=(2, 4)):
    high, wide = plane.shape[0] // shape[0], plane.shape[1] // shape[1]
    return plane[high // 2 :: high, wide // 2 :: wide]


def test_full_range_pictures_come_down_to_video_range(tmp_path):
    """Codes 0 to 255 become 16 to 235, colour 128 +- 112: BT.601 table 3 in 8 bits, JFIF the other way."""
    colour = patches(CODES[:, ::2], 96, 96)
    path = write_pictures(
        tmp_path / "f.mkv", "ffv1", "yuv422p", [[patches(CODES), colour, 255 - colour]] * 2, full=True
    )
    luma, blue, red = making(path, order="progressive")[0]
    assert np.abs(middles(luma) - (16 + CODES * 219 / 255)).max() <= 1
    assert np.abs(middles(blue, (2, 2)) - (128 + (CODES[:, ::2] - 128) * 224 / 255)).max() <= 1
    assert np.abs(middles(red, (2, 2)) - (128 + (127 - CODES[:, ::2]) * 224 / 255)).max() <= 1


def test_red_green_blue_becomes_bt_601(tmp_path):
    """E'Y = 0.299 R + 0.587 G + 0.114 B; code = 16 + 219 E'Y; CB = 128 + 224 (B - Y) / 1.772."""
    colours = np.array(
        [
            [[255, 0, 0], [0, 255, 0], [0, 0, 255], [255, 255, 255]],
            [[0, 0, 0], [200, 100, 50], [20, 60, 180], [128] * 3],
        ]
    )
    packed = np.repeat(np.repeat(colours, 48, axis=0), 48, axis=1)
    path = tmp_path / "r.avi"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("rawvideo", rate=25)
        stream.width, stream.height, stream.pix_fmt = 192, 96, "bgr24"
        frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(packed[:, :, ::-1].astype(np.uint8)), "bgr24")
        frame.pts = 0
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            out.mux(packet)
    luma, blue, red = making(path, order="progressive")[0]
    share = colours / 255
    y = share @ [0.299, 0.587, 0.114]
    assert np.abs(middles(luma) - (16 + 219 * y)).max() <= 1
    assert np.abs(middles(blue, (2, 4)) - (128 + 224 * (share[..., 2] - y) / 1.772)).max() <= 1.5
    assert np.abs(middles(red, (2, 4)) - (128 + 224 * (share[..., 0] - y) / 1.402)).max() <= 1.5


@pytest.mark.parametrize(("form", "codec", "one"), [("yuv422p10le", "v210", 4), ("yuv422p", "rawvideo", 1)])
def test_video_range_stays_and_timing_codes_never_occur(tmp_path, form, codec, one):
    """16 to 235 are as they were, excursions too; 0 and 255 (BT.656: timing) become 1 and 254."""
    colour = patches(CODES[:, ::2], 96, 96)
    whole = [[plane * one + (3 if one == 4 else 0) * (plane == 255) for plane in (patches(CODES), colour, colour)]] * 2
    path = write_pictures(tmp_path / ("t.mov" if codec == "v210" else "t.avi"), codec, form, whole)
    luma, blue, _ = making(path, order="progressive")[0]
    assert np.abs(middles(luma) - np.clip(CODES, 1, 254)).max() <= 1
    assert luma.min() >= 1 and luma.max() <= 254 and blue.min() >= 1 and blue.max() <= 254


@pytest.mark.parametrize(
    ("black", "white", "levels"),
    [
        (16.0, 235.0, None),
        (8.0, 244.0, None),  # within 5 to 246
        (16.0, 252.0, Levels(low=16.0, high=252.0)),
        (1.0, 240.0, Levels(low=1.0, high=235.0)),
        (0.0, 255.0, Levels(low=0.0, high=255.0)),
        (32.0, 235.0, None),  # setup is the tape's own
        (250.0, 252.0, None),  # no contrast: tells nothing
        (None, None, None),
    ],
)
def test_only_levels_past_the_tolerance_are_brought_back(black, white, levels):
    assert plan_levels(report_of("video", 1.0, black_level=black, white_level=white), load_rows()) == levels


def test_white_above_the_limit_becomes_white_in_the_copy_and_is_said(tmp_path):
    """The check found white at 252: the copy has it at 235, 16 at 16, 128 at 16 + 112 x 219 / 236 = 119.9."""
    codes = np.array([[16, 128, 200, 252]] * 2)
    grey = np.full((96, 96), 512)
    capture = write_pictures(tmp_path / "t.mov", "v210", "yuv422p10le", [[patches(codes) * 4, grey, grey]] * 4)
    box = captured_box(tmp_path / "box", [Original(id="v1", carrier="vhs")])
    figures = {"field_order": "progressive", "black_level": 16.0, "white_level": 252.0}
    put_capture(box, "v1", capture, "", report_of("video", 0.16, **figures))
    made = {one.made.role: one.made for one in finish_box(box.folder, Settings()).made}
    luma = _decoded(made["copy"].path)[2][0]
    assert np.abs(middles(luma) - (16 + (codes - 16) * 219 / 236)).max() <= 2
    assert made["copy"].settings["levels_mapped"] == [16.0, 252.0]
    assert [key for key, _ in made["copy"].notes] == ["finish.levels-mapped"] and not made["master"].notes


def test_pictures_that_cannot_be_coded_are_one_sentence(tmp_path):
    """Two lines have no fields to part; FFV1 has no slices for them."""
    capture = write_pictures(
        tmp_path / "t.mkv", "rawvideo", "yuv420p", [[np.zeros((2, 2)), *[np.zeros((1, 1))] * 2]] * 2
    )
    box = captured_box(tmp_path / "box", [Original(id=item, carrier="vhs") for item in ("v1", "v2")])
    put_capture(box, "v1", capture, "", report_of("video", 0.08, field_order="top"))
    put_capture(box, "v2", write_tape(tmp_path / "o.mov", pictures=2, lines=48), "", report_of("video", 0.08))
    done = finish_box(box.folder, Settings())
    assert {one.item for one in done.made} == {"v2"}
    assert [(one.item, one.fault.key) for one in done.skipped] == [("v1", "capture.broken")]


def test_every_second_field_is_just_that(tmp_path):
    """The pictures of a form with every second field are those of the whole one, one by one."""
    capture = write_tape(tmp_path / "t.mov", pictures=5, sound=None)
    whole, half = making(capture), making(capture, every=2)
    assert len(half) == 5 and all(np.array_equal(a[0], b[0]) for a, b in zip(whole[::2], half))
    assert all(not np.array_equal(a[0], b[0]) for a, b in pairwise(half))
