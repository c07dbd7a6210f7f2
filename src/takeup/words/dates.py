"""Dates as people say them."""

from __future__ import annotations

from takeup.words.edtf import Moment, Written, read_date
from takeup.words.sentences import say


def said_date(written: Written, lang: str) -> str:
    """The date as people say it.

    Examples
    --------
    >>> from takeup.words.edtf import read_date
    >>> said_date(read_date("1974-07-14"), "en"), said_date(read_date("197X~"), "en")
    ('14 July 1974', 'about the 1970s')
    >>> said_date(read_date("1970/1975"), "zh-Hans")
    '1970年至1975年'
    """
    if written.end is None and isinstance(written.start, Moment):
        return _said(written.start, lang)
    start, end = (_said(side, lang) if isinstance(side, Moment) else side for side in (written.start, written.end))
    if isinstance(written.start, Moment) and isinstance(written.end, Moment):
        return say("calendar", "from-to", lang, {"start": start, "end": end})
    if isinstance(written.start, Moment):
        return say("calendar", "from" if written.end == ".." else "from-unknown", lang, {"start": start})
    return say("calendar", "until" if written.start == ".." else "until-unknown", lang, {"end": end})


def _said(moment: Moment, lang: str) -> str:
    facts: dict[str, object] = {"year": moment.year, "month": moment.month, "day": moment.day}
    if moment.month:
        facts["month"] = say("calendar", f"month.{moment.month}", lang)
    if moment.digits < 4:
        facts["last"] = moment.year + 99
        key = "decade" if moment.digits == 3 else "century"
    elif moment.part is not None:
        facts["part"] = say("calendar", f"part.{moment.part}", lang)
        key = "part-of-year"
    elif moment.month is None:
        key = "year-months-open" if moment.months_open else "year"
    elif moment.day is None:
        key = "month-days-open" if moment.days_open else "month-of-year"
    else:
        key = "day"
    plain = say("calendar", f"form.{key}", lang, facts)
    doubt = {"": "sure", "?": "perhaps", "~": "about", "%": "perhaps-about"}[moment.doubt]
    return say("calendar", doubt, lang, {"date": plain})


def said_of(text: str, lang: str) -> str:
    """A date as it was given, said as people say it; text that is no date is handed back.

    Examples
    --------
    >>> said_of("1974~", "en"), said_of("that wet summer", "en"), said_of("", "en")
    ('about 1974', 'that wet summer', '')
    """
    written = read_date(text)
    return said_date(written, lang) if written else text
