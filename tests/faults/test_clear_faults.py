"""clear: a station's file goes only under a whole receipt, unchanged, with its stored copy whole; all else stays."""

import json
import os

import pytest
from make.boxes import SETTINGS, files_under, make_box, make_station, pack, wav_bytes
from make.command import takeup
from make.kills import killed_at_every_step, quick_folder

from takeup.errors import NotAllowedNow
from takeup.files import remove
from takeup.tables.loader import load_rows
from takeup.tasks.clear import clear
from takeup.tasks.deliver import deliver
from takeup.tasks.take import take

THREE = {"t1_side_a__wav": wav_bytes(1), "t1_side_b__wav": wav_bytes(2), "t2__wav": wav_bytes(3)}


def take_in(box, station):
    return take(box.folder, [station], rows=load_rows(), settings=SETTINGS)


def hand_over(box, folder, **more):
    pack(box, **more)
    (folder / "drive").mkdir(exist_ok=True)
    return deliver(box.folder, folder / "drive", rows=load_rows(), settings=SETTINGS)


@pytest.fixture
def lab(tmp_path):
    """A box whose three captures were delivered, and its station."""
    box = make_box(tmp_path / "box")
    station = make_station(tmp_path / "st", **THREE)
    take_in(box, station)
    hand_over(box, tmp_path)
    return box, station


def run(box):
    return clear(box.folder, settings=SETTINGS)


def whys(done):
    return {kept.file.name: kept.why for kept in done.kept}


def test_clear_removes_what_was_delivered_and_nothing_else(lab, tmp_path):
    box, station = lab
    (station / "stranger.wav").write_bytes(wav_bytes(9))
    inside, drive = files_under(box.folder / "captures"), files_under(tmp_path / "drive")
    done = run(box)
    assert {path.name for path in done.removed} == {"t1_side_a.wav", "t1_side_b.wav", "t2.wav"} and done.kept == []
    assert files_under(station) == {"stranger.wav": wav_bytes(9)}
    assert files_under(box.folder / "captures") == inside and files_under(tmp_path / "drive") == drive
    assert {fact.facts["source"] for fact in box.record.latest("cleared")} == {str(path) for path in done.removed}


def test_clear_twice_does_its_work_once(lab):
    box, _ = lab
    run(box)
    again = run(box)
    assert (again.removed, again.kept) == ([], []) and len(box.record.facts("cleared")) == 3


def test_clear_needs_no_drive(lab, tmp_path):
    box, station = lab
    (tmp_path / "drive").rename(tmp_path / "gone home")
    assert len(run(box).removed) == 3 and files_under(station) == {}


def test_clear_without_a_receipt_removes_nothing(tmp_path):
    box = make_box(tmp_path / "box")
    station = make_station(tmp_path / "st", **THREE)
    take_in(box, station)
    with pytest.raises(NotAllowedNow) as stop:
        run(box)
    assert stop.value.key == "clear.no-receipt" and len(files_under(station)) == 3
    ran = takeup("clear", box.folder, "--json")
    assert ran.status == 2 and len(ran.err.splitlines()) == 1 and len(files_under(station)) == 3


@pytest.mark.parametrize("harm", ["gone", "one byte", "cut", "other parcel", "said not read back"])
def test_clear_with_a_receipt_that_is_not_whole_removes_nothing(lab, harm):
    box, station = lab
    [path] = (box.folder / "receipts").glob("*.json")
    receipt = json.loads(path.read_text())
    if harm == "gone":
        path.unlink()
    elif harm == "one byte":
        path.write_bytes(path.read_bytes().replace(b'"files"', b'"Files"'))
    elif harm == "cut":
        path.write_bytes(path.read_bytes()[:-200])
    elif harm == "other parcel":
        path.write_text(json.dumps(receipt | {"manifest_sha256": "0" * 64}))
    else:
        path.write_text(json.dumps(receipt | {"read_back": False}))
    with pytest.raises(NotAllowedNow) as stop:
        run(box)
    assert stop.value.key == "clear.receipt-damaged" and len(files_under(station)) == 3


def test_clear_one_of_two_receipts_is_enough(lab, tmp_path):
    box, station = lab
    (tmp_path / "sister").mkdir()
    second = deliver(box.folder, tmp_path / "sister", rows=load_rows(), settings=SETTINGS)
    second.receipt.write_bytes(b"")
    assert len(run(box).removed) == 3 and files_under(station) == {}


@pytest.mark.parametrize("harm", ["longer", "same length", "shorter"])
def test_clear_file_that_changed_since_it_was_taken_is_kept_and_the_rest_goes(lab, harm):
    box, station = lab
    data = {"longer": wav_bytes(3) + b"x", "same length": wav_bytes(4), "shorter": wav_bytes(3)[:-1]}[harm]
    (station / "t2.wav").write_bytes(data)
    done = run(box)
    assert len(done.removed) == 2 and whys(done) == {"t2.wav": "changed"}
    assert files_under(station) == {"t2.wav": data}


def test_clear_touched_file_with_the_same_content_goes(lab):
    box, station = lab
    os.utime(station / "t2.wav", (1, 1))
    assert len(run(box).removed) == 3


def test_clear_capture_that_was_not_delivered_is_kept(tmp_path):
    box = make_box(tmp_path / "box")
    station = make_station(tmp_path / "st", **THREE)
    take_in(box, station)
    hand_over(box, tmp_path, leave_out=("captures/t2/t2.wav",))
    done = run(box)
    assert whys(done) == {"t2.wav": "not-delivered"} and files_under(station) == {"t2.wav": wav_bytes(3)}


def test_clear_capture_taken_after_packing_is_kept(lab):
    box, station = lab
    (station / "t2 again.wav").write_bytes(wav_bytes(8))
    take_in(box, station)
    assert whys(run(box)) == {"t2 again.wav": "not-delivered"} and len(files_under(station)) == 1


def test_clear_earlier_try_of_a_delivered_part_goes_and_another_part_stays(tmp_path):
    """t1 side a was captured twice and the second delivered; side b was never finished."""
    box = make_box(tmp_path / "box")
    station = make_station(tmp_path / "st", t1_side_a__wav=wav_bytes(1), t1_side_b__wav=wav_bytes(2))
    take_in(box, station)
    (station / "t1_side_a_second try.wav").write_bytes(wav_bytes(5))
    take_in(box, station)
    hand_over(box, tmp_path, leave_out=("captures/t1/t1_side_a.wav", "captures/t1/t1_side_b.wav"))
    done = run(box)
    assert {path.name for path in done.removed} == {"t1_side_a.wav", "t1_side_a_second try.wav"}
    assert whys(done) == {"t1_side_b.wav": "not-delivered"}


def test_clear_station_file_that_was_captured_over_is_known_by_its_content(tmp_path):
    """The station wrote the second capture over the first, under its name; both were taken, the second delivered."""
    box = make_box(tmp_path / "box")
    station = make_station(tmp_path / "st", t1__wav=wav_bytes(1))
    take_in(box, station)
    (station / "t1.wav").write_bytes(wav_bytes(2))
    take_in(box, station)
    hand_over(box, tmp_path, leave_out=("captures/t1/t1.wav",))
    assert len(run(box).removed) == 1 and files_under(station) == {}


@pytest.mark.parametrize("harm", ["gone", "changed", "cut"])
def test_clear_when_the_boxs_own_copy_is_not_whole_the_stations_stays(lab, harm):
    box, station = lab
    stored = box.folder / "captures/t2/t2.wav"
    data = stored.read_bytes()
    stored.unlink()
    if harm != "gone":
        stored.write_bytes(data[:-1] + (b"?" if harm == "changed" else b""))
    done = run(box)
    assert whys(done) == {"t2.wav": "stored-not-whole"} and list(files_under(station)) == ["t2.wav"]


def test_clear_follows_no_link(lab, tmp_path):
    box, station = lab
    precious = tmp_path / "precious.wav"
    precious.write_bytes(wav_bytes(3))
    (station / "t2.wav").unlink()
    (station / "t2.wav").symlink_to(precious)
    done = run(box)
    assert whys(done) == {"t2.wav": "link"} and precious.read_bytes() == wav_bytes(3)
    assert (station / "t2.wav").is_symlink()


def test_clear_station_folder_that_became_a_link_is_left_alone(lab, tmp_path):
    box, station = lab
    station.rename(tmp_path / "moved")
    station.symlink_to(tmp_path / "moved")
    done = run(box)
    assert done.removed == [] and set(whys(done).values()) == {"link"} and len(files_under(tmp_path / "moved")) == 3


def test_clear_folder_in_a_files_place_is_kept(lab):
    box, station = lab
    (station / "t2.wav").unlink()
    (station / "t2.wav").mkdir()
    assert whys(run(box)) == {"t2.wav": "not-a-file"} and (station / "t2.wav").is_dir()


def test_clear_file_that_changes_between_the_look_and_the_removal_is_kept(lab, monkeypatch):
    from takeup.tasks import clear as task

    box, station = lab
    honest = task._check_stored

    def slow(*args):
        honest(*args)
        with (station / "t2.wav").open("ab") as file:
            file.write(b"late")

    monkeypatch.setattr(task, "_check_stored", slow)
    done = run(box)
    assert whys(done)["t2.wav"] in ("growing", "changed") and (station / "t2.wav").exists()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork a command to kill it")
def test_clear_killed_at_every_step_goes_on_and_loses_nothing():
    with quick_folder() as folder:
        box = make_box(folder / "box")
        station = make_station(folder / "st", **THREE)
        take_in(box, station)
        hand_over(box, folder)
        inside, kills = files_under(box.folder / "captures"), 0
        sources = {str(path) for path in station.iterdir()}
        for step in killed_at_every_step(lambda: run(box), every=2):
            kills += 1
            assert files_under(box.folder / "captures") == inside, step
            run(box)
            assert files_under(station) == {}, step
            assert {fact.facts["source"] for fact in box.record.latest("cleared")} == sources
            make_station(folder / "st", **THREE)
        assert kills > 8


def test_remove_source_without_the_receipt_that_names_it_refuses(lab, tmp_path):
    _, station = lab
    seen = remove.look_at_source(station / "t2.wav")
    for receipt in (None, {"captures": []}, remove.WholeReceipt(tmp_path, {"captures": []})):
        with pytest.raises(NotAllowedNow):
            remove.remove_source(station / "t2.wav", receipt, seen)
    assert (station / "t2.wav").exists()


def test_only_remove_and_beside_take_files_away():
    """No other module of ours calls unlink, remove, rmtree or rmdir on anything but its own half-made part."""
    import ast
    from pathlib import Path

    import takeup

    allowed = {"files/remove.py", "files/beside.py", "files/taking_back.py"}
    own_parts = {"files/copy.py", "files/trial.py", "tasks/take.py"}  # they drop a part that they opened a moment ago
    desks = {"files/own.py", "files/label_photos.py", "files/passing.py"}  # the desk made them for itself
    found = set()
    for path in Path(takeup.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Attribute) and node.attr in ("unlink", "rmtree", "rmdir", "removedirs"):
                found.add(path.relative_to(Path(takeup.__file__).parent).as_posix())
    rooms = {name for name in found if name.startswith(("files/", "tasks/take", "tasks/clear", "tasks/deliver"))}
    assert rooms <= allowed | own_parts | desks


def test_clear_command_answers_with_the_contracts_names(lab):
    box, station = lab
    (station / "t2.wav").write_bytes(b"changed")
    ran = takeup("clear", box.folder, "--json")
    assert ran.status == 0 and set(ran.json) == {"removed", "kept"} and len(ran.json["removed"]) == 2
    assert set(ran.json["kept"][0]) == {"file", "why"}
