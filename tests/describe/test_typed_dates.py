"""What people type as a date, and the EDTF it means.

The expected forms are worked out by hand from ISO 8601-2:2019 (EDTF): 4.2 and 8 qualification (``?`` uncertain, ``~``
approximate, ``%`` both); 4.6 unspecified digits (``196X``, ``18XX``); 4.8 groups of months (21 to 24 seasons, 33 to 36
quarters, 37 to 39 four months, 40 and 41 halves); 4.4 and 9 intervals, open ends ``..``. That each is a date at all is
asked of a second reader, the package ``edtf``, and of the box's own.
"""

from __future__ import annotations

from datetime import date

import pytest
from dateutil.easter import easter as other_easter
from edtf import parse_edtf
from hypothesis import given
from hypothesis import strategies as st

from takeup.words.dates import said_of
from takeup.words.edtf import read_date
from takeup.words.typed_dates import read_typed
from takeup.words.typed_moments import easter

THIS_YEAR = 2026
READ = """
1974 | 1974
July 1974 | 1974-07
Jul '74 | 1974-07
14 July 1974 | 1974-07-14
July 14th, 1974 | 1974-07-14
the 14th of July 1974 | 1974-07-14
Sunday 14 July 1974 | 1974-07-14
14.7.1974 | 1974-07-14
7/14/1974 | 1974-07-14
25-12-1968 | 1968-12-25
3/3/1974 | 1974-03-03
1974.3.4 | 1974-03-04
10/1974 | 1974-10
'74 | 1974
in 1974 | 1974
29 Feb 1972 | 1972-02-29
summer 1974 | 1974-22
the summer of '74 | 1974-22
1974 summer | 1974-22
fall 1974 | 1974-23
spring 1974 | 1974-21
winter 1974/75 | 1974-12/1975-02
about 1960 | 1960~
c. 1960 | 1960~
circa 1960? | 1960%
1960 or so | 1960~
May 74? | 1974-05?
probably 1974 | 1974?
about May 1974 | 1974-05~
1960s | 196X
the sixties | 196X
'60s | 196X
about the 1960s | 196X~
19th century | 18XX
early 1970s | 1970~/1973~
mid-1960s | 1964~/1966~
late 1974 | 1974-39
first half of 1974 | 1974-40
between 1970 and 1975 | 1970/1975
1970-1975 | 1970/1975
1970-75 | 1970/1975
1974/75 | 1974/1975
1970 to 1975 | 1970/1975
June to August 1974 | 1974-06/1974-08
3 to 10 July 1974 | 1974-07-03/1974-07-10
between 14 and 16 July 1974 | 1974-07-14/1974-07-16
July/August 1974 | 1974-07/1974-08
1970 or 1971 | 1970/1971
before 1950 | ../1949
before July 1974 | ../1974-06
before 1 March 1972 | ../1972-02-29
until 1950 | ../1950
after 1950 | 1951/..
since 1950 | 1950/..
Christmas 1968 | 1968-12-25~
Christmas Eve 1968 | 1968-12-24
New Year's Eve 1969 | 1969-12-31
Easter 1975 | 1975-03-30~
Thanksgiving 1968 | 1968-11-28
1974-07-14 | 1974-07-14
1974-22 | 1974-22
197X | 197X
1970/1975 | 1970/1975
1974年 | 1974
一九七四年 | 1974
１９７４年 | 1974
1974年7月 | 1974-07
1974年7月14日 | 1974-07-14
一九七四年七月十四日 | 1974-07-14
一九七四年十二月三十一号 | 1974-12-31
七四年 | 1974
1974年夏天 | 1974-22
一九七四年冬 | 1974-24
大约1960年 | 1960~
1960年左右 | 1960~
大概是一九六〇年 | 1960~
可能是1974年 | 1974?
六十年代 | 196X
1960年代 | 196X
二十世纪六十年代 | 196X
上世纪六十年代 | 196X
60年代初 | 1960~/1963~
19世纪 | 18XX
民国63年 | 1974
民国六十三年 | 1974
民國元年 | 1912
民国六十三年七月 | 1974-07
民国六十年代 | 1971/1980
1970年到1975年 | 1970/1975
1970至1975年之间 | 1970/1975
1974年7月至9月 | 1974-07/1974-09
1950年以前 | ../1949
1950年之后 | 1951/..
1950年起 | 1950/..
1974年底 | 1974-39
1974年上半年 | 1974-40
1968年圣诞节 | 1968-12-25~
1974年春节 | 1974-01/1974-02
1974年元旦 | 1974-01-01
"""
CASES = [tuple(part.strip() for part in line.split("|")) for line in READ.strip().splitlines()]
SEVERAL = [
    ("03/04/1974", {"1974-04-03", "1974-03-04"}),
    ("3.4.1974", {"1974-04-03", "1974-03-04"}),
    ("1904-05", {"1904-05", "1904/1905"}),
    ("1920-22", {"1920-22", "1920/1922"}),
    ("the twenties", {"192X", "202X"}),
    ("1900s", {"190X", "19XX"}),
    ("May 05", {"1905-05", "2005-05"}),
    ("about 03/04/1974", {"1974-04-03~", "1974-03-04~"}),
]
TEXT = [
    "that wet summer", "when Anna was five", "before summer 1974", "30 February 1974", "29 Feb 1973", "1974-13", "2035",
    "July", "8月", "1975/1970", "between 1975 and 1970", "1970 or 1975", "<b>1974</b>", "=1974+1", "小时候", "农历七月",
    "1974, 1975 and 1977", "\u202e1974\u202c x", "🎄", "9" * 5000,
]  # fmt: skip


def test_table_is_as_long_as_it_should_be():
    assert len(CASES) >= 60 and sum(not typed.isascii() for typed, _ in CASES) >= 30


@pytest.mark.parametrize(("typed", "edtf"), CASES, ids=[typed for typed, _ in CASES])
def test_a_typed_date_means_one_thing(typed, edtf):
    found = read_typed(typed, THIS_YEAR)
    assert (found.kind, found.edtf, found.choices) == ("read", edtf, ())
    assert found.text == typed


@pytest.mark.parametrize("edtf", sorted({edtf for _, edtf in CASES}))
def test_what_is_written_is_edtf_by_two_readers(edtf):
    assert read_date(edtf) is not None
    assert parse_edtf(edtf) is not None


@pytest.mark.parametrize("edtf", sorted({edtf for _, edtf in CASES}))
def test_what_is_written_can_be_said_back_in_both_languages(edtf):
    assert any(sign.isdigit() for sign in said_of(edtf, "en"))
    assert "年" in said_of(edtf, "zh-Hans")


@pytest.mark.parametrize(("typed", "choices"), SEVERAL)
def test_a_date_of_several_meanings_is_asked_back(typed, choices):
    found = read_typed(typed, THIS_YEAR)
    assert (found.kind, found.edtf, set(found.choices)) == ("several", "", choices)


@pytest.mark.parametrize("typed", TEXT, ids=range(len(TEXT)))
def test_what_nobody_can_read_stays_text(typed):
    found = read_typed(typed, THIS_YEAR)
    assert (found.kind, found.edtf, found.text) == ("text", "", typed.strip())


def test_nothing_typed_is_nothing():
    assert read_typed(" \n", THIS_YEAR).kind == "empty"


def test_two_digits_are_read_by_the_year_that_it_is():
    """In 1999 nobody could mean 2005; in 2010 both are possible."""
    assert read_typed("'05", 1999).edtf == "1905"
    assert read_typed("'05", 2010).choices == ("2005", "1905")


@given(st.text(max_size=60))
def test_any_text_is_read_or_kept(typed):
    found = read_typed(typed, THIS_YEAR)
    assert found.kind in ("empty", "read", "several", "text")
    assert all(read_date(one) for one in (*found.choices, *([found.edtf] if found.edtf else [])))


@given(st.dates(min_value=date(1900, 1, 1), max_value=date(2025, 12, 31)))
def test_a_day_written_out_is_that_day(day):
    """English with the month's name, Chinese, and figures with the year first have one meaning each."""
    month = "January February March April May June July August September October November December".split()[
        day.month - 1
    ]
    for typed in (
        f"{day.day} {month} {day.year}",
        f"{day.year}年{day.month}月{day.day}日",
        f"{day.year}/{day.month}/{day.day}",
    ):
        assert read_typed(typed, THIS_YEAR).edtf == day.isoformat()


@pytest.mark.parametrize("year", range(1900, 2027, 7))
def test_easter_is_where_another_reckoning_has_it(year):
    assert easter(year) == other_easter(year)
