"""A run of ``takeup describe``: the list taken in, written into finished files; repeated, wrong and half lists."""

import hashlib

import numpy as np
import pytest
import tifffile
from make.captures import captured_box, noise_bursts, put_capture, put_made, report_of, tree, write_sound
from make.command import takeup

from takeup.settings import Settings
from takeup.streams import Original
from takeup.tasks.describe import describe_box
from takeup.tasks.finish import finish_box

HEAD = "id,title,description,people,date,place,keywords,creator,rights\n"


@pytest.fixture
def box(tmp_path):
    originals = [Original(id="c1", carrier="cassette", label="Choir"), Original(id="B1", carrier="print")]
    box = captured_box(tmp_path / "box", originals)
    put_capture(box, "c1", write_sound(tmp_path / "c1.wav", noise_bursts(1.0, 0.2)), "", report_of())
    for number in (1, 2):
        path = box.folder / "masters" / "B1" / f"B1-{number}.tif"
        path.parent.mkdir(parents=True, exist_ok=True)
        tifffile.imwrite(path, np.full((20, 30, 3), number, np.uint8), photometric="rgb")
        put_made(box, "B1", path, "master", picture=f"B1-{number}")
    return box


def listed(tmp_path, body, encoding="utf-8", head=HEAD):
    path = tmp_path / "told.csv"
    path.write_bytes((head + body).encode(encoding))
    return path


def title_in(path):
    with tifffile.TiffFile(path) as tiff:
        packet = tiff.pages[0].tags.get(700)
        return packet.value.decode() if packet else ""


def test_answer_is_the_contracts(box, tmp_path):
    before = tree(box.folder / "captures")
    csv = listed(tmp_path, "b1-2,外婆,On the beach,外婆;Rosa,1974~,Port Ellery,sea,,\nzz,No such,,,,,,,\n")
    ran = takeup("describe", box.folder, "--csv", csv, "--json")
    assert ran.status == 0, ran.err
    (entry,), (left,) = ran.json["described"], ran.json["left"]
    assert (entry["id"], entry["date"], entry["said"]) == ("B1-2", "1974~", "about 1974")
    assert entry["files"] == [str(box.folder / "masters" / "B1" / "B1-2.tif")]
    assert left["id"] == "zz" and "c1" in left["why"]
    assert tree(box.folder / "captures") == before


def test_files_change_only_where_they_were_described_and_the_record_follows(box, tmp_path):
    describe_box(box.folder, Settings(), csv=listed(tmp_path, "B1-2,Beach,,,1974,,,,\n"))
    one, two = (box.folder / "masters" / "B1" / f"B1-{number}.tif" for number in (1, 2))
    assert "Beach" in title_in(two) and title_in(one) == ""
    facts = {fact.key: fact.facts for fact in box.record.latest("made")}
    assert facts["masters/B1/B1-2.tif"]["sha256"] == hashlib.sha256(two.read_bytes()).hexdigest()
    assert facts["masters/B1/B1-2.tif"]["bytes"] == two.stat().st_size


def test_items_words_go_into_pictures_that_have_none_of_their_own(box, tmp_path):
    describe_box(box.folder, Settings(), csv=listed(tmp_path, "B1-2,Beach,,,,,,,\nB1,Album,,,,,,,\n"))
    assert "Album" in title_in(box.folder / "masters/B1/B1-1.tif") and "Beach" in title_in(
        box.folder / "masters/B1/B1-2.tif"
    )


def test_same_list_again_changes_nothing(box, tmp_path):
    csv = listed(tmp_path, "B1-1,Beach,,,1974,,,,\n")
    describe_box(box.folder, Settings(), csv=csv)
    files, facts = tree(box.folder / "masters"), len(box.record.facts())
    again = describe_box(box.folder, Settings(), csv=csv)
    assert tree(box.folder / "masters") == files and len(box.record.facts()) == facts
    assert len(again.described[0].files) == 1


def test_columns_a_list_does_not_have_stay_and_empty_cells_clear(box, tmp_path):
    describe_box(box.folder, Settings(), csv=listed(tmp_path, "B1-1,Beach,,Rosa,1974,,,,\n"))
    result = describe_box(box.folder, Settings(), csv=listed(tmp_path, "B1-1,,Sea\n", head="id,people,place\n"))
    told = result.described[0].told
    assert (told.title, told.date, told.people, told.place) == ("Beach", "1974", (), "Sea")


@pytest.mark.parametrize("first", ["describe", "finish"])
def test_order_of_describing_and_finishing_does_not_matter(box, tmp_path, first):
    import av

    csv = listed(tmp_path, "c1,外婆唱歌,,,1974-07,,,,\n")
    for step in (first, "finish" if first == "describe" else "describe"):
        if step == "finish":
            finish_box(box.folder, Settings(), item="c1")
        else:
            describe_box(box.folder, Settings(), csv=csv)
    for path in (box.folder / "masters" / "c1" / "c1.wav", box.folder / "copies" / "c1" / "c1.m4a"):
        with av.open(str(path)) as container:
            assert container.metadata["title"] == "外婆唱歌"
        assert hashlib.sha256(path.read_bytes()).hexdigest() == next(
            fact.facts["sha256"] for fact in box.record.latest("made") if fact.key == box.relative(path)
        )
    assert finish_box(box.folder, Settings(), item="c1").made == ()


def test_picture_may_be_described_before_it_is_cut(tmp_path):
    early = captured_box(tmp_path / "early", [Original(id="b1", carrier="print")])
    result = describe_box(early.folder, Settings(), csv=listed(tmp_path, "b1-3,Beach,,,,,,,\n"))
    assert [one.id for one in result.described] == ["b1-3"] and result.described[0].files == ()


def test_picture_that_was_not_cut_is_left(box, tmp_path):
    answer = takeup("describe", box.folder, "--csv", listed(tmp_path, "B1-9,Beach,,,,,,,\n"), "--json").json
    assert answer["described"] == [] and "B1-1, B1-2" in answer["left"][0]["why"]


@pytest.mark.parametrize(
    ("date", "read", "sure"),
    [("1974-07-14", True, "1974-07-14"), ("1975/1970", False, ""), ("summer of 74", False, ""), ("197X", True, "")],
)
def test_date_nobody_can_read_is_kept_as_text_and_said(box, tmp_path, date, read, sure):
    entry = takeup("describe", box.folder, "--csv", listed(tmp_path, f"c1,x,,,{date},,,,\n"), "--json").json[
        "described"
    ][0]
    assert (entry["date"], entry["date_read"], entry["in_date_fields"]) == (date, read, sure)
    assert ("kept as written" in entry["said"]) is not read


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_list_with_a_byte_order_mark_is_read(box, tmp_path, encoding):
    result = describe_box(box.folder, Settings(), csv=listed(tmp_path, "c1,外婆,,,,,,,\n", encoding))
    assert result.described[0].told.title == "外婆"


@pytest.mark.parametrize("separator", [";", "\t"])
def test_list_of_a_spreadsheet_with_other_separators(box, tmp_path, separator):
    text = separator.join(["c1", "Choir, first row", '"Bo;Rosa"', "1974"])
    head = separator.join(["id", "title", "people", "date"]) + "\n"
    result = describe_box(box.folder, Settings(), csv=listed(tmp_path, text + "\n", head=head))
    told = result.described[0].told
    assert (told.title, told.people, told.date) == ("Choir, first row", ("Bo", "Rosa"), "1974")


@pytest.mark.parametrize(
    ("data", "word"),
    [
        ((HEAD + "c1,Café,,,,,,,\n").encode("cp1252"), "UTF-8"),
        ((HEAD + "c1,外婆唱歌,,,,,,,\n").encode("gb18030"), "UTF-8"),
        (b"name,title\nc1,x\n", "id"),
        (b"id,title,title\nc1,x,y\n", "title"),
        (b"id,title\nc1,a, b, c\n", "line 2"),
        (b'id,title\nc1,"never closed\n', "quote"),
        (HEAD.encode(), "no line"),
        (b"", "no line"),
    ],
)
def test_wrong_list_is_one_plain_sentence_and_nothing_is_taken(box, tmp_path, data, word):
    csv = tmp_path / "told.csv"
    csv.write_bytes(data)
    ran = takeup("describe", box.folder, "--csv", csv, "--json")
    assert ran.status == 2 and ran.out == "" and word in ran.err and len(ran.err.strip().splitlines()) == 1
    assert box.record.facts("described") == []


def test_list_that_is_not_there(box, tmp_path):
    ran = takeup("describe", box.folder, "--csv", tmp_path / "no.csv", "--lang", "zh-Hans")
    assert ran.status == 2 and "没有描述清单" in ran.err


def test_columns_nobody_knows_are_named(box, tmp_path):
    csv = listed(tmp_path, "c1,x,y\n", head="id,title,mood\n")
    assert takeup("describe", box.folder, "--csv", csv, "--json").json["ignored_columns"] == ["mood"]


def test_without_a_list_it_says_what_is_told_and_what_is_not(box, tmp_path):
    describe_box(box.folder, Settings(), csv=listed(tmp_path, "c1,Choir,,,,,,,\n"))
    files = tree(box.folder / "masters")
    answer = takeup("describe", box.folder, "--json").json
    assert [entry["id"] for entry in answer["described"]] == ["c1"]
    assert [entry["id"] for entry in answer["left"]] == ["B1", "B1-1", "B1-2"] and tree(box.folder / "masters") == files


def test_file_that_changed_since_it_was_finished_is_left_alone(box, tmp_path):
    victim = box.folder / "masters" / "B1" / "B1-1.tif"
    data = bytearray(victim.read_bytes())
    data[-1] ^= 1
    victim.write_bytes(bytes(data))
    result = describe_box(box.folder, Settings(), csv=listed(tmp_path, "B1-1,Beach,,,,,,,\n"))
    assert victim.read_bytes() == bytes(data) and [one.why for one in result.left] == ["describe.file-changed"]
