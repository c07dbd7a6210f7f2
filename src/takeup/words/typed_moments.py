"""Reads one typed date without "about" or "before": a day, a month, a year, a season, a feast, a decade. Pure.

Every function takes text made plain (``typed_numbers.plain``) and gives all that it may mean in EDTF, the likelier
first; an empty list when it means none. None is guessed away: who asks decides.
"""

from __future__ import annotations

import re
from calendar import monthrange
from datetime import date, timedelta

from takeup.words.typed_numbers import years_of

MONTHS = {
    name: at
    for at, names in enumerate(
        ("january jan", "february feb", "march mar", "april apr", "may", "june jun", "july jul", "august aug",
         "september sept sep", "october oct", "november nov", "december dec"), 1)
    for name in names.split()
}  # fmt: skip
SEASONS = {"spring": 21, "summer": 22, "autumn": 23, "fall": 23, "winter": 24, "春": 21, "夏": 22, "秋": 23, "冬": 24}
DECADES = {name: at * 10 for at, name in enumerate(
    "twenties thirties forties fifties sixties seventies eighties nineties".split(), 2)}  # fmt: skip
DAYS = re.compile(r"\b(?:mon|tues?|wed(?:nes)?|thu(?:rs)?|fri|sat(?:ur)?|sun)(?:day)?\b,?|(?:星期|周|礼拜)[1-7日天]")
FILLER = re.compile(
    r"\b(?:the|of|in|on|at|year(?= \d)|sometime|some time|some day|one|a|during|month|dated?)\b|,"
    r"|公元|西元|某[年月日天]|的?时候|的|时$|那[年月日天]"
)
MONTH = "|".join(sorted(MONTHS, key=len, reverse=True))
YEAR = r"'?(?P<year>\d{4}|\d{2})"
ONE_DAY = r"(?P<day>\d{1,2})(?:st|nd|rd|th)?"
WORDED = (
    re.compile(rf"{ONE_DAY} ?(?P<month>{MONTH})\.?[ -]?{YEAR}"),
    re.compile(rf"(?P<month>{MONTH})\.? ?{ONE_DAY} +{YEAR}"),
    re.compile(rf"(?P<month>{MONTH})\.?[ -]?{YEAR}"),
    re.compile(rf"{YEAR}[ -]?(?P<month>{MONTH})\.?(?: ?{ONE_DAY})?"),
    re.compile(r"(?P<era>民国)?(?P<year>\d{1,4})年(?:(?P<month>\d{1,2})月(?:份|(?P<day>\d{1,2})[日号]?)?)?"),
)
FIGURES = re.compile(r"(?P<a>\d{1,4})(?P<sign>[./ -])(?P<b>\d{1,2})(?P=sign)(?P<c>\d{1,4})\.?")
MONTH_YEAR = re.compile(r"(?:(?P<m>\d{1,2})[./-](?P<y>\d{4})|(?P<y2>\d{4})[./-](?P<m2>\d{1,2}))")
SEASON = re.compile(r"(?P<part>spring|summer|autumn|fall|winter)(?:time)? '?(?P<year>\d{4}|\d{2})|"
                    r"(?P<era>民国)?(?P<year2>\d{2,4})年?(?P<part2>[春夏秋冬])[天季]?")  # fmt: skip
OVER_NEW_YEAR = re.compile(r"winter (?P<year>\d{4})[/-](?P<next>\d{4}|\d{2})")
MINGUO = 1911  # the first year of the Republic's count is 1912
REPUBLIC_DECADE = re.compile(r"民国(?P<tens>[1-9]0)年代")
DECADE = re.compile(r"(?:(?P<whole>\d{3}0)|'?(?P<tens>[1-9]0))'?(?:s|年代)")
CENTURY = re.compile(r"(?P<nth>\d{1,2})(?:th|st|nd|rd)? ?(?:century|世纪)")
CENTURY_DECADE = re.compile(r"(?:(?P<nth>\d{1,2})世纪|上(?:个)?世纪|本世纪)(?P<tens>[1-9]0|0)年代")
FIRST_YEAR = 1000


def meanings(text: str, this_year: int) -> list[str]:
    """All that a plain text may mean as one date.

    Examples
    --------
    >>> meanings("14.7.1974", 2026), meanings("03/04/1974", 2026), meanings("summer 1974", 2026)
    (['1974-07-14'], ['1974-04-03', '1974-03-04'], ['1974-22'])
    """
    text = " ".join(FILLER.sub(" ", DAYS.sub(" ", text)).split())
    for read in (_decade, _over_new_year, _season, _feast, _figures, _worded, _year):
        if found := read(text, this_year):
            return list(dict.fromkeys(found))
    return []


def day_of(year: int, month: int | None = None, day: int | None = None) -> str:
    """The date as ISO 8601 writes it; empty when there is no such day.

    Examples
    --------
    >>> day_of(1974, 7), day_of(1974, 2, 30)
    ('1974-07', '')
    """
    if month is None:
        return f"{year:04d}"
    if not 1 <= month <= 12 or (day is not None and not 1 <= day <= monthrange(year, month)[1]):
        return ""
    return f"{year:04d}-{month:02d}" + (f"-{day:02d}" if day is not None else "")


def _year(text: str, this_year: int) -> list[str]:
    found = re.fullmatch(r"'?(\d{4}|\d{2})", text)
    return [day_of(year) for year in years_of(found[1], this_year)] if found else []


def _worded(text: str, this_year: int) -> list[str]:
    """Months by name, and years, months, days by their Chinese signs."""
    for form in WORDED:
        found = form.fullmatch(text.replace(" ", "") if "年" in text else text)
        if found is None:
            continue
        parts = found.groupdict()
        month = MONTHS.get(parts["month"] or "") or (int(parts["month"]) if parts["month"] else None)
        day = int(parts["day"]) if parts.get("day") else None
        if parts.get("era"):
            years = [MINGUO + int(parts["year"])] if 1 <= int(parts["year"]) <= this_year - MINGUO else []
        else:
            years = years_of(parts["year"], this_year)
        return [written for year in years if (written := day_of(year, month, day))]
    return []


def _figures(text: str, this_year: int) -> list[str]:
    """Figures alone: a year in front is followed by its month; at the end either order is possible and both count."""
    if found := MONTH_YEAR.fullmatch(text):
        year, month = int(found["y"] or found["y2"]), int(found["m"] or found["m2"])
        whole = [day_of(year, month)] if years_of(str(year), this_year) else []
        span = _short_span(text, this_year)
        return [written for written in [*whole, *span] if written]
    found = FIGURES.fullmatch(text)
    if found is None:
        return []
    a, b, c = found["a"], found["b"], found["c"]
    written = []
    if len(a) == 4:
        return [day for year in years_of(a, this_year) if (day := day_of(year, int(b), int(c)))] if len(c) < 3 else []
    if len(a) < 3 and len(c) in (2, 4):
        for year in years_of(c, this_year):
            written += [day_of(year, int(b), int(a)), day_of(year, int(a), int(b))]
    if len(a) == 2 and len(c) < 3 and (int(a) > 31 or len(c) == 2):
        written += [day_of(year, int(b), int(c)) for year in years_of(a, this_year)]
    return [day for day in written if day]


def _short_span(text: str, this_year: int) -> list[str]:
    """``1904-05``, ``1974/75``: the second year of a span written short."""
    found = re.fullmatch(r"(\d{4})[/-](\d{1,2})", text)
    if found is None:
        return []
    year, ending = int(found[1]), found[2]
    size = 10 ** len(ending)
    until = year - year % size + int(ending)
    return [f"{year:04d}/{until:04d}"] if year < until <= this_year else []


def _season(text: str, this_year: int) -> list[str]:
    found = SEASON.fullmatch(text) or SEASON.fullmatch(text.replace(" ", ""))
    if found is None:
        swapped = re.fullmatch(r"'?(\d{4}|\d{2}) (spring|summer|autumn|fall|winter)", text)
        return _season(f"{swapped[2]} {swapped[1]}", this_year) if swapped else []
    part = SEASONS[found["part"] or found["part2"]]
    typed = found["year"] or found["year2"]
    if found["era"]:
        years = [MINGUO + int(typed)] if int(typed) <= this_year - MINGUO else []
    else:
        years = years_of(typed, this_year)
    return [f"{year:04d}-{part}" for year in years]


def _over_new_year(text: str, this_year: int) -> list[str]:
    """The winter that begins in one year and ends in the next: December to February."""
    found = OVER_NEW_YEAR.fullmatch(text)
    if found is None:
        return []
    year, after = int(found["year"]), found["next"]
    follows = str(year + 1).endswith(after) and year + 1 <= this_year
    return [f"{year:04d}-12/{year + 1:04d}-02"] if follows else []


def _decade(text: str, this_year: int) -> list[str]:
    text = text.replace("上个世纪", "上世纪")
    if found := REPUBLIC_DECADE.fullmatch(text):
        first = MINGUO + int(found["tens"])
        return [f"{first:04d}/{first + 9:04d}"] if first <= this_year else []
    if found := CENTURY_DECADE.fullmatch(text):
        century = 20 if text.startswith("上") else 21 if text.startswith("本") else int(found["nth"])
        first = 100 * (century - 1) + int(found["tens"])
        return [f"{first // 10:03d}X"] if FIRST_YEAR <= first <= this_year else []
    if found := CENTURY.fullmatch(text):
        first = int(found["nth"]) - 1
        return [f"{first:02d}XX"] if FIRST_YEAR <= 100 * first <= this_year else []
    if found := DECADE.fullmatch(text):
        if found["whole"]:
            first = int(found["whole"])
            if not FIRST_YEAR <= first <= this_year:
                return []
            return [f"{first // 10:03d}X", f"{first // 100:02d}XX"] if first % 100 == 0 else [f"{first // 10:03d}X"]
        return _tens(int(found["tens"]), this_year)
    return _tens(DECADES[text], this_year) if text in DECADES else []


def _tens(tens: int, this_year: int) -> list[str]:
    """ "The sixties" are those of the 1900s; where those of the 2000s have begun, both are meant."""
    late = [f"{(2000 + tens) // 10:03d}X"] if 2000 + tens <= this_year else []
    return [f"{(1900 + tens) // 10:03d}X", *late]


FEASTS = (  # pattern, the day from the year, about that day
    (r"(?:xmas|christmas) eve|平安夜", lambda year: date(year, 12, 24), False),
    (r"(?:xmas|christmas) day", lambda year: date(year, 12, 25), False),
    (r"boxing day", lambda year: date(year, 12, 26), False),
    (r"xmas|christmas|圣诞节?", lambda year: date(year, 12, 25), True),
    (r"new year'?s eve|除夕夜?(?=阳历)", lambda year: date(year, 12, 31), False),
    (r"new year'?s day|元旦", lambda year: date(year, 1, 1), False),
    (r"hallowe'?en", lambda year: date(year, 10, 31), False),
    (r"valentine'?s(?: day)?|情人节", lambda year: date(year, 2, 14), False),
    (r"easter sunday", lambda year: easter(year), False),
    (r"easter|复活节", lambda year: easter(year), True),
    (r"thanksgiving(?: day)?|感恩节", lambda year: fourth_thursday(year), False),
    (r"independence day", lambda year: date(year, 7, 4), False),
    (r"国庆节?", lambda year: date(year, 10, 1), True),
    (r"5一(?:劳动)?节?|5\.?1劳动节|劳动节|51节?", lambda year: date(year, 5, 1), True),
    (r"(?:61)?儿童节|61节", lambda year: date(year, 6, 1), False),
)
MOVING = ((r"春节|过年|chinese new year|lunar new year|spring festival", "{0:04d}-01/{0:04d}-02"),
          (r"中秋节?|mid-?autumn festival", "{0:04d}-09/{0:04d}-10"))  # fmt: skip


def _feast(text: str, this_year: int) -> list[str]:
    """A feast and its year; one that moves with the moon is told by the two months it falls in."""
    for pattern, day, about in FEASTS:
        if years := _feast_years(pattern, text, this_year):
            return [day(year).isoformat() + ("~" if about else "") for year in years]
    for pattern, form in MOVING:
        if years := _feast_years(pattern, text, this_year):
            return [form.format(year) for year in years]
    return []


def _feast_years(pattern: str, text: str, this_year: int) -> list[int]:
    found = re.fullmatch(rf"(?:{pattern}) ?'?(\d{{4}}|\d{{2}})年?|'?(\d{{4}}|\d{{2}})年? ?(?:{pattern})", text)
    return years_of(found[1] or found[2], this_year) if found else []


def easter(year: int) -> date:
    """Easter Sunday of the Gregorian calendar (the rule of Meeus, Jones and Butcher, for any year).

    Examples
    --------
    >>> easter(1975)
    datetime.date(1975, 3, 30)
    """
    a, (b, c) = year % 19, divmod(year, 100)
    d, e = divmod(b, 4)
    f = (b + 8) // 25
    g = (b - f + 1) // 3
    h = (19 * a + b - d - g + 15) % 30
    i, k = divmod(c, 4)
    el = (32 + 2 * e + 2 * i - h - k) % 7
    m = (a + 11 * h + 22 * el) // 451
    month, day = divmod(h + el - 7 * m + 114, 31)
    return date(year, month, day + 1)


def fourth_thursday(year: int) -> date:
    """Of November.

    Examples
    --------
    >>> fourth_thursday(1968)
    datetime.date(1968, 11, 28)
    """
    first = date(year, 11, 1)
    return first + timedelta(days=(3 - first.weekday()) % 7 + 21)
