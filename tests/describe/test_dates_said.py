"""Dates as people say them: plain English and Chinese, written down here by hand."""

import pytest

from takeup.words.dates import said_of


@pytest.mark.parametrize(
    ("text", "english", "chinese"),
    [
        ("1974", "1974", "1974年"),
        ("1974-07", "July 1974", "1974年7月"),
        ("1974-07-14", "14 July 1974", "1974年7月14日"),
        ("197X", "the 1970s", "1970年代"),
        ("1974~", "about 1974", "约1974年"),
        ("1974?", "perhaps 1974", "可能是1974年"),
        ("1970/1975", "1970 to 1975", "1970年至1975年"),
        ("1974/..", "1974 or later", "1974年起"),
        ("..1970", "1970 or earlier", "1970年或更早"),
        ("1974-22", "summer 1974", "1974年夏天"),
        ("1974-07-XX", "July 1974, day not known", "1974年7月，日期不详"),
        ("that wet summer", "that wet summer", "that wet summer"),
        ("", "", ""),
    ],
)
def test_date_is_said_in_both_languages(text, english, chinese):
    assert said_of(text, "en") == english and said_of(text, "zh-Hans") == chinese
