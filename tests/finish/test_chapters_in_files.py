"""Described stretches become chapters of finished files: read back by libav, and byte by byte by readers of our own."""

from __future__ import annotations

import struct

import av
import pytest
from make.captures import captured_box, noise_bursts, put_capture, report_of, write_sound, write_tape

from takeup.plan.chaptering import Mark, clock_of, name_of, on_clock, one_after_another, plan_marks
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tasks.chapters import drop_chapter, keep_chapter
from takeup.tasks.describe import note_descriptions, write_descriptions
from takeup.tasks.finish import finish_box


def chapters(path):
    """What libav's reader finds: (from, to, name)."""
    with av.open(str(path)) as file:
        return [(float(c["start"] * c["time_base"]), float(c["end"] * c["time_base"]), c["metadata"]["title"])
                for c in file.chapters()]  # fmt: skip


def packets(path):
    """Every packet of sound and picture: when, and its bytes."""
    with av.open(str(path)) as file:
        tracks = [stream for stream in file.streams if stream.type in ("audio", "video")]
        return [(p.stream.type, p.pts * p.time_base, p.dts * p.time_base, bytes(p)) for p in file.demux(tracks)
                if p.dts is not None]  # fmt: skip


def chpl(path):
    """The list of ``moov/udta/chpl`` by hand: version, flags, 4 bytes kept, how many, then (100 ns, length, name)."""
    data = path.read_bytes()
    at = data.find(b"chpl")
    if at < 0:
        return []
    at, found = at + 4 + 8, []
    for _ in range(data[at]):
        begin, length = struct.unpack_from(">QB", data, at + 1)
        found.append((begin / 1e7, data[at + 10 : at + 10 + length].decode()))
        at += 9 + length
    return found


def atoms(path):
    """The ``ChapterAtom`` elements by hand: their names, by the number 0x85 and a one-byte length."""
    data = path.read_bytes()
    body = data[data.rindex(bytes.fromhex("1043A770")) :] if bytes.fromhex("1043A770") in data else b""
    names, at = [], 0
    while (at := body.find(b"\x80", at)) >= 0:
        if body[at + 2 : at + 3] == b"\x85":
            names.append(body[at + 4 : at + 4 + (body[at + 3] & 0x7F)].decode())
        at += 1
    return names


def test_a_cassette_side_its_words_undone_and_made_again(tmp_path):
    """12 s: a song from 2 to 5 s, a speech from 5.5 to 9 s (half a second between is none), then nothing to 12 s."""
    box = captured_box(tmp_path / "box", [Original(id="k1", carrier="cassette", label="1974")])
    capture = write_sound(tmp_path / "k1.wav", noise_bursts(12.0, 0.3))
    stored = put_capture(box, "k1", capture, "a", report_of("sound", 12.0))
    finish_box(box.folder, Settings())
    copy, master = box.folder / "copies/k1/k1-side-a.m4a", box.folder / "masters/k1/k1-side-a.wav"
    before, untouched = packets(copy), master.read_bytes()
    for from_s, to_s, title in ((2.0, 5.0, "外婆唱歌"), (5.5, 9.0, "Uncle's speech")):
        keep_chapter(
            box.folder, Settings(), item="k1", stored=stored, from_s=from_s, to_s=to_s, told={"title": title},
            seconds=12.0,
        )  # fmt: skip
    note_descriptions(box.folder, Settings(), {"k1": {"title": "Christmas", "place": "Aalborg"}})
    described, left = write_descriptions(box.folder, Settings(), ["k1"])
    assert not left and copy in described[0].files
    names = ["–", "外婆唱歌", "Uncle's speech", "–"]
    assert [name for _, _, name in chapters(copy)] == names == [name for _, name in chpl(copy)]
    assert [begin for begin, _, _ in chapters(copy)] == pytest.approx([0.0, 2.0, 5.5, 9.0], abs=0.01)
    assert [begin for begin, _ in chpl(copy)] == pytest.approx([0.0, 2.0, 5.5, 9.0], abs=0.01)
    assert packets(copy) == before
    with av.open(str(copy)) as file:
        assert file.metadata["title"] == "Christmas" and "Aalborg" in file.metadata["comment"]
    assert untouched.split(b"data", 1)[1][:500_000] == master.read_bytes().split(b"data", 1)[1][:500_000]
    standing = copy.read_bytes()
    write_descriptions(box.folder, Settings())
    assert copy.read_bytes() == standing  # twice changes nothing
    copy.unlink()
    finish_box(box.folder, Settings())
    assert [name for _, _, name in chapters(copy)] == names
    for number in (1, 2):
        drop_chapter(box.folder, Settings(), item="k1", number=number)
    write_descriptions(box.folder, Settings(), ["k1"])
    assert chapters(copy) == [] == chpl(copy) and packets(copy) == before
    with av.open(str(copy)) as file:
        assert [stream.type for stream in file.streams] == ["audio"] and file.metadata["title"] == "Christmas"


def test_chapters_alone_are_written_into_pictures_and_taken_away_again(tmp_path):
    """Nobody described the tape itself; one stretch is known before it is finished, one later. 1.6 s of pictures."""
    box = captured_box(tmp_path / "box", [Original(id="v1", carrier="vhs", label="Beach")])
    capture = write_tape(tmp_path / "t.mov", pictures=40, lines=96)
    stored = put_capture(box, "v1", capture, "", report_of("video", 1.6, field_order="top"))
    told = {"people": ["Anna", "小明"], "date": "1974"}
    keep_chapter(box.folder, Settings(), item="v1", stored=stored, from_s=0.0, to_s=0.8, told=told, seconds=1.6)
    finish_box(box.folder, Settings())
    copy, master = box.folder / "copies/v1/v1.mp4", box.folder / "masters/v1/v1.mkv"
    assert [name for _, _, name in chapters(copy)] == ["Anna, 小明"] == atoms(master)  # 0.8 s more is no gap
    standing = copy.read_bytes(), master.read_bytes()
    write_descriptions(box.folder, Settings())
    assert (copy.read_bytes(), master.read_bytes()) == standing
    before = {path: packets(path) for path in (copy, master)}
    told = {"title": "Cake"}
    keep_chapter(box.folder, Settings(), item="v1", stored=stored, from_s=0.6, to_s=1.6, told=told, seconds=1.6)
    write_descriptions(box.folder, Settings(), ["v1"])
    assert [name for _, _, name in chapters(copy)] == ["Anna, 小明", "Cake"] == [name for _, name in chpl(copy)]
    assert chapters(copy)[0][1] == pytest.approx(0.6, abs=0.01)  # one ends where the next begins
    assert atoms(master) == ["Anna, 小明", "Cake"]
    assert chapters(master)[0][:2] == (0.0, 0.8)  # Matroska lets them overlap
    assert {path: packets(path) for path in (copy, master)} == before
    for number in (1, 2):
        drop_chapter(box.folder, Settings(), item="v1", number=number)
    write_descriptions(box.folder, Settings())
    assert chapters(copy) == chapters(master) == [] == chpl(copy)
    assert {path: packets(path) for path in (copy, master)} == before


# --- the clock of a file ---
def test_a_trimmed_and_slowed_side_has_its_chapters_where_they_sound():
    """The copy begins 10 s into the capture and is slowed by 1.02: 60 s of the capture are (60 - 10) * 1.02 = 51 s."""
    clock = clock_of({"from_s": 10.0, "speed": 1.02}, 0)
    assert on_clock(clock, 60.0) == pytest.approx(51.0)
    marks = plan_marks([(60.0, 70.0, "a"), (0.0, 10.2, "before it"), (2.0, 12.0, "across")], clock, 100.0)
    assert [(mark.from_s, mark.to_s, mark.title) for mark in marks] == [(0.0, 2.04, "across"), (51.0, 61.2, "a")]


def test_a_film_of_two_parts_at_its_true_rate():
    """24 frames a second in the file, 16 pictures a second in truth: 10 s of the file are 15 s. The second part follows
    the first's 20 s (30 s of film)."""
    clock = {"clock": [[[0.0, 0.0], [20.0, 30.0]], [[0.0, 30.0], [20.0, 60.0]]]}
    assert on_clock(clock_of(clock, 0), 10.0) == pytest.approx(15.0)
    assert on_clock(clock_of(clock, 1), 10.0) == pytest.approx(45.0)
    assert clock_of(clock, 2) == [] and plan_marks([(0.0, 9.0, "x")], [], 60.0) == []


@pytest.mark.parametrize(
    ("given", "wanted"),
    [
        ([], []),
        ([(0.4, 9.8, "all")], [(0.0, 10.0, "all")]),
        ([(3.0, 4.0, "a")], [(0.0, 3.0, "–"), (3.0, 4.0, "a"), (4.0, 10.0, "–")]),
        ([(0.0, 6.0, "a"), (3.0, 10.0, "b")], [(0.0, 3.0, "a"), (3.0, 10.0, "b")]),
        ([(2.0, 3.0, "a"), (2.0, 9.0, "b")], [(0.0, 2.0, "–"), (2.0, 10.0, "b")]),
    ],
)
def test_one_after_another(given, wanted):
    marks = [Mark(from_s=begin, to_s=end, title=title) for begin, end, title in given]
    assert [(mark.from_s, mark.to_s, mark.title) for mark in one_after_another(marks, 10.0)] == wanted


def test_more_than_an_mp4_can_list_lose_what_lies_between_first():
    """200 stretches with gaps are 400 chapters; the list holds 255: the 200 stay, each until the next."""
    marks = [Mark(from_s=5.0 * at, to_s=5.0 * at + 2.0, title=str(at)) for at in range(200)]
    made = one_after_another(marks, 1000.0)
    assert [mark.title for mark in made] == [str(at) for at in range(200)] and made[0].to_s == 5.0


def test_a_long_name_is_cut_between_signs():
    """240 bytes of UTF-8: a Chinese sign takes three, so 79 of them and the three bytes of the dots."""
    assert name_of("", "  one\n two ", (), "", "") == "one two"
    assert name_of("舞" * 200, "", (), "", "") == "舞" * 79 + "…"
    assert name_of("", "", ("Anna", "Bo"), "x", "y") == "Anna, Bo" and name_of("", "", (), "", "") == ""
