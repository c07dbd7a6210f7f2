"""What take refuses, what it takes, and that a station's file is never touched."""

import os
import subprocess
import sys

import pytest
from make.boxes import SETTINGS, files_under, make_box, make_station, sha256, wav_bytes
from make.command import takeup

from takeup.box.record import Record
from takeup.errors import NotAllowedNow, NotPossible
from takeup.files import station as station_room
from takeup.tables.loader import load_rows
from takeup.tasks.take import take


@pytest.fixture
def box(tmp_path):
    return make_box(tmp_path / "box", ids=("t1", "t11", "con", "b1"))


def run(box, *paths, **more):
    return take(box.folder, paths, rows=load_rows(), settings=SETTINGS, **more)


def whys(answer):
    return {refused.file.name: refused.why for refused in answer.refused}


def test_take_copies_remembers_and_leaves_the_station_alone(box, tmp_path):
    data = wav_bytes(1)
    station = make_station(tmp_path / "st", t1_side_a__wav=data)
    before = os.stat(station / "t1_side_a.wav")
    [taken] = run(box, station).taken
    assert (taken.item, taken.bytes, taken.sha256, taken.already) == ("t1", len(data), sha256(data), False)
    assert taken.stored.read_bytes() == data and taken.stored.is_absolute()
    assert os.stat(station / "t1_side_a.wav") == before  # times of reading and changing, owner, links: all as they were
    [fact] = box.record.latest("taken")
    assert fact.facts == {
        "file": "t1_side_a.wav", "source": str(station / "t1_side_a.wav"), "stored": "captures/t1/t1_side_a.wav",
        "bytes": len(data), "sha256": sha256(data), "modified_ns": before.st_mtime_ns, "part": "a",
    }  # fmt: skip


def test_take_twice_changes_nothing_and_says_so(box, tmp_path):
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1))
    run(box, station)
    whole, facts = files_under(box.folder / "captures"), len(box.record.facts())
    [taken] = run(box, station).taken
    assert taken.already and files_under(box.folder / "captures") == whole and len(box.record.facts()) == facts


def test_take_same_content_under_another_name_is_there_already(box, tmp_path):
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1), t1_copy__wav=wav_bytes(1))
    assert [taken.already for taken in run(box, station).taken] == [False, True]
    assert len(files_under(box.folder / "captures")) == 1
    assert [taken.already for taken in run(box, station).taken] == [True, True]


def test_take_other_content_under_the_same_name_gets_a_number(box, tmp_path):
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1))
    run(box, station)
    (station / "t1.wav").write_bytes(wav_bytes(2))
    [taken] = run(box, station).taken
    assert taken.stored.name == "t1-2.wav"
    assert files_under(box.folder / "captures/t1") == {"t1.wav": wav_bytes(1), "t1-2.wav": wav_bytes(2)}


def test_take_names_that_differ_in_case_do_not_collide(box, tmp_path):
    station = make_station(tmp_path / "st/1", t1__wav=wav_bytes(1))
    make_station(tmp_path / "st/2", T1__WAV=wav_bytes(2))
    stored = {taken.stored.name.casefold() for taken in run(box, station, tmp_path / "st/2").taken}
    assert len(stored) == 2


def test_take_refuses_what_is_no_capture_and_takes_the_rest(box, tmp_path):
    station = make_station(
        tmp_path / "st",
        t1__wav=wav_bytes(1), t11_empty__wav=b"", t1_letter__wav=b"%!PS no capture", nobody__wav=wav_bytes(3),
        t1_and_t11__wav=wav_bytes(4),
    )  # fmt: skip
    answer = run(box, station)
    assert [taken.file.name for taken in answer.taken] == ["t1.wav"]
    assert whys(answer) == {
        "t11_empty.wav": "empty", "t1_letter.wav": "no-capture", "nobody.wav": "no-item", "t1_and_t11.wav": "two-items",
    }  # fmt: skip


def test_take_truncated_capture_is_still_a_capture(box, tmp_path):
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1)[:5000])
    assert len(run(box, station).taken) == 1


def test_take_folder_leaves_out_hidden_system_and_unfinished_files(box, tmp_path):
    station = make_station(tmp_path / "st/deeper", t1__wav=wav_bytes(1))
    for name in (".t1.wav", "._t1.wav", "t1.wav.part", "t1.wav.tmp", "Thumbs.db", "desktop.ini", ".x.takeup-part.wav"):
        (station / name).write_bytes(wav_bytes(9))
    for name in (".hidden", "$RECYCLE.BIN", "System Volume Information"):
        make_station(station / name, t11__wav=wav_bytes(8))
    answer = run(box, tmp_path / "st")
    assert ([taken.file.name for taken in answer.taken], answer.refused) == (["t1.wav"], [])


def test_take_links_are_refused_and_rings_end(box, tmp_path):
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1))
    (station / "ring").symlink_to(station)
    (station / "t11.wav").symlink_to(station / "t1.wav")
    (station / "t11-gone.wav").symlink_to(station / "nowhere")
    answer = run(box, station)
    assert len(answer.taken) == 1
    assert whys(answer) == {"t11.wav": "link", "t11-gone.wav": "link", "ring": "link"}


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes in folders")
def test_take_pipe_is_refused_and_never_waited_for(box, tmp_path):
    station = make_station(tmp_path / "st")
    os.mkfifo(station / "t1.wav")
    assert whys(run(box, station)) == {"t1.wav": "not-a-file"}


def test_take_file_in_the_box_is_refused(box, tmp_path):
    run(box, make_station(tmp_path / "st", t1__wav=wav_bytes(1)))
    assert whys(run(box, box.folder / "captures")) == {"t1.wav": "in-the-box"}


def test_take_folder_that_holds_the_box_passes_over_the_box(box, tmp_path):
    make_station(tmp_path / "st", t1__wav=wav_bytes(1))
    run(box, tmp_path)
    answer = run(box, tmp_path)
    assert ([taken.file for taken in answer.taken], answer.refused) == ([tmp_path / "st/t1.wav"], [])


def test_take_growing_file_is_refused_by_its_growth(box, tmp_path, monkeypatch):
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1), t11__wav=wav_bytes(2))

    os.utime(station / "t1.wav")

    def grow(seconds):
        with (station / "t1.wav").open("ab") as file:
            file.write(b"more")

    monkeypatch.setattr(station_room.time, "sleep", grow)
    answer = run(box, station)
    assert [taken.item for taken in answer.taken] == ["t11"] and whys(answer) == {"t1.wav": "growing"}


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux tells who holds a file open")
def test_take_file_that_a_program_still_writes_is_refused(box, tmp_path):
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1))
    code = "import sys; f = open(sys.argv[1], 'ab'); print('open', flush=True); sys.stdin.read()"
    words = [sys.executable, "-c", code, str(station / "t1.wav")]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as writer:
        writer.stdout.readline()
        assert whys(run(box, station)) == {"t1.wav": "growing"}
        writer.stdin.close()
    assert len(run(box, station).taken) == 1


def test_take_file_that_changes_while_it_is_copied_is_refused(box, tmp_path, monkeypatch):
    from takeup.tasks import take as task

    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1))
    honest = task.copy_file

    def slow(source, part, **more):
        copied = honest(source, part, **more)
        with source.open("ab") as file:
            file.write(b"late")
        return copied

    monkeypatch.setattr(task, "copy_file", slow)
    assert whys(run(box, station)) == {"t1.wav": "growing"}
    assert files_under(box.folder / "captures") == {} and box.record.latest("taken") == []


@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="root may read everything")
def test_take_unreadable_file_is_refused(box, tmp_path):
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1))
    (station / "t1.wav").chmod(0)
    assert whys(run(box, station)) == {"t1.wav": "unreadable"}


ODD = [
    "t1 外婆 🎞.wav", "-t1.wav", "t1\nsecond line.wav", "t1 'quoted' \"twice\".wav", "t1 " + "é" * 120 + ".wav",
    "t1 trailing .wav", "t1:colon?.wav", "t1 $(rm -rf x).wav", "t1.wav.wav", "t1 e\u0301.wav",
]  # fmt: skip


def test_take_odd_names_are_stored_under_safe_ones(box, tmp_path):
    from takeup.files.names import why_unsafe

    (tmp_path / "st").mkdir()
    for at, name in enumerate(ODD):
        (tmp_path / "st" / name).write_bytes(wav_bytes(at))
    answer = run(box, tmp_path / "st")
    assert len(answer.taken) == len(ODD) and answer.refused == []
    assert {why_unsafe(taken.stored.name) for taken in answer.taken} == {None}
    stored = {sha256(taken.stored.read_bytes()) for taken in answer.taken}
    assert stored == {sha256(wav_bytes(at)) for at in range(len(ODD))}


def test_take_name_of_bytes_that_are_no_text(box, tmp_path):
    station = make_station(tmp_path / "st")
    try:
        (station / "t1 caf\udce9.wav").write_bytes(wav_bytes(1))
    except OSError:
        pytest.skip("this file system takes only names that are text")
    ran = takeup("take", box.folder, station, "--json")
    assert ran.status == 0 and len(ran.json["taken"]) == 1


def test_take_item_that_some_system_takes_for_a_device(box, tmp_path):
    [taken] = run(box, make_station(tmp_path / "st", con__wav=wav_bytes(1))).taken
    assert taken.item == "con" and taken.stored.parent.name != "con"


def test_take_item_told_by_hand_serves_every_file_and_keeps_the_part(box, tmp_path):
    station = make_station(tmp_path / "st", side_a__wav=wav_bytes(1), side_b__wav=wav_bytes(2))
    assert {taken.item for taken in run(box, station, item="T11").taken} == {"t11"}
    assert sorted(fact.facts["part"] for fact in box.record.latest("taken")) == ["a", "b"]


def test_take_unknown_item_or_path_stops_before_anything(box, tmp_path):
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1))
    for key, paths, item in (
        ("take.unknown-item", [station], "t99"),
        ("capture.not-there", [station, tmp_path / "none"], ""),
    ):
        with pytest.raises(NotPossible) as stop:
            run(box, *paths, item=item)
        assert stop.value.key == key and box.record.latest("taken") == []


def test_take_without_agreement_still_takes_and_notes_it(tmp_path):
    box = make_box(tmp_path / "box")
    record = Record(tmp_path / "box2", "test")
    (tmp_path / "box2").mkdir()
    record.start()
    record.append("item-listed", {"id": "t1", "carrier": "cassette"}, item="t1")
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1))
    ran = takeup("take", tmp_path / "box2", station, "--json")
    assert ran.status == 0 and len(ran.json["taken"]) == 1 and "agreement" in ran.err
    assert takeup("take", box.folder, station, "--json").err == ""


def test_take_when_another_command_holds_the_box(box, tmp_path):
    from takeup.files.lock import held

    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1))
    with held(box.folder, "finish", 0), pytest.raises(NotAllowedNow) as stop:
        run(box, station)
    assert stop.value.facts["doing"] == "finish" and files_under(box.folder / "captures") == {}


def test_take_lost_copy_is_made_again(box, tmp_path):
    """The disk is the truth: a remembered capture that is not there is taken once more, under its own name."""
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1))
    [first] = run(box, station).taken
    first.stored.unlink()
    [again] = run(box, station).taken
    assert not again.already and again.stored == first.stored and again.stored.read_bytes() == wav_bytes(1)


def test_take_command_answers_with_the_contracts_names(box, tmp_path):
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1), none__wav=wav_bytes(2))
    ran = takeup("take", box.folder, station, "--json")
    assert ran.status == 0 and set(ran.json) == {"taken", "refused"}
    assert set(ran.json["taken"][0]) == {"file", "item", "bytes", "sha256", "stored"}
    assert set(ran.json["refused"][0]) == {"file", "why"}
    assert takeup("take", box.folder, station, "--json").json["taken"][0]["already"] is True
