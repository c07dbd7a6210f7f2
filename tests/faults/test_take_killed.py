"""take killed at every step, on a full disk, twice at once: the box is always one that the next command picks up."""

import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import time

import pytest
from make.boxes import SETTINGS, files_under, make_box, make_station, sha256, wav_bytes
from make.command import takeup
from make.kills import killed_at_every_step, quick_folder
from make.small_disk import small_disk

from takeup.tables.loader import load_rows
from takeup.tasks.take import take

CAPTURES = {f"captures/t1/t1_side_{side}.wav": wav_bytes(at) for at, side in enumerate("ab")}


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork a command to kill it")
def test_take_killed_at_every_step_is_picked_up_by_the_next():
    with quick_folder() as tmp_path:
        station = make_station(tmp_path / "st", t1_side_a__wav=wav_bytes(0), t1_side_b__wav=wav_bytes(1))
        make_box(tmp_path / "first")
        box_at, kills = [make_box(tmp_path / "box-0")], 0

        def run():
            return take(box_at[0].folder, [station], rows=load_rows(), settings=SETTINGS)

        for step in killed_at_every_step(run):
            kills += 1
            box = box_at[0]
            for fact in box.record.latest("taken"):  # what is remembered is whole on the disk
                assert sha256(box.path(fact.facts["stored"]).read_bytes()) == fact.facts["sha256"], step
            answer = run()
            assert len(answer.taken) == 2 and answer.refused == []
            whole = {path: data for path, data in files_under(box.folder).items() if path.startswith("captures")}
            assert whole == CAPTURES, step  # each once, no number, no part left
            assert files_under(station) == {"t1_side_a.wav": wav_bytes(0), "t1_side_b.wav": wav_bytes(1)}
            box_at[0] = make_box(tmp_path / f"box-{step}")
        assert kills > 10


def test_take_command_killed_at_any_moment_is_picked_up_by_the_next(tmp_path):
    """The real command, 60 MB, SIGKILL after a drawn time."""
    random.seed(5)
    data = wav_bytes(3, seconds=2.0) + os.urandom(60_000_000)
    station = make_station(tmp_path / "st", t1__wav=data)
    box = make_box(tmp_path / "box")
    for _ in range(5):
        with subprocess.Popen([sys.executable, "-m", "takeup", "take", str(box.folder), str(station)]) as command:
            time.sleep(random.uniform(0.15, 0.6))
            command.send_signal(signal.SIGKILL)
    ran = takeup("take", box.folder, station, "--json")
    assert ran.status == 0 and ran.json["taken"][0]["sha256"] == sha256(data)
    assert list(files_under(box.folder / "captures")) == ["t1/t1.wav"]


def test_take_onto_a_disk_that_is_too_small_says_so_before_it_copies(tmp_path):
    with small_disk(tmp_path / "disk", megabytes=24) as disk:
        box = make_box(disk / "box")
        station = make_station(tmp_path / "st", t1__wav=wav_bytes(1) + bytes(30_000_000))
        ran = takeup("take", box.folder, station, "--json")
        assert (ran.status, ran.out) == (2, "") and len(ran.err.splitlines()) == 1 and "30 MB" in ran.err
        assert files_under(box.folder / "captures") == {}


def test_take_when_the_disk_fills_up_on_the_way_keeps_what_was_whole(tmp_path):
    """Room is there when it is asked and gone when it is needed: somebody else writes meanwhile."""
    from takeup.errors import NotPossible
    from takeup.tasks import take as task

    with small_disk(tmp_path / "disk", megabytes=24) as disk:
        box = make_box(disk / "box")
        station = make_station(tmp_path / "st", t1__wav=wav_bytes(1), t2__wav=wav_bytes(2) + bytes(30_000_000))
        with pytest.MonkeyPatch.context() as patch, pytest.raises(NotPossible) as stop:
            patch.setattr(task, "room_at", lambda path: type("Room", (), {"free": 10**12, "total": 10**12}))
            take(box.folder, [station], rows=load_rows(), settings=SETTINGS)
        assert stop.value.key == "disk.full"
        assert files_under(box.folder / "captures") == {"t1/t1.wav": wav_bytes(1)}
        assert [fact.item for fact in box.record.latest("taken")] == ["t1"]
        (station / "t2.wav").write_bytes(wav_bytes(2))
        answer = take(box.folder, [station], rows=load_rows(), settings=SETTINGS)
        assert [taken.already for taken in answer.taken] == [True, False]


def test_take_when_a_file_may_not_grow_so_large_leaves_nothing_half_made(tmp_path):
    """The system's limit on one file's size stands in for a full disk where no small disk can be had."""
    box = make_box(tmp_path / "box")
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1) + bytes(9_000_000))
    ran = subprocess.run(
        [sys.executable, "-m", "takeup", "take", str(box.folder), str(station), "--json"],
        capture_output=True,
        text=True,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (5_000_000, 5_000_000)),
    )
    assert (ran.returncode, ran.stdout) == (2, "") and len(ran.stderr.splitlines()) == 1
    assert files_under(box.folder / "captures") == {} and box.record.latest("taken") == []


@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="root may write everywhere")
def test_take_into_a_folder_that_may_not_be_written_says_so(tmp_path):
    box = make_box(tmp_path / "box")
    (box.folder / "captures").mkdir(mode=0o500)
    ran = takeup("take", box.folder, make_station(tmp_path / "st", t1__wav=wav_bytes(1)))
    assert ran.status == 2 and len(ran.err.splitlines()) == 1


def test_take_two_commands_at_once_do_the_work_once(tmp_path):
    box = make_box(tmp_path / "box")
    captures = {f"t1_{at}__wav": wav_bytes(at) for at in range(6)}
    station = make_station(tmp_path / "st", **captures)
    words = [sys.executable, "-m", "takeup", "take", str(box.folder), str(station), "--json"]
    both = [subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) for _ in range(2)]
    assert [command.wait(60) for command in both] == [0, 0]
    for command in both:
        command.communicate()
    assert len(files_under(box.folder / "captures")) == 6 and len(box.record.facts("taken")) == 6


def test_box_moved_to_another_disk_still_takes(tmp_path):
    box = make_box(tmp_path / "box")
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1))
    take(box.folder, [station], rows=load_rows(), settings=SETTINGS)
    shutil.move(box.folder, tmp_path / "elsewhere")
    answer = take(tmp_path / "elsewhere", [station], rows=load_rows(), settings=SETTINGS)
    assert [taken.already for taken in answer.taken] == [True]
    assert answer.taken[0].stored == tmp_path / "elsewhere/captures/t1/t1.wav"
