"""What telephones, cameras and damaged disks leave in files: turned pictures, holes, counts that wobble."""

import struct
from fractions import Fraction
from types import SimpleNamespace

import av
import numpy as np
import pytest
from make.video import NTSC, Form, Tape, coded, render, to_frame, write

from takeup.measure.video.clock import drift
from takeup.measure.video.whole import Walk
from takeup.media.moving import Picture, look_at_moving, read_moving
from takeup.media.moving_blocks import scan_has_a_hole
from takeup.media.moving_copy import CopyPlan, read_starts, write_h264
from takeup.media.moving_look import rate_of
from takeup.tables.loader import load_rows
from takeup.tasks.check_video import SECTIONS

WIDE, HIGH = 192, 128
ONE = 1 << 16  # 1 in the matrix of a track header, 16.16 fixed point (ISO/IEC 14496-12, 8.3.2)
MATRICES = {90: (0, ONE, -ONE, 0), 180: (-ONE, 0, 0, -ONE), 270: (0, -ONE, ONE, 0)}  # a, b, c, d


def scene(number):
    """Grey noise that moves, its upper left corner white: 4:2:0."""
    rng = np.random.default_rng(number)
    luma = np.clip(rng.normal(90, 6, (HIGH, WIDE)), 16, 235).astype(np.uint8)
    luma[: HIGH // 2, : WIDE // 2] = 220
    colour = np.full((HIGH // 2, WIDE // 2), 128, np.uint8)
    return luma, colour, colour


def phone_clip(path, pictures=12, *, sound=False, keys=250, late=0):
    """H.264 in MP4 as a telephone writes it, with AAC on request, ``late`` samples after the picture."""
    with av.open(str(path), "w") as file:
        stream = file.add_stream("libx264", rate=30, options={"preset": "ultrafast", "g": str(keys), "bf": "0"})
        stream.width, stream.height, stream.pix_fmt = WIDE, HIGH, "yuv420p"
        track = file.add_stream("aac", rate=48000, layout="mono") if sound else None
        for number in range(pictures):
            frame = to_frame(scene(number), "yuv420p")
            frame.pts, frame.time_base = number, Fraction(1, 30)
            file.mux(stream.encode(frame))
        file.mux(stream.encode(None))
        for at in range(0, pictures * 1600, 1024) if track is not None else ():
            tone = np.sin(np.arange(at, at + 1024) * 0.05)[None].astype(np.float32)
            frame = av.AudioFrame.from_ndarray(tone, "fltp", "mono")
            frame.sample_rate, frame.pts = 48000, at + late
            file.mux(track.encode(frame))
        if track is not None:
            file.mux(track.encode(None))
    return path


@pytest.mark.parametrize(("turn", "corner"), [(90, (0, 1)), (180, (1, 1)), (270, (1, 0))])
def test_a_turned_picture_stands_upright_in_its_copy(tmp_path, turn, corner):
    """The white upper left corner goes, clockwise, to the upper right, the lower right, the lower left."""
    path = phone_clip(tmp_path / "a.mp4", 3)
    data = bytearray(path.read_bytes())
    a, b, c, d = MATRICES[turn]
    struct.pack_into(">9i", data, data.index(b"tkhd") + 44, a, b, 0, c, d, 0, 0, 0, 1 << 30)
    path.write_bytes(data)
    plan = CopyPlan(
        order="progressive", shape=Fraction(1), crf=20, preset="ultrafast", profile="high", key_s=1.0, primaries=2,
        transfer=2, matrix=2, turn=look_at_moving(path).picture.turn,
    )  # fmt: skip
    made = write_h264(path, tmp_path / "b.mp4", None, plan, {}, lambda _: None)
    with av.open(str(tmp_path / "b.mp4")) as copy:
        luma = next(copy.decode(video=0)).to_ndarray(format="gray").astype(float)
    high, wide = (WIDE, HIGH) if turn % 180 else (HIGH, WIDE)
    assert plan.turn == turn and (made.height, made.width) == luma.shape == (high, wide)
    parts = {(row, column): luma[row * high // 2 :, column * wide // 2 :][: high // 2, : wide // 2].mean()
             for row in (0, 1) for column in (0, 1)}  # fmt: skip
    assert max(parts, key=parts.get) == corner


def test_sound_begins_where_its_decoder_begins(tmp_path):
    """AAC's first packet stands 1024 samples before the first sample; nobody hears it."""
    starts = read_starts(phone_clip(tmp_path / "a.mp4", sound=True))
    assert starts.sound_later_s == pytest.approx(0.0, abs=0.001)


@pytest.mark.parametrize(
    ("guess", "mean", "rate"),
    [
        (NTSC, Fraction(900000, 31031), NTSC),  # three of ninety pictures missing: 29.0 on the mean
        (NTSC, Fraction(29700, 1001), NTSC),  # one of a hundred missing
        (Fraction(30000, 1001), Fraction(60000), NTSC),  # DV in an AVI: the mean is the clock's
        (Fraction(1000, 33), NTSC, NTSC),  # steps of whole thousandths
        (Fraction(30), NTSC, NTSC),
        (Fraction(1350000, 47527), Fraction(1350000, 47527), Fraction(1350000, 47527)),
        (None, Fraction(25), Fraction(25)),
        (None, None, None),
    ],
)
def test_of_two_rates_the_usual_one_is_taken(guess, mean, rate):
    assert rate_of(SimpleNamespace(guessed_rate=guess, average_rate=mean)) == rate


def test_unlocked_sound_of_dv_is_no_drift(tmp_path):
    """IEC 61834: 1580 to 1620 samples a picture, 1601.6 on the mean (48000 x 1001 / 30000); in their sum no drift."""
    path = tmp_path / "a.avi"
    with av.open(str(path), "w", format="dv") as file:
        stream = file.add_stream("dvvideo", rate=NTSC)
        track = file.add_stream("pcm_s16le", rate=48000, layout="stereo")
        stream.width, stream.height, stream.pix_fmt = 720, 480, "yuv411p"
        frame = to_frame(coded(next(render(Tape(pictures=1, lines=480))), "yuv411p"), "yuv411p")
        frame.pts, frame.time_base = 0, 1 / NTSC
        file.mux(stream.encode(frame))
        quiet = av.AudioFrame.from_ndarray(np.zeros((1, 3204), np.int16), "s16", "stereo")
        quiet.sample_rate = 48000
        file.mux(track.encode(quiet))
    picture = path.read_bytes()[:120000]
    rng, wanted, given = np.random.default_rng(8), 0.0, 0
    pictures = []
    for _ in range(90):
        wanted += 1601.6
        count = int(np.clip(wanted - given + rng.uniform(-18, 18), 1580, 1620))
        given += count
        pictures.append(with_samples(picture, count))
    path.with_suffix(".dv").write_bytes(b"".join(pictures))
    capture = look_at_moving(path.with_suffix(".dv"))
    things = list(read_moving(path.with_suffix(".dv"), capture))
    at = [thing.at_s for thing in things if isinstance(thing, Picture)]
    sound = [thing for thing in things if not isinstance(thing, Picture)]
    samples = sum(len(thing.samples) for thing in sound)
    found = drift(
        at, 1001 / 30000, [(one.at_s, one.first) for one in sound], samples, 48000, load_rows().section("video.sync")
    )
    assert samples == given and len(at) == 90
    assert found.shape == "none" and found.drift_ms == pytest.approx(1000 * (given / 48000 - 90 * 1001 / 30000))


def with_samples(picture, count):
    """A DV picture whose audio source packs (0x50) say that sound is unlocked and how many samples it has."""
    out = bytearray(picture)
    for sequence in range(10):
        for block in range(9):
            at = 12000 * sequence + 80 * (6 + 16 * block) + 3
            if out[at] == 0x50:
                out[at + 1] = out[at + 1] & 0xC0 | 0x80 | count - 1580
    return bytes(out)


def test_damage_goes_on_until_a_picture_stands_alone(tmp_path):
    """Key pictures at 0, 10 and 20; the packet of picture 13 is overwritten: 13 to 19 show it at most."""
    path = phone_clip(tmp_path / "a.mp4", 30, keys=10)
    with av.open(str(path)) as file:
        place = [(packet.pos, packet.size) for packet in file.demux(video=0) if packet.size][13]
    data = bytearray(path.read_bytes())
    data[place[0] + 4 : sum(place)] = bytes([0xFF]) * (place[1] - 4)
    path.write_bytes(data)
    reading = read_moving(path, look_at_moving(path))
    damaged = {round(one.at_s * 30) for one in reading if one.damaged}
    assert reading.faults and damaged and damaged <= set(range(12, 20)) and 19 in damaged


def test_what_a_decoder_made_up_counts_for_no_level():
    rows = load_rows()
    walk = Walk({name: rows.section(f"video.{name}") for name in SECTIONS}, 8, True)
    for number in range(4):
        luma, *colour = (plane.copy() for plane in scene(number))
        if number == 2:
            luma[:] = 255 - luma
        walk.step((luma, *colour), number / 25, key=True, damaged=number == 2)
    assert walk.counted.pictures == 3 and walk.damaged == [2] and walk.kinds == ["picture"] * 4


def test_an_avi_that_counts_moments_states_no_pictures(tmp_path):
    """Ten pictures on every 24th of 600 moments a second: 0.4 s, not ten times 24 pictures."""
    tape = Tape(pictures=10, scene=lambda _: tuple(np.full((576, 720), code, np.float32) for code in (90, 128, 128)))
    write(tmp_path / "a.avi", tape, Form("dv", rate=Fraction(600), stamps=lambda number: 24 * number))
    stream = look_at_moving(tmp_path / "a.avi").picture
    assert stream.pictures_stated is None and stream.seconds_stated == pytest.approx(0.4, abs=0.05)


@pytest.mark.parametrize(
    ("scan", "behind", "hole"),
    [(b"\x12" * 4000, b"", False), (b"\x12" * 4000, bytes(2000), False), (b"\x12" * 900 + bytes(600), b"", True)],
)
def test_a_hole_in_a_scan_is_told_and_filling_behind_it_is_not(scan, behind, hole):
    picture = b"\xff\xd8\xff\xe0\x04\x02" + bytes(1024) + b"\xff\xda\x00\x0c" + scan + b"\xff\xd9" + behind
    assert scan_has_a_hole(picture) is hole


@pytest.mark.parametrize("late", [0, 2400, 7200, 19200])
def test_sound_that_begins_late_in_an_mp4_begins_when_it_was_made_to(tmp_path, late):
    """Times of MP4 stand on a grid of its own: one sample of 48 kHz in 32 is what its writer rounds to."""
    path = phone_clip(tmp_path / "late.mp4", sound=True, late=late)
    first = next(iter(read_moving(path, look_at_moving(path), pictures=False)))
    assert first.at_s == pytest.approx(late / 48000, abs=0.001)
