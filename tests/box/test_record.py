"""The record of a box: append-only, the last fact for a key wins, whole after a kill, free of where the box lies."""

import multiprocessing
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time

import pytest

from takeup.box.folder import look_into, work_in
from takeup.box.record import FILE_NAME, Record
from takeup.errors import NotAllowedNow, NotPossible, Unreadable
from takeup.settings import Settings

SETTINGS = Settings(wait_s=0.3)


@pytest.fixture
def record(tmp_path):
    record = Record(tmp_path, who="tester")
    record.start()
    return record


def test_last_fact_for_a_key_wins_and_all_are_kept(record):
    record.append("described", {"title": "one"}, item="t1")
    record.append("described", {"title": "two"}, item="t1")
    record.append("described", {"title": "other"}, item="t2")
    assert [fact.facts["title"] for fact in record.latest("described")] == ["two", "other"]
    assert len(record.facts("described")) == 3
    assert record.facts()[0].who == "tester"


def test_repeated_command_changes_nothing(record):
    first = record.append("taken", {"n": 1}, item="t1", command="c1")
    again = record.append("taken", {"n": 2}, item="t1", command="c1")
    assert again == first and len(record.facts()) == 1


@pytest.mark.parametrize("statement", ["UPDATE fact SET who = 'x'", "DELETE FROM fact"])
def test_facts_cannot_be_edited_or_removed(record, statement):
    record.append("taken", {}, item="t1")
    with sqlite3.connect(record.path) as db, pytest.raises(sqlite3.DatabaseError, match="append only"):
        db.execute(statement)
    assert len(record.facts()) == 1


def test_damaged_record_is_said_plainly(tmp_path):
    (tmp_path / FILE_NAME).write_bytes(b"not a database at all" * 100)
    with pytest.raises(Unreadable) as caught:
        Record(tmp_path).facts()
    assert caught.value.key == "box.record-unreadable"


def test_folder_without_record_is_no_box(tmp_path):
    with pytest.raises(NotPossible) as caught:
        look_into(tmp_path, SETTINGS)
    assert caught.value.key == "box.not-there"


def test_box_copied_elsewhere_still_works(record, tmp_path):
    record.append("taken", {"stored": "captures/t1/a.wav"}, item="t1")
    moved = tmp_path.parent / f"{tmp_path.name}-moved"
    shutil.copytree(tmp_path, moved)
    box = look_into(moved, SETTINGS)
    assert box.path(box.record.latest("taken")[0].facts["stored"]) == moved / "captures" / "t1" / "a.wav"


APPEND_FOREVER = """
import sys
from pathlib import Path
from takeup.box.record import Record
record = Record(Path(sys.argv[1]))
print("ready", flush=True)
n = 0
while True:
    n += 1
    record.append("taken", {"n": n}, item="t1", key=str(n))
    print(n, flush=True)
"""


def test_record_is_whole_after_a_kill_at_any_instant(record, tmp_path):
    """Facts whose append had returned are there after kill -9, in order and without holes."""
    for _ in range(4):
        before = len(record.facts())
        process = subprocess.Popen(
            [sys.executable, "-c", APPEND_FOREVER, str(tmp_path)], stdout=subprocess.PIPE, text=True
        )
        returned = 0
        for line in process.stdout:
            if line.strip().isdigit():
                returned = int(line)
            if returned >= 15:
                os.kill(process.pid, signal.SIGKILL)
                break
        process.wait()
        numbers = [fact.facts["n"] for fact in record.facts()[before:]]
        assert numbers == list(range(1, len(numbers) + 1))
        assert len(numbers) >= returned


def hold(folder, ready, until):
    with work_in(folder, "finish", SETTINGS):
        ready.set()
        until.wait(20)


def test_second_command_says_who_holds_the_box(record, tmp_path):
    context = multiprocessing.get_context("spawn")
    ready, until = context.Event(), context.Event()
    process = context.Process(target=hold, args=(tmp_path, ready, until))
    process.start()
    assert ready.wait(20)
    with pytest.raises(NotAllowedNow) as caught, work_in(tmp_path, "take", SETTINGS):
        pass
    assert caught.value.facts["doing"] == "finish" and caught.value.facts["process"] == str(process.pid)
    until.set()
    process.join(20)
    with work_in(tmp_path, "take", SETTINGS) as box:
        assert box.record.exists()


def test_killed_holder_lets_go(record, tmp_path):
    context = multiprocessing.get_context("spawn")
    ready, until = context.Event(), context.Event()
    process = context.Process(target=hold, args=(tmp_path, ready, until))
    process.start()
    assert ready.wait(20)
    os.kill(process.pid, signal.SIGKILL)
    process.join(20)
    begun = time.monotonic()
    with work_in(tmp_path, "take", SETTINGS) as box:
        assert box.record.exists()
    assert time.monotonic() - begun < 5


def test_unfinished_parts_are_swept_and_whole_files_stay(record, tmp_path):
    (tmp_path / "captures" / "t1").mkdir(parents=True)
    whole = tmp_path / "captures" / "t1" / "t1.wav"
    part = tmp_path / "captures" / "t1" / ".t1-ab12.takeup-part.wav"
    whole.write_bytes(b"1")
    part.write_bytes(b"2")
    with work_in(tmp_path, "take", SETTINGS):
        assert whole.exists() and not part.exists()
