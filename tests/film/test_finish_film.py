"""Finishing films, proved by reading back with libav alone: the same packets, exact times, each picture once."""

from fractions import Fraction

import av
import numpy as np
import pytest
from make.film import Scene, shoot, spread, write_film

from takeup.errors import CopyDiffers, NotPossible
from takeup.media.probe import look_at
from takeup.media.retime import clock_for, look_at_parts, prove_retimed, retime
from takeup.settings import read_settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check_film import check_film
from takeup.tasks.checking import Asked
from takeup.tasks.ears import SILENT
from takeup.tasks.finish_film import finish_film
from takeup.tasks.finishing import Chosen, Place
from takeup.words.sentences import say

SIZE = (96, 128)
SCENES = [Scene(20, "white"), Scene(50, "walk", "coffee"), Scene(50, "hand", "camera"), Scene(20, "clear")]
PICTURES = 140
CODED = {
    "h264": ("mp4", {"options": {"crf": "22", "preset": "medium"}}),  # with B pictures
    "h264-avi": ("avi", {"options": {"crf": "22", "preset": "medium"}}),
    "mjpeg-avi": ("avi", {"codec": "mjpeg", "options": {"q": "4"}}),
}


def film(path, shown=None, **coded):
    return write_film(path, shoot(SCENES, 5, SIZE), shown, **coded)


def finished(tmp_path, paths, keep="both", **known):
    original = Original(id="r1", **{"carrier": "super8", **known})
    asked = Asked(original=original)
    reports = tuple(check_film(path, look_at(path), asked, load_rows()) for path in paths)
    chosen = Chosen(original=original, part="", stored=tuple(paths), relative=(), reports=reports)
    place = Place(masters=tmp_path / "masters", copies=tmp_path / "copies", keep=keep)
    made = finish_film([chosen], place, load_rows(), read_settings(), SILENT)
    for one in made:
        for key, facts in one.notes:
            assert say("notes", key, "en", facts) and say("notes", key, "zh-Hans", facts)
    return {one.role: one for one in made}


def packets(path):
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        return [(bytes(packet), packet.pts * packet.time_base) for packet in container.demux(stream) if packet.size]


def shown_at(path):
    with av.open(str(path)) as container:
        return [frame.pts * frame.time_base for frame in container.decode(video=0)]


def pictures_of(path):
    with av.open(str(path)) as container:
        return [frame.to_ndarray(format="gray") for frame in container.decode(video=0)]


@pytest.mark.parametrize("coded", CODED)
def test_master_holds_the_scanner_s_packets_at_exact_new_times(tmp_path, coded):
    ending, how = CODED[coded]
    path = film(tmp_path / f"reel.{ending}", **how)
    master = finished(tmp_path, [path], keep="master")["master"]
    assert shown_at(master.path) == [Fraction(at, 18) for at in range(PICTURES)]
    assert master.seconds == pytest.approx(PICTURES / 18)
    assert master.settings["clock"][0][-1] == pytest.approx([PICTURES / 20, PICTURES / 18], abs=2e-3)  # file, film
    if coded != "h264-avi":  # AVI sets H.264 units apart otherwise; there the decoded pictures are compared
        assert [data for data, _ in packets(master.path)] == [data for data, _ in packets(path)]
    for before, after in zip(pictures_of(path), pictures_of(master.path), strict=True):
        assert np.array_equal(before, after)


@pytest.mark.parametrize(("speed", "clock"), [("16", 90000), ("18", 90000), ("24", 90000), ("24000/1001", 24000)])
def test_master_clock_is_the_one_in_which_the_rate_is_whole(tmp_path, speed, clock):
    """Check values 3.1: 90 000 ticks a second, and 24 000 for 24000/1001 (1001 ticks a picture)."""
    path = film(tmp_path / "reel.avi", codec="mjpeg", options={"q": "6"}, rate=Fraction(30000, 1001))
    master = finished(tmp_path, [path], keep="master", speed=speed)["master"]
    with av.open(str(master.path)) as container:
        assert container.streams.video[0].time_base == Fraction(1, clock)
        assert container.streams.video[0].average_rate == Fraction(speed)
    assert shown_at(master.path) == [at / Fraction(speed) for at in range(PICTURES)]


def test_repeats_stay_in_the_master_and_go_from_the_copy(tmp_path):
    shown = spread(PICTURES, 2, 3, 1)
    path = film(tmp_path / "reel.mp4", shown, rate=Fraction(24))
    made = finished(tmp_path, [path], speed="16")
    assert len(packets(made["master"].path)) == len(shown)
    assert shown_at(made["master"].path) == [Fraction(at, 24) for at in range(len(shown))]
    assert shown_at(made["copy"].path) == [Fraction(at, 16) for at in range(PICTURES)]
    wanted = pictures_of(path)
    for picture, frame in zip(pictures_of(made["copy"].path), np.flatnonzero(np.diff(shown, prepend=-1)), strict=True):
        assert np.abs(picture.astype(int) - wanted[frame]).mean() < 4  # coded again, but the same picture
    with av.open(str(made["copy"].path)) as container:
        stream = container.streams.video[0]
        assert (stream.codec_context.name, stream.codec_context.pix_fmt) == ("h264", "yuv420p")
    head = made["copy"].path.read_bytes()
    assert head.index(b"moov") < head.index(b"mdat")


def test_parts_are_joined_and_none_is_lost(tmp_path):
    paths = [film(tmp_path / f"reel-{number}.mp4") for number in (1, 2)]
    made = finished(tmp_path, paths, carrier="8mm")
    assert shown_at(made["master"].path) == [Fraction(at, 16) for at in range(2 * PICTURES)]
    assert [data for data, _ in packets(made["master"].path)] == [data for path in paths for data, _ in packets(path)]
    assert len(shown_at(made["copy"].path)) == 2 * PICTURES


def test_parts_of_different_kinds_are_refused_and_nothing_is_made(tmp_path):
    paths = [film(tmp_path / "reel-1.mp4"), film(tmp_path / "reel-2.avi", codec="mjpeg", options={"q": "5"})]
    with pytest.raises(NotPossible) as refused:
        finished(tmp_path, paths)
    assert refused.value.key == "film.parts-differ"
    assert say("faults", refused.value.key, "zh-Hans", refused.value.facts)
    assert not (tmp_path / "masters").exists()


@pytest.mark.parametrize(("speed", "kept"), [("24", True), (None, False)])
def test_sound_goes_along_only_at_its_own_speed(tmp_path, speed, kept):
    path = film(tmp_path / "reel.mp4", rate=Fraction(24), sound="voice")
    made = finished(tmp_path, [path], speed=speed)
    for one in made.values():
        with av.open(str(one.path)) as container:
            assert bool(container.streams.audio) is kept
        assert ("finish.film-sound-left" in [key for key, _ in one.notes]) is not kept


def test_a_changed_byte_is_noticed_when_the_master_is_read_back(tmp_path):
    path = film(tmp_path / "reel.avi", codec="mjpeg", options={"q": "5"})
    parts, times = look_at_parts([path]), [Fraction(at, 18) for at in range(PICTURES + 1)]
    target = tmp_path / "master.mp4"
    made = retime(parts, target, times, codecs=["mjpeg"])
    prove_retimed(target, parts, times, made)
    data = bytearray(target.read_bytes())
    data[data.index(b"mdat") + 4000] ^= 1
    target.write_bytes(bytes(data))
    with pytest.raises(CopyDiffers):
        prove_retimed(target, parts, times, made)


def test_a_codec_without_place_in_mp4_is_refused_plainly(tmp_path):
    path = film(tmp_path / "reel.avi", codec="huffyuv", pixel_format="yuv422p", options={"pred": "left"})
    with pytest.raises(NotPossible) as refused:
        finished(tmp_path, [path], keep="master")
    assert refused.value.key == "film.not-for-mp4"


@pytest.mark.parametrize(("rate", "clock"), [("18", 90000), ("24000/1001", 24000), ("27", 27000), ("50/3", 90000)])
def test_clock_for_holds_every_time_exactly(rate, clock):
    times = [at / Fraction(rate) for at in range(100)]
    assert clock_for(times) == clock
    assert all((time * clock_for(times)).denominator == 1 for time in times)
