"""Following a capture in simulated time: whatever the capture program does with its file, the same end, and soon."""

from __future__ import annotations

import json
import os
import struct
from pathlib import Path

import numpy as np
import pytest
from make.sound import hiss, side, talk, tone, write
from make.station import Clock, Station, run_by

from takeup.errors import Unreadable
from takeup.streams import Original
from takeup.tasks.check import check_file
from takeup.tasks.checking import Asked
from takeup.tasks.follow import follow
from takeup.tasks.reporting import event_answer

RATE = 24_000
ASKED = Asked(original=Original(id="t1", carrier="cassette"))
CLIPPED_S = (5.0, 5.5)
LIST = b"LIST" + struct.pack("<I", 26) + b"INFOISFT" + struct.pack("<I", 14) + b"a program 1.0\0"
BEXT = b"bext" + struct.pack("<I", 9000) + b"\x7f\xff\x80\x00" * 2250


@pytest.fixture(scope="module")
def clipped() -> bytes:
    """12.5 s: leader, hiss, somebody talking with half a second that ran into the top, hiss, leader."""
    rng = np.random.default_rng(6)
    samples = side(talk(rng, 5, RATE), rng, RATE, programme_dbfs=-28, after_s=(3.0, 0.5))
    first, last = (round(at * RATE) for at in CLIPPED_S)
    samples[first:last] = np.clip(tone(300, 6, (last - first) / RATE, RATE), -1, 1)
    return packed(samples)


def packed(samples: np.ndarray) -> bytes:
    whole = np.round(np.clip(samples, -1, 1 - 2**-23) * 2**23).astype("<i4")
    return whole.reshape(-1, 1).view(np.uint8)[:, :3].tobytes()


def followed(station: Station, monkeypatch, idle_s: float = 5.0) -> list[tuple[float, str, dict, object]]:
    """Every event with the moment at which it was told."""
    clock = Clock(station)
    run_by(clock, monkeypatch)
    events: list[tuple[float, str, dict, object]] = []
    follow(station.path, ASKED, idle_s, lambda event, facts, one: events.append((clock.now, event, facts, one)))
    monkeypatch.undo()
    return events


def last_words(events) -> list[str]:
    """The findings as they stand in the end: the last told under each name and start."""
    told = {(one.name, one.from_s): one for _, event, _, one in events if event == "finding"}
    return sorted(map(str, told.values()))


CHECKED: dict[bytes, tuple[list[str], str, float | None]] = {}


def in_the_end(station: Station) -> tuple[list[str], str, float | None]:
    """What a check of the whole file says. Many writers end with the same bytes: those are checked once."""
    whole = station.path.read_bytes()
    if whole not in CHECKED:
        _, report = check_file(station.path, ASKED)
        CHECKED[whole] = sorted(map(str, report.findings)), report.verdict, report.seconds
    return CHECKED[whole]


WRITERS = {
    "tiny": {"piece": 617},
    "odd bytes": {"piece": 4801},
    "seconds at once": {"piece": 600_000},
    "pauses": {"pauses": ((2.0, 4.2), (6.0, 7.5))},
    "all ones": {"header": "ones"},
    "closed in the end": {"header": "end"},
    "kept up": {"header": "always", "piece": 28_801},
    "stated beforehand": {"header": "full"},
    "text, never closed": {"text": LIST},
    "much text, never closed": {"text": BEXT + LIST},
    "text, then closed": {"header": "end", "text": BEXT + LIST},
    "text, kept up": {"header": "always", "text": LIST},
    "long file form": {"header": "rf64", "text": LIST},
    "long file form, large pieces": {"header": "rf64", "piece": 700_001},
}


@pytest.fixture(scope="module")
def told_of(tmp_path_factory, clipped):
    """The station and what was told of its capture, by how it writes: followed once, asked about by two tests."""
    done: dict[str, tuple[Station, list]] = {}

    def told(how: str) -> tuple[Station, list]:
        if how not in done:
            station = Station(tmp_path_factory.mktemp("station") / "a.wav", clipped, **WRITERS[how])
            done[how] = station, followed(station, pytest.MonkeyPatch())
        return done[how]

    return told


@pytest.mark.parametrize("how", WRITERS)
def test_following_ends_as_checking_does_whatever_the_writer_does(told_of, how):
    """From the samples themselves: 12.5 s, cut tops from 5.0 to 5.5 s; no text is heard as sound."""
    station, events = told_of(how)
    findings, verdict, seconds = in_the_end(station)
    assert last_words(events) == findings
    assert events[-1][1:3] == ("end", {"seconds": seconds, "verdict": verdict})
    assert seconds == pytest.approx(12.5, abs=1e-4) and verdict == "redo"
    tops = [one for _, event, _, one in events if event == "finding" and one.name == "clipping"]
    assert [one.from_s for one in tops] == [tops[0].from_s] * len(tops)
    assert tops[0].from_s == pytest.approx(CLIPPED_S[0], abs=0.011)
    assert tops[-1].to_s == pytest.approx(CLIPPED_S[1], abs=0.011)


@pytest.mark.parametrize("how", ["tiny", "odd bytes", "kept up", "text, then closed", "long file form"])
def test_cut_tops_are_told_within_two_seconds_and_levels_ten_times_a_second(told_of, how):
    _, events = told_of(how)
    first = next(at for at, event, _, one in events if event == "finding" and one.name == "clipping")
    assert CLIPPED_S[0] < first < CLIPPED_S[0] + 2.0
    shown = [facts["seconds"] for _, event, facts, _ in events if event == "progress"]
    assert shown == pytest.approx([0.1 * (at + 1) for at in range(len(shown))])
    assert len(shown) in (124, 125)  # the last one may wait for what is kept back


def test_levels_are_those_of_the_last_tenth_of_a_second(tmp_path, monkeypatch):
    """A sine of peak A reads A / sqrt(2) RMS: -6.02 dBFS peak is -9.03 dBFS; the right channel is 20 dB under it."""
    sound = np.concatenate([np.zeros((RATE, 2)), tone(1000, -6.0206, 1.0, RATE) * [1, 0.1], np.zeros((RATE, 2))])
    events = followed(Station(tmp_path / "a.wav", packed(sound)), monkeypatch)
    levels = {facts["seconds"]: facts["levels"] for _, event, facts, _ in events if event == "progress"}
    assert levels[1.0]["left_dbfs"] is None and levels[1.0]["peak_dbfs"] is None
    for at in (1.1, 1.5, 2.0):
        assert levels[at]["left_dbfs"] == pytest.approx(-9.03, abs=0.06)
        assert levels[at]["right_dbfs"] == pytest.approx(-29.03, abs=0.06)
        assert levels[at]["left_peak_dbfs"] == levels[at]["peak_dbfs"] == pytest.approx(-6.02, abs=0.06)
        assert levels[at]["right_peak_dbfs"] == pytest.approx(-26.02, abs=0.06)
    assert levels[2.1]["left_dbfs"] is None


def noticed(events) -> list[tuple[str, float]]:
    """Each notice with the second in which it was first said, in a row."""
    said: list[tuple[str, float]] = []
    for _, event, facts, _ in events:
        name = facts["notice"].says if event == "progress" and "notice" in facts else ""
        if event == "progress" and name != (said[-1][0] if said else ""):
            said.append((name, facts["seconds"]))
    return said


@pytest.mark.parametrize("which, channels", [("left", [0, 1]), ("right", [1, 0]), ("heard", [0, 0])])
@pytest.mark.parametrize("floor_dbfs", [-200, -82])
def test_a_cable_that_is_not_plugged_in_is_said_within_seconds(tmp_path, monkeypatch, which, channels, floor_dbfs):
    """Digital zero, or the noise of an open input (-82 dBFS), also on an offset of 1 %; gone once the cable is in."""
    rng = np.random.default_rng(4)
    sound = 0.1 * talk(rng, 12, RATE)[:, None] * channels + 0.01 + hiss(rng, floor_dbfs, 12 * RATE)
    sound[round(8 * RATE) :] += 0.05 * talk(rng, 4, RATE)[:, None] + hiss(rng, -58, 4 * RATE)
    events = followed(Station(tmp_path / "a.wav", packed(sound)), monkeypatch)
    said = noticed(events)
    assert said[0][0] == f"nothing-{which}" and 3.9 <= said[0][1] < 5.0
    assert said[1][0] == "" and said[1][1] == pytest.approx(8.1, abs=0.15)
    assert not any(event == "finding" and one.name == "silence" for _, event, _, one in events)


def test_what_is_too_hot_or_too_quiet_until_now_is_said(tmp_path, monkeypatch):
    """Peaks of -40 dBFS for 31 s, then a tone of -2 dBFS peak, then -10 dBFS for 12 s: hot is said while recent."""
    parts = [tone(440, -40, 31.0, RATE), tone(440, -2, 1.0, RATE), tone(440, -10, 12.0, RATE)]
    events = followed(Station(tmp_path / "a.wav", packed(np.concatenate(parts))), monkeypatch)
    assert [name for name, _ in noticed(events)] == ["level-low", "level-high", ""]
    assert [at for _, at in noticed(events)] == pytest.approx([30.0, 31.1, 42.0], abs=0.11)


@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
def test_every_notice_is_worded_as_json(tmp_path, monkeypatch, lang):
    parts = [
        np.zeros((5 * RATE, 2)),
        tone(440, -40, 31.0, RATE) * [1, 0],
        tone(440, -1, 1.0, RATE),
        tone(440, -9, 6.0, RATE) * [0, 1],
    ]
    events = followed(Station(tmp_path / "a.wav", packed(np.concatenate(parts))), monkeypatch)
    notices = [event_answer(facts, lang)["notice"] for _, _, facts, _ in events if "notice" in facts]
    assert {one["name"] for one in notices} == {"nothing-heard", "nothing-right", "level-high", "nothing-left"}
    for one in notices:
        told = json.loads(json.dumps(one, allow_nan=False))
        assert told["why"] and told["do"] and "?" not in told["why"]


def test_a_good_side_is_followed_without_a_notice_once_it_plays(tmp_path, monkeypatch):
    rng = np.random.default_rng(8)
    sound = side(talk(rng, 20, RATE), rng, RATE, programme_dbfs=-24, after_s=(6.0, 1.0))
    events = followed(Station(tmp_path / "a.wav", packed(sound)), monkeypatch)
    assert noticed(events) == [] and events[-1][2]["verdict"] == "good"


def renamed(path: Path) -> None:
    path.rename(path.with_suffix(".moved"))


def replaced(path: Path) -> None:
    other = path.with_suffix(".other")
    other.write_bytes(path.read_bytes())
    os.replace(other, path)


def shortened(path: Path) -> None:
    os.truncate(path, 10_000)


@pytest.mark.parametrize(
    "what, fault", [(renamed, "gone"), (Path.unlink, "gone"), (replaced, "replaced"), (shortened, "shrank")]
)
@pytest.mark.parametrize("form", ["WAV", "FLAC"])
def test_a_file_that_is_no_longer_itself_ends_the_following(tmp_path, monkeypatch, clipped, what, fault, form):
    if form == "WAV":
        station = Station(tmp_path / "a.wav", clipped)
    else:
        coded = write(
            tmp_path / "b", hiss(np.random.default_rng(2), -30, 12 * RATE), RATE, subtype="PCM_16", form="FLAC"
        )
        station = Station(tmp_path / "a.flac", coded.read_bytes()[:300_000])
        station.path.write_bytes(b"")
    station.at[1.5] = lambda: (what(station.path), setattr(station, "closed", True))[0]
    with pytest.raises(Unreadable) as told:
        followed(station, monkeypatch)
    assert told.value.key == f"follow.{fault}" and told.value.exit_status == 2


def test_room_taken_beforehand_and_given_back_is_no_loss(tmp_path, monkeypatch, clipped):
    """The last 3000 bytes are not handed out while the header is open; cutting them off leaves what was heard true."""
    station = Station(tmp_path / "a.wav", clipped, piece=4096)
    station.at[20.0] = lambda: os.truncate(station.path, station.path.stat().st_size - 3000)
    events = followed(station, monkeypatch, idle_s=9.0)
    assert last_words(events) == in_the_end(station)[0]


def test_a_header_that_becomes_another_one_ends_the_following(tmp_path, monkeypatch, clipped):
    station = Station(tmp_path / "a.wav", clipped, header="end")
    station.at[12.6] = lambda: station._put(24, struct.pack("<II", 44_100, 44_100 * 6))
    with pytest.raises(Unreadable) as told:
        followed(station, monkeypatch)
    assert told.value.key == "follow.header-changed"


def test_a_header_half_written_for_a_moment_changes_nothing(tmp_path, monkeypatch, clipped):
    station = Station(tmp_path / "a.wav", clipped)
    whole: list[bytes] = []
    station.at[2.0] = lambda: (whole.append(station.path.read_bytes()[:44]), station._put(0, bytes(44)))[0]
    station.at[3.4] = lambda: station._put(0, whole[0])
    events = followed(station, monkeypatch)
    assert last_words(events) == in_the_end(station)[0] and events[-1][2]["seconds"] == pytest.approx(12.5)


def test_samples_that_are_no_numbers_end_the_following_at_once(tmp_path, monkeypatch):
    sound = np.full((4 * RATE, 1), 0.1, "<f4")
    sound[2 * RATE] = np.nan
    station = Station(tmp_path / "a.wav", sound.tobytes(), channels=1, bits=32)
    station._put(20, struct.pack("<H", 3))
    clock = Clock(station)
    run_by(clock, monkeypatch)
    with pytest.raises(Unreadable) as told:
        follow(station.path, ASKED, 3.0, lambda *event: None)
    assert told.value.key == "sound.not-numbers" and told.value.facts["at"] == pytest.approx(2.0)
    assert clock.now < 4.0


@pytest.mark.parametrize("coder", ["adpcm", "ulaw"])
def test_a_coded_wav_is_followed_by_its_size_and_heard_whole(tmp_path, monkeypatch, coder):
    rng = np.random.default_rng(9)
    subtype = {"adpcm": "IMA_ADPCM", "ulaw": "ULAW"}[coder]
    whole = write(tmp_path / "b", side(talk(rng, 4, RATE), rng, RATE), subtype=subtype, rate=RATE).read_bytes()
    station = Station(tmp_path / "a.wav", b"")
    station.path.write_bytes(whole[:30_000])
    station.samples, station.closed = b"", True
    station.at[2.0] = lambda: station._append(whole[30_000:])
    events = followed(station, monkeypatch)
    assert events[0][2]["why"] == "@why.index-at-end"
    assert events[-1][2]["seconds"] == in_the_end(station)[2] == pytest.approx(17.0, abs=0.05)
