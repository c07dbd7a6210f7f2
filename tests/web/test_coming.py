"""A place of a capture is heard and seen while the capture is still on its way, as soon as that much has come."""

from __future__ import annotations

import io
import struct
import wave
from fractions import Fraction

import av
import numpy as np
import pytest
from make import tiny

from takeup.errors import Unreadable
from takeup.files.pieces import part_of
from takeup.lab.live import keep_event
from takeup.lab.port import add, change, now
from takeup.lab.schema import CAPTURE
from takeup.media.arrived import arrived_from, seconds_of_wave, write_arrived_pictures, write_arrived_sound
from takeup.media.excerpt import sound_blocks, stills_at
from takeup.tasks.station_taking import INCOMING

ID = "0123456789abcdef01234567"
LATER = "still at the station"
SECONDS = 20.0


@pytest.fixture(scope="module")
def samples():
    """Noise of its own: no two stretches are alike."""
    return np.random.default_rng(5).uniform(-0.5, 0.5, (int(SECONDS * 48000), 2))


@pytest.fixture(scope="module")
def whole_wav(tmp_path_factory, samples):
    return tiny.write_wav(tmp_path_factory.mktemp("coming") / "w.wav", samples).read_bytes()


@pytest.fixture
def coming(desk, box):
    """Makes the capture's row, with a finding at 5 s and one at 15 s."""

    def make(state="moving", path="/captures/k1.wav", **more):
        about = {"path": path, "carrier": "cassette", "family": "sound"}
        with desk.lab.writing() as db:
            add(db, CAPTURE, id=ID, station_id="cassette-1", box_id=box["id"], item="k1", part="a", name="k1-a.wav",
                state=state, begun_at=now(), heard_at=now(), verdict="", stored="", why="",
                facts=about, **{"sha256": "0" * 64} | more)  # fmt: skip
            for number, at_s in enumerate((5.0, 15.0), 1):
                finding = {"name": "clipping", "verdict": "redo", "again": "helps", "from_s": at_s, "to_s": at_s + 1}
                words = {
                    "en": {"why": f"Cut off at {at_s}.", "do": "Turn down."},
                    "zh-Hans": {"why": "削平", "do": "调低"},
                }
                facts = {"capture": ID, "key": f"{ID}/clipping/{at_s}", "finding": finding, "words": words}
                keep_event(db, "cassette-1", "s", number, "finding", facts, capture_id=ID)
        return f"/boxes/{box['number']}/coming/{ID}"

    return make


def receive(desk, data):
    part = part_of(desk.home / INCOMING, ID)
    part.parent.mkdir(parents=True, exist_ok=True)
    part.write_bytes(data)
    with desk.lab.writing() as db:
        change(db, CAPTURE, ID, None, received=len(data))


def heard(answer):
    assert answer.status_code == 200 and answer.headers["content-type"] == "audio/wav"
    with wave.open(io.BytesIO(answer.content)) as piece:
        assert (piece.getframerate(), piece.getnchannels(), piece.getsampwidth()) == (48000, 2, 2)
        return np.frombuffer(piece.readframes(piece.getnframes()), "<i2").reshape(-1, 2)


def as_written(samples, from_s, to_s):
    """What the wave module was given: whole numbers of 16 bits."""
    return np.round(samples[round(from_s * 48000) : round(to_s * 48000)] * 2**15).clip(-(2**15), 2**15 - 1)


def test_pieces_that_have_come_are_played_from_two_seconds_before(desk, maren, coming, samples, whole_wav):
    """192,000 bytes a second: after 1,500,000 bytes 7.81 s have come, so the place at 5 s is there and 15 s is not."""
    url = coming(bytes=len(whole_wav), seconds=SECONDS)
    page = maren.look(url).text
    assert page.count(LATER) == 2 and "<audio" not in page
    assert maren.look(f"{url}/play?from=3.0").status_code == 404
    receive(desk, whole_wav[:1_500_000])
    page = maren.look(url).text
    assert page.count(LATER) == 1 and f"{url}/play?from=3.0" in page and "39 of 100" in page
    assert "削平" in maren.look(f"{url}?lang=zh-Hans").text and "Cut off at 5.0." in maren.look(f"{url}?lang=en").text
    got = heard(maren.look(f"{url}/play?from=3.0"))
    assert 4.8 < len(got) / 48000 < 4.82
    assert np.abs(got - as_written(samples, 3.0, 3.0 + len(got) / 48000)).max() <= 1
    answer = maren.look(f"{url}/play?from=13.0")
    assert answer.status_code == 404 and LATER in answer.text
    receive(desk, whole_wav)
    assert len(heard(maren.look(f"{url}/play?from=13.0"))) == 7 * 48000  # its end


def test_on_a_shared_disk_the_station_own_growing_file_is_played(desk, maren, coming, samples, whole_wav, tmp_path):
    grows = tmp_path / "station" / "k1.wav"
    grows.parent.mkdir()
    head = bytearray(whole_wav[:1_700_000])
    struct.pack_into("<I", head, 4, 0)
    struct.pack_into("<I", head, 40, 0)  # a capture program closes it when it ends
    grows.write_bytes(head)
    url = coming(state="growing", path=str(grows), sha256="")
    assert maren.look(url).text.count(LATER) == 2  # its station has said nothing of it yet
    desk.wire.tell("cassette-1", "progress", {"capture": ID, "seconds": 8.0, "bytes": len(head) - 96_000})
    page = maren.look(url).text
    assert "being captured now" in page and page.count(LATER) == 1
    got = heard(maren.look(f"{url}/play?from=3.0"))
    assert 5.8 < len(got) / 48000 < 5.85
    assert np.abs(got - as_written(samples, 3.0, 3.0 + len(got) / 48000)).max() <= 1
    desk.wire.tell("cassette-1", "progress", {"capture": ID, "seconds": 8.0, "bytes": len(head) + 1})
    assert maren.look(f"{url}/play?from=3.0").status_code == 404  # shorter than the station's: it is another file


def test_a_file_below_the_home_or_of_another_time_is_no_station_file(desk, maren, coming, whole_wav, tmp_path):
    inside = desk.home / "k1.wav"
    inside.write_bytes(whole_wav)
    url = coming(state="growing", path=str(inside), sha256="")
    told = {"capture": ID, "seconds": SECONDS, "bytes": len(whole_wav)}
    desk.wire.tell("cassette-1", "progress", told)
    assert maren.look(f"{url}/play?from=3.0").status_code == 404
    old = tmp_path / "old.wav"
    old.write_bytes(whole_wav)
    import os

    os.utime(old, (1e9, 1e9))
    with desk.lab.writing() as db:
        change(db, CAPTURE, ID, None, facts={"path": str(old), "carrier": "cassette", "family": "sound"})
    assert maren.look(f"{url}/play?from=3.0").status_code == 404


def test_what_is_on_its_way_is_reached_from_where_people_look(desk, maren, tan, ola, coming, box, whole_wav):
    url = coming(bytes=len(whole_wav), seconds=SECONDS)
    assert url in maren.look(f"/boxes/{box['number']}/captures").text and url in ola.look("/stations").text
    assert tan.look(url).status_code == 200  # one's own
    with desk.lab.writing() as db:
        change(db, CAPTURE, ID, None, box_id=None)
    assert maren.look(url).status_code == 404 and tan.look(f"/stations/coming/{ID}").status_code in (403, 404)
    receive(desk, whole_wav)
    nobodys = maren.look(f"/stations/coming/{ID}")
    assert nobodys.status_code == 200 and f"/stations/coming/{ID}/play?from=3.0" in nobodys.text
    assert len(heard(maren.look(f"/stations/coming/{ID}/play?from=3.0"))) == 8 * 48000
    assert maren.look("/stations/coming/nothing").status_code == 404


@pytest.mark.parametrize(("container", "codec"), [("matroska", "ffv1"), ("matroska", "libx264"), ("avi", "ffv1")])
def test_moving_pictures_are_shown_out_of_half_a_file(tmp_path, container, codec):
    """Pictures of one grey each, its code 40 + 2 for each second: the first of the stretch tells where it begins. Of
    24 s half the bytes are read; 9.0 s are there, 20 s are not. A key picture each second as recorders write."""
    path, rate = tmp_path / f"k.{'mkv' if container == 'matroska' else 'avi'}", 10
    noise = np.random.default_rng(1)
    options = {"cluster_time_limit": "1000"} if container == "matroska" else {}
    with av.open(str(path), "w", format=container, options=options) as out:
        coder = out.add_stream(codec, rate=rate, options={"g": "10"} if codec == "libx264" else {})
        coder.width, coder.height, coder.pix_fmt = 96, 64, "yuv420p"
        sound = out.add_stream("pcm_s16le", rate=48000, layout="stereo")
        for at in range(24 * rate):
            planes = np.full((96, 96), 128, np.uint8)
            planes[:64] = 40 + 2 * (at // rate) + noise.integers(-1, 2, (64, 96))
            picture = av.VideoFrame.from_ndarray(planes, "yuv420p")
            picture.pts, picture.time_base = at, Fraction(1, rate)
            out.mux(coder.encode(picture))
            level = np.full((1, 2 * 4800), 100 * (at // rate), np.int16)
            block = av.AudioFrame.from_ndarray(level, "s16", "stereo")
            block.sample_rate, block.pts, block.time_base = 48000, at * 4800, Fraction(1, 48000)
            out.mux(sound.encode(block))
        out.mux(coder.encode(None))
    upto = path.stat().st_size // 2
    with path.open("rb") as file:
        (still,) = stills_at(arrived_from(file, upto, 9.0), [9.0])
        first = next(iter(sound_blocks(arrived_from(file, upto, 9.0), 9.0, 1.0)))
    grey = np.asarray(_grey(still.jpeg))
    assert abs(float(grey.mean()) - (40 + 2 * 9 - 16) * 255 / 219) < 2.5 and int(np.median(first)) == 900
    made = tmp_path / "piece.mp4"
    assert 1.0 <= write_arrived_pictures(path, upto, made, 9.0, 8.0) <= 4.0
    with pytest.raises(Unreadable) as told:
        write_arrived_pictures(path, upto, made, 20.0, 8.0)
    assert told.value.key == "excerpt.not-here-yet"
    with pytest.raises(Unreadable):
        write_arrived_sound(path, upto, made, 20.0, 8.0)
    assert seconds_of_wave(path, upto, open_end=True) is None


def _grey(jpeg):
    from PIL import Image

    return Image.open(io.BytesIO(jpeg)).convert("L")


def test_a_place_is_heard_at_the_station_while_it_grows(desk, somebody, maren, box, coming, samples, whole_wav):
    """Five seconds from two before it: 3 s to 7.8 s have come of the pieces."""
    import re

    page = maren.send("/stations/cassette-1/screen", "/stations/cassette-1/screen/code").text
    screen = somebody()
    code = re.search(r'class="code" role="status">([^<]+)<', page)[1]
    screen.send("/station", "/station/pair", code=code)
    screen.send("/station", "/station/begin", code=box["code"])
    screen.send("/station?view=choose", "/station/choose", item="k1", part="a")
    coming(bytes=len(whole_wav), seconds=SECONDS)
    link = f"/station/listen?capture={ID}&amp;at=5.0"
    assert link not in screen.look("/station").text
    assert LATER in screen.look(f"/station/listen?capture={ID}&at=5").text
    receive(desk, whole_wav[:1_500_000])
    page = screen.look("/station").text
    assert link in page and "at=15.0" not in page
    got = heard(screen.client.get(f"/station/listen?capture={ID}&at=5.0"))
    assert np.abs(got - as_written(samples, 3.0, 3.0 + len(got) / 48000)).max() <= 1
