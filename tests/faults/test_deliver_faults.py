"""deliver: read back from the drive, resumed after a kill, honest about drives that lie or fill up."""

import json
import os

import pytest
from make.boxes import SETTINGS, files_under, make_box, make_station, pack, sha256, wav_bytes
from make.command import takeup
from make.kills import killed_at_every_step, quick_folder
from make.small_disk import small_disk

from takeup.errors import CopyDiffers, NotAllowedNow, NotPossible
from takeup.files import parcel_copy
from takeup.files.hash import Hashed
from takeup.files.package_read import verify_package
from takeup.tables.loader import load_rows
from takeup.tasks.deliver import deliver
from takeup.tasks.take import take


def make_ready(folder):
    """A box with two captures, packed."""
    box = make_box(folder / "box")
    station = make_station(folder / "st", t1_side_a__wav=wav_bytes(1), t2__wav=wav_bytes(2))
    take(box.folder, [station], rows=load_rows(), settings=SETTINGS)
    pack(box)
    return box


@pytest.fixture
def box(tmp_path):
    (tmp_path / "drive").mkdir()
    return make_ready(tmp_path)


def run(box, drive):
    return deliver(box.folder, drive, rows=load_rows(), settings=SETTINGS)


def receipts(box):
    return sorted((box.folder / "receipts").glob("*.json"))


def test_deliver_parcel_is_whole_on_the_drive_and_has_a_receipt(box, tmp_path):
    done = run(box, tmp_path / "drive")
    verified = verify_package(done.parcel)
    assert verified.intact and verified.warnings == () and (verified.files, verified.bytes) == (done.files, done.bytes)
    [path] = receipts(box)
    receipt = json.loads(path.read_text())
    assert done.receipt == path and receipt["read_back"] is True
    assert {entry["path"]: entry["sha256"] for entry in receipt["contents"]} == {
        name: sha256(data) for name, data in files_under(done.parcel).items()
    }
    beside = {p.name for p in (tmp_path / "drive").iterdir()}
    assert beside == {done.parcel.name, f"{done.parcel.name}-receipt.json", f"{done.parcel.name}-receipt.html"}
    assert (tmp_path / "drive" / f"{done.parcel.name}-receipt.json").read_bytes() == path.read_bytes()
    [fact] = box.record.latest("delivered")
    assert fact.facts["receipt_sha256"] == sha256(path.read_bytes())
    assert {capture["stored"] for capture in fact.facts["captures"]} == {
        "captures/t1/t1_side_a.wav", "captures/t2/t2.wav",
    }  # fmt: skip


def test_deliver_twice_to_one_drive_copies_and_certifies_once(box, tmp_path):
    first, again = run(box, tmp_path / "drive"), run(box, tmp_path / "drive")
    assert (first.kept, again.copied) == (0, 0) and again.receipt == first.receipt and len(receipts(box)) == 1


def test_deliver_to_two_drives_gives_a_receipt_each(box, tmp_path):
    (tmp_path / "sister").mkdir()
    assert run(box, tmp_path / "drive").receipt != run(box, tmp_path / "sister").receipt
    assert len(receipts(box)) == 2


def test_deliver_to_another_drive_at_the_same_place_gives_its_own_receipt(box, tmp_path):
    run(box, tmp_path / "drive")
    (tmp_path / "drive").rename(tmp_path / "gone home")
    (tmp_path / "drive").mkdir()
    run(box, tmp_path / "drive")
    assert len(receipts(box)) == 2


def test_deliver_goes_on_where_it_stopped_and_copies_only_what_is_not_right(box, tmp_path):
    done = run(box, tmp_path / "drive")
    (done.parcel / "bagit.txt").unlink()
    (done.parcel / "data/captures/t2/t2.wav").write_bytes(b"half")
    kept = (done.parcel / "data/captures/t1/t1_side_a.wav").stat()
    again = run(box, tmp_path / "drive")
    assert (again.copied, again.parcel) == (2, done.parcel) and verify_package(done.parcel).intact
    assert (done.parcel / "data/captures/t1/t1_side_a.wav").stat().st_mtime_ns == kept.st_mtime_ns


def test_deliver_changed_bytes_of_the_same_length_are_found_and_copied_again(box, tmp_path):
    done = run(box, tmp_path / "drive")
    path = done.parcel / "data/captures/t2/t2.wav"
    data = bytearray(path.read_bytes())
    data[1000] ^= 1
    path.write_bytes(data)
    assert run(box, tmp_path / "drive").copied == 1 and path.read_bytes() == wav_bytes(2)


def test_deliver_beside_somebody_elses_folder_of_that_name_takes_another(box, tmp_path):
    (tmp_path / "drive/box-parcel").mkdir()
    (tmp_path / "drive/box-parcel/holiday.jpg").write_bytes(b"theirs")
    done = run(box, tmp_path / "drive")
    assert done.parcel.name == "box-parcel-2" and verify_package(done.parcel).intact
    assert files_under(tmp_path / "drive/box-parcel") == {"holiday.jpg": b"theirs"}


def test_deliver_an_older_parcel_stays_as_it_is(box, tmp_path):
    old = run(box, tmp_path / "drive").parcel
    before = files_under(old)
    make_station(tmp_path / "st", t2_more__wav=wav_bytes(7))
    take(box.folder, [tmp_path / "st"], rows=load_rows(), settings=SETTINGS)
    pack(box)
    new = run(box, tmp_path / "drive").parcel
    assert new != old and files_under(old) == before and verify_package(new).intact


def lying(monkeypatch, wrong, times):
    """A drive that gives back other bytes for one file, so many times."""
    honest, left = parcel_copy.hash_fresh, [times]

    def read(path, *rest, **more):
        hashed = honest(path, *rest, **more)
        if path.name == wrong and left[0]:
            left[0] -= 1
            return Hashed({"sha256": "0" * 64}, hashed.bytes, hashed.how)
        return hashed

    monkeypatch.setattr(parcel_copy, "hash_fresh", read)


def test_deliver_file_that_differs_once_is_copied_once_more(box, tmp_path, monkeypatch):
    lying(monkeypatch, "t2.wav", 1)
    assert verify_package(run(box, tmp_path / "drive").parcel).intact and len(receipts(box)) == 1


def test_deliver_file_that_differs_twice_is_named_and_there_is_no_receipt(box, tmp_path, monkeypatch):
    lying(monkeypatch, "t2.wav", 2)
    with pytest.raises(CopyDiffers) as stop:
        run(box, tmp_path / "drive")
    assert stop.value.exit_status == 2 and "t2.wav" in stop.value.facts["path"]
    assert receipts(box) == [] and box.record.latest("delivered") == []
    there = files_under(tmp_path / "drive")
    assert not any(name.endswith(("bagit.txt", "t2.wav", "receipt.json", "receipt.html")) for name in there)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork a command to kill it")
def test_deliver_killed_at_every_step_never_looks_whole_and_goes_on():
    with quick_folder() as folder:
        box, kills = make_ready(folder), 0
        drive = [folder / "drive-0"]
        drive[0].mkdir()
        for step in killed_at_every_step(lambda: run(box, drive[0]), every=2):
            kills += 1
            parcel = drive[0] / "box-parcel"
            if (parcel / "bagit.txt").exists():  # it says it is a package: then it is a whole one
                verified = verify_package(parcel)
                assert [noted for noted in verified.problems if noted.what != "extra"] == [], step
            done = run(box, drive[0])
            assert verify_package(done.parcel).intact, step
            assert len([path for path in drive[0].iterdir() if path.is_dir()]) == 1
            for receipt in receipts(box):
                json.loads(receipt.read_text())
            drive[0] = folder / f"drive-{step}"
            drive[0].mkdir()
        assert kills > 10


def test_deliver_drive_too_small_is_told_before_anything_is_copied(tmp_path):
    with small_disk(tmp_path / "drive", megabytes=8) as drive:
        box = make_box(tmp_path / "box")
        station = make_station(tmp_path / "st", t1__wav=wav_bytes(1) + bytes(9_000_000))
        take(box.folder, [station], rows=load_rows(), settings=SETTINGS)
        pack(box)
        ran = takeup("deliver", box.folder, drive, "--json")
        assert (ran.status, ran.out) == (2, "") and len(ran.err.splitlines()) == 1
        assert files_under(drive) == {} and not (box.folder / "receipts").exists()


def test_deliver_drive_that_fills_up_on_the_way_leaves_nothing_half_made(tmp_path, monkeypatch):
    from takeup.tasks import deliver as task

    with small_disk(tmp_path / "drive", megabytes=8) as drive:
        box = make_box(tmp_path / "box")
        station = make_station(tmp_path / "st", t1__wav=wav_bytes(1), t2__wav=wav_bytes(2) + bytes(9_000_000))
        take(box.folder, [station], rows=load_rows(), settings=SETTINGS)
        pack(box)
        monkeypatch.setattr(task, "room_at", lambda path: type("Room", (), {"free": 10**12}))
        with pytest.raises(NotPossible) as stop:
            run(box, drive)
        assert stop.value.key == "disk.full"
        expected = files_under(box.folder / "parcel/box-parcel")
        there = files_under(drive / "box-parcel")
        assert "bagit.txt" not in there and all(expected[name] == data for name, data in there.items())


def test_deliver_read_only_drive_is_a_plain_sentence(tmp_path, box):
    with small_disk(tmp_path / "locked", megabytes=8, options=",ro") as drive:
        ran = takeup("deliver", box.folder, drive)
        assert ran.status == 2 and len(ran.err.splitlines()) == 1 and receipts(box) == []


def test_deliver_file_over_the_drives_longest_is_told_before_anything_is_copied(box, tmp_path, monkeypatch):
    """FAT32 holds no file of 2**32 - 1 bytes or more (row fat32.file_bytes); here the row is smaller."""
    from takeup.tasks import deliver as task

    monkeypatch.setattr(task, "kind_of", lambda path: "vfat")
    assert run(box, tmp_path / "drive").files == 3
    small = task.known_file_system("vfat", load_rows())
    monkeypatch.setattr(
        task, "known_file_system", lambda kind, rows: type("Small", (), {"file_bytes": 100, "name": small.name})
    )
    (tmp_path / "other").mkdir()
    with pytest.raises(NotPossible) as stop:
        run(box, tmp_path / "other")
    assert stop.value.key == "deliver.file-too-big" and stop.value.facts["path"].endswith(".wav")
    assert files_under(tmp_path / "other") == {}


def test_deliver_missing_drive_unpacked_box_and_drive_in_the_box(box, tmp_path):
    empty = make_box(tmp_path / "empty")
    (box.folder / "inside").mkdir()
    for key, folder, drive in (
        ("drive.not-there", box.folder, tmp_path / "none"),
        ("drive.not-a-folder", box.folder, tmp_path / "st/t2.wav"),
        ("deliver.not-packed", empty.folder, tmp_path / "drive"),
        ("deliver.drive-in-box", box.folder, box.folder / "inside"),
    ):
        with pytest.raises(NotPossible) as stop:
            deliver(folder, drive, rows=load_rows(), settings=SETTINGS)
        assert stop.value.key == key
    assert issubclass(NotAllowedNow, NotPossible)


@pytest.mark.parametrize("harm", ["payload", "manifest", "extra", "gone"])
def test_deliver_parcel_that_changed_in_the_box_gets_no_receipt(box, tmp_path, harm):
    parcel = box.folder / "parcel/box-parcel"
    page = parcel / "data/open-me.html"
    if harm == "payload":
        page.write_bytes(page.read_bytes()[:-1] + b"?")
    elif harm == "manifest":
        (parcel / "manifest-sha256.txt").write_text("")
    elif harm == "extra":
        (parcel / "data/extra.txt").write_text("x")
    else:
        page.unlink()
    with pytest.raises(NotPossible) as stop:
        run(box, tmp_path / "drive")
    assert stop.value.key == "deliver.parcel-changed" and receipts(box) == []
    assert not list((tmp_path / "drive").rglob("bagit.txt"))


def test_deliver_command_answers_with_the_contracts_names(box, tmp_path):
    ran = takeup("deliver", box.folder, tmp_path / "drive", "--json")
    names = {"parcel", "drive", "files", "bytes", "read_back", "read_back_how", "receipt"}
    assert ran.status == 0 and names <= set(ran.json) and ran.json["read_back"] is True
    assert os.path.isabs(ran.json["receipt"]) and os.path.isabs(ran.json["parcel"])
