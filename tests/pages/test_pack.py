"""Packing a box: a whole package that anybody can check, twice the same, nothing wrong let through."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import sys
from pathlib import Path
from urllib.parse import unquote

import bagit
import pytest
from make.family_box import add_checked, add_made, family_box

from takeup.box.folder import Box
from takeup.box.record import Record
from takeup.errors import NotPossible
from takeup.files.names import why_unsafe
from takeup.settings import Settings
from takeup.tasks.pack import pack

SETTINGS = Settings(lab="Port Ellery Library", who="tester")


@pytest.fixture(scope="module")
def made_box(tmp_path_factory) -> Path:
    """The family's box, made once and copied for each test."""
    return family_box(tmp_path_factory.mktemp("made") / "Tan-Marlow family").folder


@pytest.fixture
def box(tmp_path, made_box) -> Box:
    folder = shutil.copytree(made_box, tmp_path / made_box.name)
    return Box(folder, Record(folder, "tester"))


def state(folder: Path) -> dict[str, tuple[int, int, int]]:
    files = (path for path in folder.rglob("*") if path.is_file())
    return {
        str(path.relative_to(folder)): (path.stat().st_ino, path.stat().st_size, path.stat().st_mtime_ns)
        for path in files
    }


def test_pack_makes_a_package_that_another_reader_accepts(box):
    """The second, independent reader is the Library of Congress' own module bagit."""
    packed = pack(box.folder, SETTINGS)
    bag = bagit.Bag(str(packed.parcel))
    assert bag.is_valid() and bag.info["Payload-Oxum"] == f"{packed.bytes}.{packed.files}"
    payload = [path for path in (packed.parcel / "data").rglob("*") if path.is_file()]
    assert (packed.files, packed.bytes) == (len(payload), sum(path.stat().st_size for path in payload))


def test_pack_can_be_checked_without_takeup(box):
    parcel = pack(box.folder, SETTINGS).parcel
    done = subprocess.run(
        ["sha256sum", "-c", "--quiet", "manifest-sha256.txt"], cwd=parcel, capture_output=True, text=True
    )
    assert (done.returncode, done.stdout) == (0, "")
    words = (parcel / "bag-info.txt").read_text("utf-8")
    assert "sha256sum -c manifest-sha256.txt" in words and "指纹" in words


def test_pack_twice_changes_nothing(box):
    first = pack(box.folder, SETTINGS)
    before, facts = state(box.folder / "parcel"), len(box.record.facts())
    again = pack(box.folder, SETTINGS)
    assert again.already and (again.files, again.bytes, again.parcel) == (first.files, first.bytes, first.parcel)
    assert state(box.folder / "parcel") == before and len(box.record.facts()) == facts


def test_pack_costs_no_space_where_the_disk_links(box):
    parcel = pack(box.folder, SETTINGS).parcel
    assert (parcel / "data/01 t1 Aunt Wen, New Year 1983/t1-side-a.m4a").samefile(box.path("copies/t1/t1-side-a.m4a"))


def test_pack_reaches_every_file_from_the_letter_and_names_are_safe(box):
    parcel = pack(box.folder, SETTINGS).parcel
    text = unquote((parcel / "data/open-me.html").read_text("utf-8"))
    for path in (parcel / "data").rglob("*"):
        assert why_unsafe(path.name) is None
        if path.is_file() and path.name != "open-me.html":
            assert f'"{path.relative_to(parcel / "data")}"' in text.replace("&#39;", "'")


def test_pack_names_what_is_not_in_it_and_why(box):
    packed = pack(box.folder, SETTINGS)
    text = (packed.parcel / "data/open-me.html").read_text("utf-8")
    assert packed.missing == ("m1", "t9", "r1")
    assert "because it could not be played or scanned here" in text
    assert "because it has not been captured yet" in text
    assert "because the capture is not good enough yet" in text


def test_pack_names_a_side_that_is_not_in_it(box):
    from make.family import CLIPPED, sound_report

    add_checked(box, "t1", "captures/t1/side-c.wav", sound_report(9, [CLIPPED]), part="side-c")
    text = (pack(box.folder, SETTINGS).parcel / "data/open-me.html").read_text("utf-8")
    assert "Side C" in text and "C 面" in text


def test_pack_only_copies_has_no_master_and_says_so(box):
    packed = pack(box.folder, SETTINGS, only_copies=True)
    text = (packed.parcel / "data/open-me.html").read_text("utf-8")
    assert not list(packed.parcel.rglob("*.wav")) and not list(packed.parcel.rglob("*.mkv"))
    assert "k1" in packed.missing and "this one has a master only" in text
    assert pack(box.folder, SETTINGS).already is False  # the whole parcel is another one
    assert list(packed.parcel.rglob("*.mkv"))


def test_pack_remembers_what_every_file_was_made_from(box):
    packed = pack(box.folder, SETTINGS)
    (fact,) = box.record.latest("packed")
    contents = {entry["path"]: entry for entry in fact.facts["contents"]}
    side = contents["data/01 t1 Aunt Wen, New Year 1983/t1-side-a.m4a"]
    assert (side["item"], side["role"], side["from"]) == ("t1", "copy", ["captures/t1/side-a.wav"])
    manifest = (packed.parcel / "manifest-sha256.txt").read_bytes()
    assert fact.facts["manifest_sha256"] == hashlib.sha256(manifest).hexdigest()
    assert not Path(fact.facts["parcel"]).is_absolute() and len(contents) == packed.files


@pytest.mark.parametrize("first", [True, False])
def test_pack_refuses_a_finished_file_that_changed(box, first):
    if not first:
        pack(box.folder, SETTINGS)
    path = box.path("masters/t1/t1-side-a.wav")
    data = bytearray(path.read_bytes())
    data[100] ^= 1
    path.unlink()
    path.write_bytes(data)
    with pytest.raises(NotPossible) as fault:
        pack(box.folder, SETTINGS)
    assert fault.value.key == "package.source-changed"
    assert not list((box.folder / "parcel").glob(".*"))


def test_pack_refuses_a_finished_file_that_is_gone(box):
    box.path("copies/v1/v1.mp4").unlink()
    with pytest.raises(NotPossible) as fault:
        pack(box.folder, SETTINGS)
    assert fault.value.key == "package.source-gone" and not (box.folder / "parcel").exists()


def test_pack_mends_a_parcel_that_was_harmed(box):
    parcel = pack(box.folder, SETTINGS).parcel
    for harm in ("data/open-me.html", "bagit.txt"):
        (parcel / harm).unlink()
        assert pack(box.folder, SETTINGS).already is False
    (parcel / "data/stranger.exe").write_bytes(b"x")
    assert pack(box.folder, SETTINGS).already is False
    assert bagit.Bag(str(parcel)).is_valid() and not (parcel / "data/stranger.exe").exists()


def test_pack_withdrawn_files_are_not_packed(box):
    (fact,) = [fact for fact in box.record.latest("made", "v1") if fact.facts["role"] == "copy"]
    box.record.append("made", fact.facts | {"gone": True}, item="v1", key=fact.key)
    box.path("copies/v1/v1.mp4").unlink()
    assert not list(pack(box.folder, SETTINGS).parcel.rglob("*.mp4"))


def test_pack_nothing_made_is_a_plain_fault(tmp_path):
    (tmp_path / "b").mkdir()
    empty = Box(tmp_path / "b", Record(tmp_path / "b", "tester"))
    empty.record.start()
    with pytest.raises(NotPossible) as fault:
        pack(empty.folder, SETTINGS)
    assert fault.value.key == "pack.nothing-made"


def test_pack_only_copies_of_masters_alone_is_a_plain_fault(tmp_path):
    (tmp_path / "b/masters").mkdir(parents=True)
    box = Box(tmp_path / "b", Record(tmp_path / "b", "tester"))
    box.record.start()
    box.record.append("item-listed", {"id": "k1", "carrier": "cassette"}, item="k1")
    (tmp_path / "b/masters/k1.wav").write_bytes(b"x")
    add_made(box, "k1", "master", "masters/k1.wav", [])
    with pytest.raises(NotPossible) as fault:
        pack(box.folder, SETTINGS, only_copies=True)
    assert fault.value.key == "pack.no-copies"


def test_pack_a_copy_that_cannot_be_pictured_is_packed_all_the_same(box):
    for path in ("copies/v1/v1.mp4", "copies/p1/p1-1.jpg", "copies/d1/d1.pdf"):
        box.path(path).write_bytes(b"not what its name says" * 9)
        (fact,) = [fact for fact in box.record.latest("made") if fact.key == path]
        add_made(box, fact.item, "copy", path, fact.facts["from"], fact.facts["picture"])
    parcel = pack(box.folder, SETTINGS).parcel
    assert bagit.Bag(str(parcel)).is_valid() and len(list((parcel / "data/for this letter").iterdir())) == 1


def test_pack_a_box_moved_to_another_place_still_packs(box):
    pack(box.folder, SETTINGS)
    moved = box.folder.rename(box.folder.with_name("moved"))
    assert pack(moved, SETTINGS).parcel.is_relative_to(moved)


def test_pack_command_answers_as_the_contract_says(box):
    done = subprocess.run(
        [sys.executable, "-m", "takeup", "pack", str(box.folder), "--json"], capture_output=True, text=True, check=False
    )
    answer = json.loads(done.stdout)
    assert done.returncode == 0 and set(answer) >= {"parcel", "files", "bytes", "algorithms"}
    assert Path(answer["parcel"]).is_absolute() and answer["algorithms"] == ["sha256"]


def test_pack_command_nothing_to_pack_is_one_sentence_and_two(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "takeup", "pack", str(tmp_path), "--json"], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout) == (2, "") and len(done.stderr.strip().splitlines()) == 1
