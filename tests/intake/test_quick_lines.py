"""Lines as people type and paste them. Every expected reading is the grammar's own statement, written out by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.plan.quick_lines import COLUMNS, carrier_of, next_id, read_line, read_paste
from takeup.tables.loader import load_rows

ROWS = load_rows()


@pytest.mark.parametrize(
    ("typed", "columns"),
    [
        ("v wedding 1987 120", {"carrier": "vhs", "label": "wedding 1987", "minutes": "120"}),
        ("k 1987", {"carrier": "cassette", "label": "1987"}),  # a year alone is what is written on it
        ("k7 Aunt Wen, New Year", {"id": "k7", "carrier": "cassette", "label": "Aunt Wen, New Year"}),
        ("p 40 harbour", {"carrier": "print", "count": "40", "label": "harbour"}),
        ("s birthday 50ft !vinegar", {"carrier": "super8", "label": "birthday", "feet": "50", "condition": "vinegar"}),
        ('e "7 days" 7in', {"carrier": "8mm", "label": "7 days", "feet": "7in"}),
        ("v club ntsc speed=ep", {"carrier": "vhs", "label": "club", "speed": "ep", "system": "ntsc"}),
        ("录像带 婚礼 1987 120", {"carrier": "vhs", "label": "婚礼 1987", "minutes": "120"}),
        ("VHS-C 60", {"carrier": "vhs-c", "minutes": "60"}),
        ("s reel sound=none", {"carrier": "super8", "label": "reel", "sound": "none"}),
        ("betacam tape 30", {"carrier": "betacam", "label": "tape", "count": "30"}),  # kept: the desk asks
    ],
)
def test_a_quick_line_reads_as_its_grammar_says(typed, columns):
    (entry,) = read_line(typed, ROWS)
    assert entry.columns == columns


def test_how_many_makes_a_line_each_for_tapes_and_one_pile_for_prints():
    assert [one.columns["label"] for one in read_line("v 3 holidays", ROWS)] == ["holidays"] * 3
    assert len(read_line("d 80 Norway 1974", ROWS)) == 1
    assert len(read_line("v 99999 holidays", ROWS)) == ROWS.value("intake.entry.most_alike")


@pytest.mark.parametrize("text", ["", "   ", "\n", "\t\t"])
def test_nothing_typed_is_no_line(text):
    assert read_line(text, ROWS) == [] and read_paste(text, ROWS).lines == ()


def test_a_pasted_heading_names_the_columns_in_any_order_and_language():
    told = read_paste("标签\t载体\t分钟\n婚礼\t录像带\t120\n", ROWS)
    assert [one.columns for one in told.lines] == [{"label": "婚礼", "carrier": "vhs", "minutes": "120"}]
    assert told.lines[0].line == 2 and told.head == "标签\t载体\t分钟"


def test_pasted_cells_without_a_heading_stand_in_the_contracts_order():
    told = read_paste('v1\tvhs\tfoo\t120\nk\t7" reel\t60\n', ROWS)
    assert [one.columns for one in told.lines] == [
        {"id": "v1", "carrier": "vhs", "label": "foo", "minutes": "120"},
        {"carrier": "cassette", "label": '7" reel', "minutes": "60"},
    ]


def test_semicolons_quotes_and_a_byte_order_mark_of_a_spreadsheet_are_read():
    told = read_paste('\ufeffid;carrier;label\r\np1;print;"a; b"\r\n', ROWS)
    assert [one.columns for one in told.lines] == [{"id": "p1", "carrier": "print", "label": "a; b"}]


def test_a_sentence_with_commas_is_a_quick_line_not_a_spreadsheet():
    (entry,) = read_paste("v wedding, harbour, and more 60", ROWS).lines
    assert entry.columns == {"carrier": "vhs", "label": "wedding, harbour, and more", "minutes": "60"}


def test_ids_go_on_above_the_highest_so_that_no_sticker_is_used_twice():
    assert next_id("vhs", ["v1", "V7", "k9", "p-1"], ROWS) == "v8"
    assert next_id("cassette", [], ROWS) == "k1"
    assert next_id("unheard-of", ["o1"], ROWS) == "o2"


def test_every_carrier_has_a_letter_of_its_own_and_is_known_by_it():
    letters = ROWS.section("intake.letter")
    assert set(letters) == set(ROWS.names("carriers")) and len(set(letters.values())) == len(letters)
    assert all(carrier_of(letter, ROWS) == name for name, letter in letters.items())


@given(st.text(max_size=200))
def test_any_text_is_read_without_a_fault_and_into_known_columns(text):
    for entry in [*read_line(text, ROWS), *read_paste(text, ROWS).lines]:
        assert all(isinstance(value, str) for value in entry.columns.values())
    assert all(set(entry.columns) <= set(COLUMNS) for entry in read_line(text, ROWS))
