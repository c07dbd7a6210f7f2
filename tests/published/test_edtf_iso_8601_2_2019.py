"""Our subset of EDTF (ISO 8601-2:2019): which texts are dates, against an independent reader and the contract.

The independent reader is the library ``edtf``; where it is known to be wrong (it takes the reversed interval
1975/1970 and cannot order an open one, tried) the contract decides.
"""

import calendar

import edtf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.words.edtf import Moment, read_date, sure_part

CONTRACT = [
    "1974",
    "1974-07",
    "197X",
    "1974~",
    "1970/1975",
    "1974/..",
    "1974-22",
    "..1970",
    "1974?",
    "1974-07-14",
    "19XX",
]
LEVEL_1 = [
    "2004-06-11",
    "2004-06",
    "2001-21",
    "1999-XX",
    "1985-04-XX",
    "1985-XX-XX",
    "201X",
    "20XX",
    "1984?",
    "2004-06~",
    "2004-06-11%",
    "1964/2008",
    "2004-06/2006-08",
    "2004-02-01/2005-02-08",
    "2004-02-01/2005",
    "2005/2006-02",
    "1985-04-12/..",
    "1985-04/..",
    "../1985-04-12",
    "../1985",
    "/1985",
    "1985/",
    "2004-06-XX/2004-07-03",
    "1984~/2004-06",
    "1984?/2004%",
]
NONE = [
    "",
    "1975/1970",
    "1974-13",
    "1974-00",
    "1974-02-29",
    "1974-7",
    "74",
    "summer 1974",
    "../..",
    "/",
    "1974-07-32",
    "19X4",
    "1974-07-14/1974-07-13",
    "1974-42",
    "1974-20",
    "about 1974",
    "14.07.1974",
    "1974/1975/1976",
    "X974",
    "1974??",
]


@pytest.mark.parametrize("text", CONTRACT + LEVEL_1)
def test_date_is_read(text):
    assert read_date(text) is not None
    if ".." not in text[:2] or "/" in text:  # "..1970" is ours and the contract's, short for "../1970"
        edtf.parse_edtf(text)


@pytest.mark.parametrize("text", NONE)
def test_what_is_no_date_is_not_read(text):
    assert read_date(text) is None


@given(st.dates())
def test_law_every_calendar_day_is_sure_and_comes_back(day):
    sure = sure_part(read_date(day.isoformat()))
    assert sure.text() == day.isoformat()


@given(st.integers(1000, 2999), st.integers(0, 13), st.integers(0, 32))
def test_law_a_day_is_read_exactly_when_the_other_reader_reads_it(year, month, day):
    """The other reader takes the 29th of February of any year: there the calendar decides."""
    text = f"{year}-{month:02d}-{day:02d}"
    try:
        edtf.parse_edtf(text).lower_strict()
        theirs = True
    except (edtf.parser.edtf_exceptions.EDTFParseException, ValueError):
        theirs = False
    there_is_one = (month, day) != (2, 29) or calendar.isleap(year)
    assert (read_date(text) is not None) is (theirs and there_is_one)


@given(st.integers(1000, 2999), st.integers(1000, 2999))
def test_law_an_interval_is_read_exactly_when_it_is_not_reversed(first, last):
    assert (read_date(f"{first}/{last}") is not None) is (first <= last)


@pytest.mark.parametrize(
    ("text", "sure"),
    [
        ("1974", "1974"),
        ("1974-07", "1974-07"),
        ("1974-07-14", "1974-07-14"),
        ("1974-07-XX", "1974-07"),
        ("1974-XX", "1974"),
        ("1974-07-14T10:30:00", "1974-07-14"),
        ("1974~", None),
        ("1974?", None),
        ("1974-07-14%", None),
        ("197X", None),
        ("1974-22", None),
        ("1970/1975", None),
        ("1974/..", None),
        ("..1970", None),
    ],
)
def test_only_what_is_sure_goes_into_a_date_field(text, sure):
    found = sure_part(read_date(text))
    assert (found.text() if found else None) == sure


def test_unspecified_digits_span_their_decade():
    moment = read_date("197X").start
    assert isinstance(moment, Moment) and moment.span() == ((1970, 1, 1), (1979, 12, 31))
