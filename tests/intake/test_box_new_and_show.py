"""Starting a box, its list brought up to date, the agreement, and how a box stands against its disk."""

import shutil

import pytest
from make.command import takeup

from takeup.box.folder import Box
from takeup.box.record import Record
from takeup.box.standing import box_standing
from takeup.settings import Settings
from takeup.tasks.box_new import box_new

LIST = "id,carrier,label,count\nt1,cassette,Side A,\np1,print,Album,40\n"


@pytest.fixture
def items(tmp_path):
    path = tmp_path / "items.csv"
    path.write_text(LIST, "utf-8")
    return path


@pytest.fixture
def box(tmp_path, items):
    assert takeup("box", "new", tmp_path / "box", "--items", items).status == 0
    return tmp_path / "box"


def the_box(folder):
    return Box(folder, Record(folder))


def test_box_new_lists_every_item_and_counts_the_originals(tmp_path, items):
    answer = takeup("box", "new", tmp_path / "Gran's box", "--items", items, "--json").json
    assert (answer["items"], answer["added"], answer["pieces"], answer["new"]) == (["t1", "p1"], ["t1", "p1"], 41, True)
    assert answer["box"] == str(tmp_path / "Gran's box")


def test_box_new_twice_with_the_same_list_changes_nothing(box, items):
    before = Record(box).facts()
    answer = takeup("box", "new", box, "--items", items, "--json").json
    assert (answer["added"], answer["changed"], answer["new"]) == ([], [], False)
    assert Record(box).facts() == before


def test_box_new_with_a_changed_list_adds_and_updates_and_takes_nothing_away(box, items):
    items.write_text("id,carrier,label\nT1,cassette,Side B\nv1,vhs,Wedding\n", "utf-8")
    answer = takeup("box", "new", box, "--items", items, "--json").json
    assert (answer["added"], answer["changed"], answer["unlisted"]) == (["v1"], ["t1"], ["p1"])
    assert [(one.id, one.label) for one in the_box(box).originals()] == [
        ("t1", "Side B"), ("p1", "Album"), ("v1", "Wedding"),
    ]  # fmt: skip


def test_box_new_never_turns_an_item_with_captures_into_another_carrier(box, items):
    Record(box).append("taken", {"stored": "captures/t1/a.wav"}, item="t1", key="captures/t1/a.wav")
    items.write_text("id,carrier\nt1,vhs\n", "utf-8")
    before = Record(box).facts()
    ran = takeup("box", "new", box, "--items", items)
    assert ran.status == 2 and "t1" in ran.err and ran.err.count("\n") == 1
    assert Record(box).facts() == before


def test_box_new_refuses_a_folder_with_other_things_in_it(tmp_path, items):
    folder = tmp_path / "holiday"
    folder.mkdir()
    (folder / "letter.txt").write_text("keep me")
    ran = takeup("box", "new", folder, "--items", items)
    assert ran.status == 2 and "letter.txt" in ran.err
    assert [path.name for path in folder.iterdir()] == ["letter.txt"]


def test_box_new_with_a_wrong_list_makes_no_folder(tmp_path, items):
    items.write_text("id,carrier\na,vhs\nA,vhs\n", "utf-8")
    ran = takeup("box", "new", tmp_path / "box", "--items", items)
    assert ran.status == 2 and "line 3" in ran.err and not ran.out
    assert not (tmp_path / "box").exists()
    assert takeup("box", "new", items, "--items", tmp_path / "none.csv").status == 2


def test_box_new_picks_up_what_a_kill_left(tmp_path, items):
    """What a kill leaves: the folder, the lock, a record in the making under its part name."""
    folder = tmp_path / "box"
    folder.mkdir()
    (folder / ".takeup-lock").write_bytes(b"")
    (folder / ".takeup-box-1234abcd.takeup-part.sqlite").write_bytes(b"half")
    assert takeup("box", "show", folder).status == 2
    assert takeup("box", "new", folder, "--items", items).status == 0
    assert sorted(path.name for path in folder.iterdir()) == [".takeup-lock", "takeup-box.sqlite"]
    assert len(the_box(folder).originals()) == 2


def test_a_list_that_is_no_text_is_refused(tmp_path):
    path = tmp_path / "items.csv"
    for data in ("id,carrier\na,vhs\n".encode("utf-16"), b"id,carrier\na,vhs,\xff\xe9\n", b"RIFF\x00\x00\x00\x00"):
        path.write_bytes(data)
        ran = takeup("box", "new", tmp_path / "box", "--items", path)
        assert ran.status == 2 and "UTF-8" in ran.err


def test_agreement_is_noted_once_and_holds_nothing_of_the_person(box):
    first = takeup("agree", box, "--form", "2027-1", "--lang", "zh-Hans", "--json").json
    second = takeup("agree", box, "--form", "2027-1", "--lang", "zh-Hans", "--json").json
    assert second.pop("already") is True and first == second
    (fact,) = Record(box).facts("agreed")
    assert set(fact.facts) == {"form", "lang", "date", "adult_for_minor"}
    assert (fact.facts["form"], fact.facts["lang"], fact.facts["adult_for_minor"]) == ("2027-1", "zh-Hans", False)
    takeup("agree", box, "--form", "2027-1", "--lang", "zh-Hans", "--adult-for-minor")
    assert [fact.facts["adult_for_minor"] for fact in Record(box).facts("agreed")] == [False, True]


@pytest.mark.parametrize("form", ["", "   ", "x" * 41, "a\x00b"[:1] + "\u200b"])
def test_agreement_without_a_version_is_refused(box, form):
    ran = takeup("agree", box, "--form", form)
    assert ran.status == 2 and not Record(box).facts("agreed")


def taken(box, item, name, data=b"capture"):
    stored = f"captures/{item}/{name}"
    path = box / "captures" / item / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    facts = {"stored": stored, "source": f"/station/{name}", "bytes": len(data), "sha256": name, "part": name[:-4]}
    Record(box).append("taken", facts, item=item, key=stored)
    return stored


def checked(box, item, stored, verdict, repeats=""):
    report = {"medium": "sound", "seconds": 1.0, "verdict": verdict}
    facts = {"sha256": stored.rsplit("/", 1)[1], "report": report, "repeats": repeats}
    Record(box).append("checked", facts, item=item, key=stored)


def made(box, item, stored, name):
    path = box / "masters" / item / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"master")
    facts = {
        "role": "master",
        "path": f"masters/{item}/{name}",
        "bytes": 6,
        "sha256": "",
        "from": [stored],
        "picture": "",
    }
    Record(box).append("made", facts, item=item, key=facts["path"])


def stands(box, item="t1"):
    return next(one for one in box_standing(the_box(box)).items if one.original.id == item)


def test_an_item_walks_through_every_step_in_order(box):
    record = Record(box)
    assert (stands(box).next, box_standing(the_box(box)).next) == ("screen", "screen")
    for item in ("t1", "p1"):
        record.append("screened", {"outcome": "accept", "why": [], "do": []}, item=item)
    assert (stands(box).next, box_standing(the_box(box)).next) == ("take", "agree")
    record.append("agreed", {"form": "1", "lang": "en", "date": "2027-03-01", "adult_for_minor": False})
    assert box_standing(the_box(box)).next == "take"
    stored = taken(box, "t1", "side-a.wav")
    assert (stands(box).next, stands(box).done["captured"]) == ("check", True)
    checked(box, "t1", stored, "good")
    assert (stands(box).next, stands(box).verdict) == ("finish", "good")
    made(box, "t1", stored, "side-a.wav")
    assert stands(box).next == "describe"
    record.append("described", {"title": "x"}, item="t1")
    assert stands(box).next == "pack"
    contents = [{"path": "data/x.wav", "item": "t1"}]
    record.append("packed", {"parcel": "parcel", "manifest_sha256": "m", "contents": contents})
    assert (stands(box).next, stands(box).done["packed"]) == ("deliver", True)
    record.append("delivered", {"manifest_sha256": "m"}, key="r1")
    assert stands(box).next == "clear"
    record.append("cleared", {"source": "/station/side-a.wav"}, item="t1", key="/station/side-a.wav")
    assert stands(box).next == "" and all(stands(box).done.values())


def test_redo_asks_for_another_capture_and_a_better_second_one_goes_on(box):
    Record(box).append("screened", {"outcome": "accept"}, item="t1")
    first = taken(box, "t1", "side-a.wav")
    checked(box, "t1", first, "redo")
    assert (stands(box).next, stands(box).holds[0].key) == ("capture again", "redo")
    second = taken(box, "t1", "side-a-again.wav")
    assert stands(box).next == "check"
    checked(box, "t1", second, "good", repeats=first)
    assert (stands(box).next, stands(box).verdict) == ("finish", "good")


def test_a_capture_gone_from_the_disk_or_cut_is_said(box):
    stored = taken(box, "t1", "side-a.wav")
    (box / stored).write_bytes(b"cap")
    answer = takeup("box", "show", box, "--json").json["items"][0]
    assert answer["captured"] is False and "3 bytes" in answer["held_up_by"][0] and stored in answer["held_up_by"][0]
    (box / stored).unlink()
    answer = takeup("box", "show", box, "--json").json["items"][0]
    assert answer["captured"] is False and stored in answer["held_up_by"][0]


def test_what_is_made_after_packing_wants_packing_again(box):
    Record(box).append("screened", {"outcome": "accept"}, item="t1")
    stored = taken(box, "t1", "side-a.wav")
    checked(box, "t1", stored, "good")
    made(box, "t1", stored, "side-a.wav")
    Record(box).append("packed", {"parcel": "parcel", "manifest_sha256": "m", "contents": [{"item": "t1"}]})
    assert stands(box).done["packed"] is True
    made(box, "t1", stored, "side-a-2.wav")
    assert stands(box).done["packed"] is False


def test_finished_file_gone_wants_finishing_again(box):
    stored = taken(box, "t1", "side-a.wav")
    checked(box, "t1", stored, "good")
    made(box, "t1", stored, "side-a.wav")
    assert stands(box).done["finished"] is True
    (box / "masters" / "t1" / "side-a.wav").unlink()
    assert stands(box).done["finished"] is False and stands(box).holds[0].key == "made-missing"


def test_refused_item_has_no_next_step(box):
    Record(box).append("screened", {"outcome": "refuse"}, item="t1")
    assert (stands(box).next, stands(box).holds[0].key) == ("", "refused")


def test_box_copied_elsewhere_still_shows_the_same(box, tmp_path):
    taken(box, "t1", "side-a.wav")
    before = takeup("box", "show", box, "--json").json
    shutil.copytree(box, tmp_path / "other disk" / "box")
    after = takeup("box", "show", tmp_path / "other disk" / "box", "--json").json
    assert after | {"box": ""} == before | {"box": ""}


@pytest.mark.parametrize("words", [("box", "show"), ("screen",), ("plan",), ("agree", "--form", "1")])
def test_a_place_without_a_box_is_told_in_one_sentence(tmp_path, words):
    ran = takeup(*words, tmp_path / "nothing")
    assert ran.status == 2 and ran.err.count("\n") == 1 and "nothing" in ran.err and not ran.out


def test_box_title_stands_until_another_is_given(tmp_path):
    items = tmp_path / "items.csv"
    items.write_text("id,carrier\nt1,cassette\n", "utf-8")
    settings = Settings()
    first = box_new(tmp_path / "b", items, settings).box
    assert first.title == "b"
    named = box_new(tmp_path / "b", items, settings, title="The Tan and Marlow family").box
    assert named.title == "The Tan and Marlow family"
    assert box_new(tmp_path / "b", items, settings).box.title == "The Tan and Marlow family"
