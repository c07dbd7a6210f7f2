"""Item lists: truth by construction (the lists are written here) against the contract's section "Item list"."""

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from takeup.box.items import read_items
from takeup.errors import NotPossible
from takeup.tables.loader import load_rows
from takeup.words.sentences import say

ROWS = load_rows()


def read(text):
    return [listed.original for listed in read_items(text, ROWS)]


def fault(text):
    with pytest.raises(NotPossible) as caught:
        read(text)
    for lang in ("en", "zh-Hans"):
        assert say("faults", caught.value.key, lang, caught.value.facts)
    return caught.value


def test_list_of_the_contract_is_read_with_every_column():
    text = (
        "id,carrier,label,minutes,feet,count,condition,notes,sides,speed,system,sound,frame,reduction,keep\n"
        't1,cassette,"Gran, 1979",90,,,mould;commercial,from aunt,2,,,,,,copy\n'
        "v1,vhs,Wedding,180,,,,,,lp,pal,hifi,,,both\n"
        "f1,super8,Beach,,7in,,shrunk=1.2;acid=1.5,,,18,,stripe,,,master\n"
        "n1,negative,,,,36,,,,,,,half,,\n"
        "m1,microfilm,,,,600,,,,,,,,16x,\n"
    )
    t1, v1, f1, n1, m1 = read(text)
    assert (t1.label, t1.minutes, t1.condition, t1.sides, t1.keep) == (
        "Gran, 1979", 90, ("mould", "commercial"), 2, "copy",
    )  # fmt: skip
    assert (v1.speed, v1.system, v1.sound) == ("lp", "pal", "hifi")
    assert (f1.feet, f1.condition, f1.speed, f1.sound, f1.keep) == (
        400, ("shrunk=1.2", "acid=1.5"), "18", "stripe", "master",
    )  # fmt: skip
    assert (n1.frame, n1.count, n1.keep) == ("half", 36, "both")
    assert m1.reduction == 16


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_line_ends_and_byte_order_mark_make_no_difference(ends, mark):
    text = mark + ends.join(["carrier,id,label", 'vhs,a,"two, parts"', "", "8mm,b,"]) + ends
    assert [(one.id, one.carrier, one.label) for one in read(text)] == [("a", "vhs", "two, parts"), ("b", "8mm", "")]


def test_semicolons_throughout_are_read_as_some_spreadsheets_write_them():
    one = read('id;carrier;condition;minutes\na;vhs;"mould;wet";22,5\n')[0]
    assert (one.condition, one.minutes) == (("mould", "wet"), 22.5)


def test_further_columns_are_kept_beside_the_item():
    listed = read_items("id,carrier,Colour,box\na,vhs,red,\n", ROWS)[0]
    assert listed.more == {"colour": "red"}
    assert listed.facts()["more"] == {"colour": "red"}


# Reel sizes: a Swedish trade table of reels (7.5, 13, 15, 18 cm: 15, 60, 90, 120 m), film-and-storage 1.3.
@pytest.mark.parametrize(("written", "feet"), [("3in", 50), ("5in", 200), ("6 in", 300), ('7"', 400), ("50", 50)])
def test_feet_take_a_length_or_a_reel_size(written, feet):
    text = "id,carrier,feet\na,8mm," + ('"7"""' if written == '7"' else written) + "\n"
    assert read(text)[0].feet == feet


def test_metres_differ_from_feet():
    assert read("id,carrier,feet\na,super8,60m\n")[0].feet == pytest.approx(60 / 0.3048)  # a foot is 0.3048 m


@pytest.mark.parametrize(
    ("row", "key", "line", "column"),
    [
        ("x,vhs,ninety,,,", "items.number-wrong", 3, "minutes"),
        ("x,vhs,-5,,,", "items.number-wrong", 3, "minutes"),
        ("x,vhs,0,,,", "items.number-wrong", 3, "minutes"),
        ("x,vhs,nan,,,", "items.number-wrong", 3, "minutes"),
        ("x,vhs,inf,,,", "items.number-wrong", 3, "minutes"),
        ("x,vhs,1e999,,,", "items.number-wrong", 3, "minutes"),
        ("x,8mm,,9in,,", "items.feet-wrong", 3, "feet"),
        ("x,8mm,,-50,,", "items.feet-wrong", 3, "feet"),
        ("x,print,,,2.5,", "items.count-wrong", 3, "count"),
        ("x,print,,,0,", "items.count-wrong", 3, "count"),
        ("x,8mm,,,,shrunk=much", "items.figure-wrong", 3, "condition"),
        ("x,8mm,,,,acid=4", "items.figure-wrong", 3, "condition"),
        ("x,8mm,,,,acid=-1", "items.figure-wrong", 3, "condition"),
        (",vhs,,,,", "items.id-missing", 3, "id"),
        ("a b,vhs,,,,", "items.id-wrong", 3, "id"),
        ("外婆,vhs,,,,", "items.id-wrong", 3, "id"),
        ("..,vhs,,,,", "items.id-wrong", 3, "id"),
        ("nul,vhs,,,,", "items.id-wrong", 3, "id"),
        ("x" * 41 + ",vhs,,,,", "items.id-wrong", 3, "id"),
        ("T1,vhs,,,,", "items.id-twice", 3, "id"),
        ("x,,,,,", "items.carrier-missing", 3, "carrier"),
    ],
)
def test_each_slip_is_one_sentence_with_line_and_column(row, key, line, column):
    found = fault(f"id,carrier,minutes,feet,count,condition\nt1,vhs,,,,\n{row}\n")
    assert (found.key, found.facts["line"], found.facts["column"], found.exit_status) == (key, line, column, 2)
    sentence = say("faults", found.key, "en", found.facts)
    assert f"line {line}" in sentence and column in sentence


@pytest.mark.parametrize(
    ("column", "value"),
    [("sides", "3"), ("system", "mesecam"), ("sound", "loud"), ("frame", "36"), ("keep", "all"), ("speed", "fast")],
)
def test_a_word_outside_its_column_is_refused_with_what_may_stand_there(column, value):
    found = fault(f"id,carrier,{column}\nx,vhs,{value}\n")
    assert found.facts["column"] == column and found.facts["value"] == value


@pytest.mark.parametrize(("carrier", "speed"), [("vhs", "18"), ("super8", "sp")])
def test_speed_of_the_other_kind_is_a_slip(carrier, speed):
    assert fault(f"id,carrier,speed\nx,{carrier},{speed}\n").key == "items.speed-wrong"


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("", "items.empty"),
        ("\n\n", "items.empty"),
        ("id,carrier\n", "items.empty"),
        ("id,label\nx,y\n", "items.column-missing"),
        ("id,carrier,id\nx,vhs,y\n", "items.column-twice"),
        ("id,carrier\nx,vhs,Gran, 1979\n", "items.too-many-columns"),
        ('id,carrier,label\nx,vhs,"never closed\n', "items.quotes"),
    ],
)
def test_a_list_that_is_no_list_is_refused(text, key):
    assert fault(text).key == key


def test_line_is_where_the_row_begins_even_after_a_text_of_several_lines():
    assert fault('id,carrier,notes\na,vhs,"one\ntwo\nthree"\nb,vhs,x\n ,vhs,y\n').facts["line"] == 6


@pytest.mark.parametrize("written", ["VHS-C", "vhsc", "Super 8", "8 mm", "Slides", "audio"])
def test_carriers_are_read_without_regard_to_case_and_spaces(written):
    carrier = read(f"id,carrier\nx,{written}\n")[0].carrier
    wanted = {"VHS-C": "vhs-c", "vhsc": "vhs-c", "Super 8": "super8", "8 mm": "8mm", "Slides": "slide"}
    assert carrier == wanted.get(written, "other")


def test_unlisted_carrier_becomes_other_and_keeps_its_word():
    one, two = read("id,carrier\na,betamax\nb,vhs\n")
    assert (one.carrier, one.carrier_word, two.carrier, two.carrier_word) == ("other", "betamax", "vhs", "")


def test_american_spelling_of_mould_is_mould_and_unknown_words_are_kept():
    assert read('id,carrier,condition\na,vhs,"Mold; No Leader; odd"\n')[0].condition == ("mould", "no-leader", "odd")


NAMES = st.text(alphabet="abcXYZ019-_.", min_size=1, max_size=40).filter(
    lambda name: name.strip(".") and not name.endswith(".")
)


@settings(max_examples=60, deadline=None)
@given(
    names=st.lists(NAMES, min_size=1, max_size=8, unique_by=str.casefold),
    label=st.text(
        st.characters(blacklist_categories=("Cs", "Cc"), blacklist_characters="\x85\u2028\u2029"), max_size=30
    ),
)
def test_whatever_a_spreadsheet_writes_comes_back(names, label):
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(["label", "id", "carrier"])
    writer.writerows([[label, name, "vhs"] for name in names])
    got = read(out.getvalue())
    assert [one.id for one in got] == names
    assert {one.label for one in got} == {label.strip()}
