"""Dates as people type them, in English and Chinese, turned into EDTF (ISO 8601-2); never guessed. Pure.

"summer 1974" is ``1974-22``, "about 1960" ``1960~``, "六十年代" ``196X``, "民国63年" ``1974``, "between 1970 and 1975"
``1970/1975``. What may mean several days (03/04/1974) comes back as choices; what nobody can read stays text.
``words/dates.py`` says the result back in words before it is kept.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from takeup.words.edtf import Moment, read_date
from takeup.words.typed_moments import day_of, meanings
from takeup.words.typed_numbers import plain

LONGEST = 200  # a date that somebody types is shorter; more is text
MOST_CHOICES = 6
ABOUT = re.compile(
    r"^(?:(?:about|abt|around|circa|approx|approximately|roughly|somewhere around)\b\.?|ca?\.|ca?(?= ?'?\d)|~)[ ]?"
    r"|^(?:大约|大概|约莫?|差不多|大致)(?:是|在)?|(?:\bor so|-?ish|左右|前后|上下|~)$"
)
PERHAPS = re.compile(
    r"^(?:perhaps|maybe|possibly|probably|i think|might be|可能|也许|好像|或许|应该|估计)(?:是|在)?[ ]?"
    r"|[ ]?(?:\?|\(\?\)|吧|perhaps|maybe|i think|probably)$"
)
BETWEEN = (
    re.compile(r"between (?P<a>.+?) and (?P<b>.+)"),
    re.compile(r"from (?P<a>.+?) (?:to|until|till|through) (?P<b>.+)"),
    re.compile(r"(?P<a>.+?) (?:to|until|till|through|or) (?P<b>.+)"),
    re.compile(r"(?:从|自)?(?P<a>.+?)(?:到|至|或者?|和)(?P<b>.+?)(?:之?间)?"),
    re.compile(r"(?P<a>.+?) - (?P<b>.+)"),
    re.compile(r"(?P<a>[a-z]{3,})/(?P<b>[a-z]{3,} '?\d+)"),
    re.compile(r"(?P<a>[^-]*?\d\d\d\d年?)-(?P<b>\d\d\d\d年?)"),
    re.compile(r"(?P<a>'?\d0'?s)-(?P<b>'?\d0'?s)"),
    re.compile(r"(?P<a>[^-/.]+?)-(?P<b>[^-/.]+)"),
    re.compile(r"(?P<a>\d{1,2}[./]\d{1,2}[./]\d{4})-(?P<b>\d{1,2}[./]\d{1,2}[./]\d{4})"),
)
ONE_SIDED = tuple(
    (kind, re.compile(form))
    for kind, form in (
        ("before", r"(?:some ?time )?(?:before|earlier than|prior to|pre-?) ?(?P<a>.+)|(?P<b>.+?)(?:以前|之前|前)"),
        ("until", r"(?:until|till|up to|by|no later than|not later than|not after) (?P<a>.+)"),
        ("until", r"(?P<a>.+?)(?:为止| or earlier)|(?:直到|截至)(?P<b>.+)"),
        ("after", r"(?:some ?time )?(?:after|later than|post-?) ?(?P<a>.+)|(?P<b>.+?)(?:以后|之后|后)"),
        ("since", r"(?:since|from|not before|no earlier than) (?P<a>.+?)(?: on| onwards?)?"),
        ("since", r"(?P<a>.+?)(?:起|开始|以来| onwards?| or later)|自(?P<b>.+)"),
    )
)
EARLY, MIDDLE, LATE = (37, 0, 3), (38, 4, 6), (39, 7, 9)  # four months of a year; years of a decade, first and last
THIRDS = (
    dict.fromkeys("early|beginning|初|初期|早期|年初".split("|"), EARLY)
    | dict.fromkeys("mid|middle|中|中期|年中".split("|"), MIDDLE)
    | dict.fromkeys("late|end|底|末|后期|末期|晚期|年底|年末".split("|"), LATE)
)
THIRD_EN = re.compile(r"(?:the )?(?P<which>early|mid|late|beginning of|middle of|end of)[ -]?(?:in )?(?P<what>.+)")
THIRD_ZH = re.compile(r"(?P<what>.+?年代?)(?P<which>年?(?:初期?|中期?|底|末期?|早期|后期|晚期))")
HALF = re.compile(r"(?P<nth>first|1st|second|2nd) half (?:of )?(?P<en>.+)|(?P<zh>\d{2,4}年)(?P<half>[上下])半年")
Kind = Literal["empty", "read", "several", "text"]
Ends = tuple[tuple[int, int, int], tuple[int, int, int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedDate:
    """What a typed date means. ``edtf`` is set only for ``read``; ``choices`` only for ``several``."""

    kind: Kind
    text: str
    edtf: str = ""
    choices: tuple[str, ...] = ()


def read_typed(text: str, this_year: int) -> TypedDate:
    """What somebody typed, in EDTF.

    Parameters
    ----------
    this_year : int
        Nothing was recorded later than this; decides what two digits can mean.

    Examples
    --------
    >>> read_typed("summer 1974", 2026).edtf, read_typed("民国63年", 2026).edtf, read_typed("before 1950", 2026).edtf
    ('1974-22', '1974', '../1949')
    >>> read_typed("03/04/1974", 2026).choices, read_typed("that wet summer", 2026).kind
    (('1974-04-03', '1974-03-04'), 'text')
    """
    text = text.strip()
    if not text:
        return TypedDate(kind="empty", text="")
    found = [] if len(text) > LONGEST else _read(plain(text), this_year)
    right = tuple(dict.fromkeys(one for one in found if read_date(one)))
    if not right or len(right) > MOST_CHOICES:
        return TypedDate(kind="text", text=text)
    if len(right) == 1:
        return TypedDate(kind="read", text=text, edtf=right[0])
    return TypedDate(kind="several", text=text, choices=right)


def _read(text: str, this_year: int) -> list[str]:
    """All that a plain text may mean; doubt first, then spans, then one date."""
    if exact := _already(text, this_year):
        return exact
    for sign, words in (("?", PERHAPS), ("~", ABOUT)):
        rest = words.sub("", text).strip(" ,")
        if rest != text and rest:
            return [one for found in _read(rest, this_year) if (one := _doubted(found, sign))]
    for read in (_third, _half, meanings, _between, _one_sided):
        if found := read(text, this_year):
            return found
    return []


def _already(text: str, this_year: int) -> list[str]:
    """Text that is EDTF as it stands, unless a person may mean a span of years by it (1920-22, 1904-05)."""
    upper = text.upper()
    written = read_date(upper)
    if written is None or not re.search(r"[-X/~%]|\d\?", upper):
        return []
    ends = [side for side in (written.start, written.end) if isinstance(side, Moment)]
    if any(side.year > this_year for side in ends):
        return []
    span = meanings(text, this_year) if re.fullmatch(r"\d{4}-\d{2}", text) else []
    return list(dict.fromkeys([upper, *(one for one in span if "/" in one)]))


def _doubted(found: str, sign: str) -> str:
    """A date with one more doubt; both together are ``%``."""
    if "/" in found:
        start, end = found.split("/")
        return "/".join(side if side in ("", "..") else _doubted(side, sign) for side in (start, end))
    had = found[-1] if found[-1] in "?~%" else ""
    return found.rstrip("?~%") + (sign if had in ("", sign) else "%")


def _third(text: str, this_year: int) -> list[str]:
    """Early, middle or late in a year (four months of it), or in a decade (about so many of its years)."""
    found = THIRD_EN.fullmatch(text) or THIRD_ZH.fullmatch(text)
    if found is None:
        return []
    which = found["which"].removesuffix(" of")
    part, first, last = THIRDS[which]
    out = []
    for one in meanings(found["what"], this_year):
        if re.fullmatch(r"\d{4}", one):
            out.append(f"{one}-{part}")
        elif re.fullmatch(r"\d{3}X", one):
            out.append(f"{one[:3]}{first}~/{one[:3]}{last}~")
    return out


def _half(text: str, this_year: int) -> list[str]:
    found = HALF.fullmatch(text)
    if found is None:
        return []
    first = found["nth"] in ("first", "1st") or found["half"] == "上"
    years = meanings(found["en"] or found["zh"], this_year)
    return [f"{one}-{40 if first else 41}" for one in years if re.fullmatch(r"\d{4}", one)]


def _between(text: str, this_year: int) -> list[str]:
    for form in BETWEEN:
        found = form.fullmatch(text)
        if found is None:
            continue
        starts, ends = _start(found["a"], found["b"], this_year), _end(found["a"], found["b"].strip(), this_year)
        pairs = [f"{a}/{b}" for a in starts for b in ends if "/" not in a + b]
        if pairs := [pair for pair in pairs if read_date(pair)]:
            return pairs if not re.search(r"\bor\b|或", text) else [one for one in pairs if _next_to(one)]
    return []


def _start(first: str, second: str, this_year: int) -> list[str]:
    """The beginning of a span; what it lacks ("3 to 10 July 1974", "June to August 1974") it has from the end."""
    first = first.strip()
    year, month = re.search(r"\d{4}", second), re.search(r"[a-z]{3,}", second)
    if year and month and re.fullmatch(r"\d{1,2}(?:st|nd|rd|th)?", first):
        return _read(f"{first} {month[0]} {year[0]}", this_year)
    return _read(first, this_year) or (_read(f"{first} {year[0]}", this_year) if year else [])


def _end(first: str, second: str, this_year: int) -> list[str]:
    """The end of a span; in Chinese it has its year from the beginning ("1974年7月至9月")."""
    year = re.search(r"(\d{4}|民国\d+)年", first)
    if re.fullmatch(r"\d{1,2}", second):
        return []  # "1974-13" is neither a month nor a span
    return _read(second, this_year) or (_read(f"{year[0]}{second}", this_year) if year else [])


def _next_to(span: str) -> bool:
    """ "1970 or 1971" is a span only where nothing lies between the two."""
    start, end = span.split("/")
    ends = (_reach(start), _reach(end))
    return bool(ends[0] and ends[1]) and _after(ends[0][1]) == ends[1][0]  # type: ignore[index]


def _one_sided(text: str, this_year: int) -> list[str]:
    for kind, form in ONE_SIDED:
        found = form.fullmatch(text)
        if found is None:
            continue
        typed = next(part for part in found.groups() if part)
        sides = [one for one in _read(typed.strip(), this_year) if "/" not in one]
        return [one for side in sides if (one := _open(kind, side))]
    return []


def _open(kind: str, side: str) -> str:
    """A span with one open end. Before a date ends with what lies in front of it, as exactly as it was told."""
    doubt = side[-1] if side[-1] in "?~%" else ""
    if kind in ("until", "since"):
        return f"../{side}" if kind == "until" else f"{side}/.."
    bare = side.rstrip("?~%")
    reach = _reach(bare)
    if reach is None:
        return ""
    before = kind == "before"
    edge = _before(reach[0]) if before else _after(reach[1])
    fine = len(bare) if re.fullmatch(r"\d{4}(-\d\d)?(-\d\d)?", bare) else 4
    told = day_of(*edge)[:fine]
    return f"../{told}{doubt}" if before else f"{told}{doubt}/.."


def _reach(edtf: str) -> Ends | None:
    """First and last day; None for a season, whose days nobody can say."""
    written = read_date(edtf)
    if written is None or not isinstance(written.start, Moment) or written.start.part is not None:
        return None
    return written.start.span()


def _before(day: tuple[int, int, int]) -> tuple[int, int, int]:
    return _moved(day, -1)


def _after(day: tuple[int, int, int]) -> tuple[int, int, int]:
    return _moved(day, 1)


def _moved(day: tuple[int, int, int], days: int) -> tuple[int, int, int]:
    moved = date(*day) + timedelta(days=days)
    return moved.year, moved.month, moved.day
