"""Makes typed text plain before a date is looked for in it: one form of letters, Chinese numerals as digits. Pure."""

from __future__ import annotations

import re
import unicodedata

DIGITS = {sign: at for at, sign in enumerate("零一二三四五六七八九")} | {"〇": 0, "○": 0, "两": 2, "元": 1}
TENS = re.compile(r"(?P<tens>[一二三四五六七八九])?十(?P<ones>[一二三四五六七八九])?")
FEW = re.compile(r"[零〇○一二三四五六七八九]+")
TRADITIONAL = str.maketrans(
    "國號間時後歲聖誕節約於約週禮農曆這個從開舊舉", "国号间时后岁圣诞节约于约周礼农历这个从开旧举"
)
DASHES = str.maketrans(
    dict.fromkeys("‐‑‒–—―−～〜－", "-") | dict.fromkeys("’‘ʼ´`", "'") | {"，": ",", "、": ",", "。": "."}
)


def plain(text: str) -> str:
    """Small letters, one kind of dash and apostrophe, Chinese numerals as digits, single blanks.

    Examples
    --------
    >>> plain("一九七四年七月十四日"), plain("民國六十三年"), plain("  Summer  of ’７４ ")
    ('1974年7月14日', '民国63年', "summer of '74")
    """
    text = unicodedata.normalize("NFKC", text.replace("～", "-").replace("〜", "-"))
    text = text.translate(TRADITIONAL).translate(DASHES).lower()
    text = text.replace("民国元年", "民国1年").replace("廿", "二十").replace("卅", "三十")
    text = TENS.sub(_tens, text)
    text = FEW.sub(lambda found: "".join(str(DIGITS[sign]) for sign in found[0]), text)
    return " ".join(text.split())


def _tens(found: re.Match[str]) -> str:
    return str(10 * DIGITS[found["tens"] or "一"] + (DIGITS[found["ones"]] if found["ones"] else 0))


def years_of(digits: str, this_year: int) -> list[int]:
    """The years that two or four typed digits may mean, the likelier first; none later than this year.

    Two digits are a year of the 1900s, and of the 2000s where that has come: then somebody is asked.

    Examples
    --------
    >>> years_of("74", 2026), years_of("05", 2026), years_of("1974", 2026)
    ([1974], [2005, 1905], [1974])
    """
    if len(digits) == 4:
        return [int(digits)] if 1000 <= int(digits) <= this_year else []
    if len(digits) != 2:
        return []
    late, early = 2000 + int(digits), 1900 + int(digits)
    return [late, early] if late <= this_year else [early]
