"""What a watch makes of the looks at its folder: each look is given by hand, no time passes."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from takeup.tasks import watch
from takeup.tasks.watch import Watch
from takeup.tasks.watch_folder import sights
from takeup.tasks.watch_spool import Spool

HEAD = b"RIFF\0\0\0\0WAVEfmt " + bytes(4000)


class Heard:
    """An outlet that only remembers."""

    def __init__(self, families=None) -> None:
        self.told, self.handed, self.wanted = [], [], families

    def families(self):
        return self.wanted

    def original_of(self, path, family):
        raise AssertionError("asked for by the check, which these tests leave out")

    def tell(self, kind, capture, facts):
        self.told.append((kind, facts.get("what", ""), facts.get("names", [])))

    def hand_over(self, capture, done):
        self.handed.append(capture)

    def stop(self):
        pass


class Place:
    """A watched folder whose clock goes by half a second at each look."""

    def __init__(self, folder: Path, spool: Path, monkeypatch, families=None) -> None:
        self.folder, self.begun, self.now = folder, [], time.monotonic()
        folder.mkdir(exist_ok=True)
        monkeypatch.setattr(watch, "check_in_a_process", self._check)
        monkeypatch.setattr(watch, "open_for_writing", lambda files: set())
        self.outlet, self.spool = Heard(families), Spool(spool)
        self.watch = Watch(folder, self.spool, self.outlet, 2.0)
        self.watch._begin(sights(folder, self.watch.rows))

    def _check(self, capture, *, live, **_):
        capture.begun += 1
        capture.state = "checking"
        self.begun.append((capture.path.name, "live" if live else "whole"))

    def looks(self, count=1):
        for _ in range(count):
            self.now += 0.5
            seen = self.watch._there(sights(self.folder, self.watch.rows))
            if seen is None:
                continue
            self.watch._look(seen, self.now)

    def grow(self, name, pieces=3):
        path = self.folder / name
        for n in range(pieces):
            with path.open("ab") as file:
                file.write(HEAD if not n else bytes(5000))
            self.looks()
        return path

    def checked(self, name, verdict="good"):
        """The check of a capture ends with the file as it is."""
        (capture,) = [one for one in self.watch.captures.values() if one.path.name == name]
        state = capture.path.stat()
        last = {"report": {"verdict": verdict, "seconds": 1.0, "findings": []}, "bytes": state.st_size}
        self.watch._checked(capture, capture.begun, last | {"modified_ns": state.st_mtime_ns})
        return capture


@pytest.fixture
def place(tmp_path, monkeypatch):
    made = Place(tmp_path / "cap", tmp_path / "spool", monkeypatch)
    yield made
    made.spool.close()


def test_growing_file_is_followed_and_handed_over_once_when_it_rests(place):
    place.grow("a.wav")
    place.checked("a.wav")
    place.looks(6)
    assert place.begun == [("a.wav", "live")]
    assert [capture.path.name for capture in place.outlet.handed] == ["a.wav"]


def test_file_written_at_once_is_checked_when_it_rests(place):
    (place.folder / "scan.wav").write_bytes(HEAD * 5)
    place.looks(2)
    assert place.begun == []
    place.looks(4)
    assert place.begun == [("scan.wav", "whole")]


def test_room_taken_beforehand_is_not_read_before_it_is_filled(place):
    """The file has its whole length at the second look and is then written into, as some capture programs do."""
    path = place.folder / "a.wav"
    path.write_bytes(b"")
    place.looks()
    with path.open("r+b") as file:
        file.truncate(1_000_000)
        for n in range(8):
            file.seek(n * 1000)
            file.write(HEAD[:1000])
            file.flush()
            os.utime(path, ns=(n, 10**18 + n))
            place.looks()
    assert place.begun == []
    os.utime(path)  # written today
    place.looks(6)
    assert place.begun == [("a.wav", "whole")]


def test_what_lay_there_before_is_left_alone_until_it_grows(tmp_path, monkeypatch):
    folder = tmp_path / "cap"
    folder.mkdir()
    (folder / "old.wav").write_bytes(HEAD)
    (folder / "other.wav").write_bytes(HEAD)
    place = Place(folder, tmp_path / "spool", monkeypatch)
    place.looks(10)
    assert place.begun == [] and place.outlet.told[0] == ("said", "lying", ["old.wav", "other.wav"])
    place.grow("old.wav", 4)
    assert place.begun == [("old.wav", "live")]


def test_documents_and_photos_are_said_once_and_left(tmp_path, monkeypatch):
    place = Place(tmp_path / "cap", tmp_path / "spool", monkeypatch, families={"sound"})
    (place.folder / "letter.docx").write_bytes(b"PK\3\4" + bytes(5000))
    (place.folder / "holiday.jpg").write_bytes(b"\xff\xd8\xff\xe0" + bytes(5000))
    place.looks(30)
    assert place.begun == [] and place.outlet.handed == []
    said = [told[2] for told in place.outlet.told if told[1] == "foreign"]
    assert sorted(said) == [["holiday.jpg"], ["letter.docx"]]
    assert sorted(path.name for path in place.folder.iterdir()) == ["holiday.jpg", "letter.docx"]


def test_recording_of_another_day_that_is_copied_in_is_left(place):
    path = place.folder / "last-year.wav"
    path.write_bytes(HEAD)
    os.utime(path, (1_600_000_000, 1_600_000_000))
    place.looks(8)
    assert place.begun == [] and ("said", "foreign", ["last-year.wav"]) in place.outlet.told


def test_hidden_and_unfinished_names_are_not_looked_at(place):
    for name in (".a.wav", "a.wav.part", "a.tmp", "Thumbs.db"):
        place.grow(name)
    place.looks(8)
    assert place.begun == [] and not place.watch.captures


def test_renamed_while_it_grows_is_the_same_capture_from_its_beginning(place):
    place.grow("untitled.wav").rename(place.folder / "k1.wav")
    (before,) = place.watch.captures
    place.looks()
    place.grow("k1.wav", 3)
    assert place.begun == [("untitled.wav", "live"), ("k1.wav", "live")]
    assert list(place.watch.captures) == [before] and not [told for told in place.outlet.told if told[0] == "lost"]


def test_removed_while_it_grows_is_said_to_be_lost(place):
    place.grow("a.wav").unlink()
    place.looks(6)
    assert [told[0] for told in place.outlet.told].count("lost") == 1 and not place.watch.captures


def test_folder_that_vanishes_loses_nothing(place, tmp_path):
    place.grow("a.wav")
    place.folder.rename(tmp_path / "away")
    place.looks(20)
    (tmp_path / "away").rename(place.folder)
    place.looks(2)
    assert not [told for told in place.outlet.told if told[0] == "lost"] and len(place.watch.captures) == 1
    place.checked("a.wav")
    place.looks(6)
    assert [capture.path.name for capture in place.outlet.handed] == ["a.wav"]


def test_two_that_grow_at_once_are_two_captures(place):
    for n in range(4):
        for name in ("a.wav", "b.wav"):
            with (place.folder / name).open("ab") as file:
                file.write(HEAD if not n else bytes(3000))
        place.looks()
    assert sorted(place.begun) == [("a.wav", "live"), ("b.wav", "live")]


def test_file_that_changes_after_its_check_is_checked_again(place):
    place.grow("a.wav")
    place.checked("a.wav")
    with (place.folder / "a.wav").open("ab") as file:
        file.write(bytes(100))
    place.looks(8)
    assert place.begun == [("a.wav", "live"), ("a.wav", "whole")] and place.outlet.handed == []


def test_file_that_brings_its_check_down_is_handed_over_unchecked(place):
    place.grow("a.wav")
    for _ in range(3):
        (capture,) = place.watch.captures.values()
        place.watch._checked(capture, capture.begun, {"died": "-11"})
        place.looks(6)
    assert [(capture.verdict, capture.fault["key"]) for capture in place.outlet.handed] == [("", "watch.check-died")]


def test_restart_follows_again_what_was_unfinished_and_passes_over_what_was_done(tmp_path, monkeypatch):
    place = Place(tmp_path / "cap", tmp_path / "spool", monkeypatch)
    place.grow("done.wav")
    place.watch._handed(place.checked("done.wav"), "done")
    place.looks(6)
    place.watch._handed(place.outlet.handed[0], "done")
    place.grow("half.wav")
    place.spool.close()
    again = Place(tmp_path / "cap", tmp_path / "spool", monkeypatch)
    again.looks(2)
    assert again.begun == [("half.wav", "live")]
    again.checked("half.wav")
    again.looks(8)
    assert [capture.path.name for capture in again.outlet.handed] == ["half.wav"]
    assert not [told for told in again.outlet.told if told[1] == "lying"]
    again.spool.close()


def test_spool_numbers_have_no_gaps_over_a_restart(tmp_path):
    spool = Spool(tmp_path / "spool")
    for n in range(3):
        spool.add("finding", "c", "at", {"n": n})
    spool.acknowledged(2)
    stream = spool.stream
    spool.close()
    again = Spool(tmp_path / "spool")
    again.acknowledged(3)
    again.add("end", "c", "at", {})
    assert (again.stream, [event.number for event in again.waiting(10, 10**6)]) == (stream, [4])
    again.close()


def test_key_is_for_its_user_alone(tmp_path):
    from takeup.tasks.watch_spool import keep_key, kept_key

    path = keep_key(tmp_path / "spool", "secret")
    assert kept_key(tmp_path / "spool") == "secret"
    assert os.name == "nt" or path.stat().st_mode & 0o077 == 0
