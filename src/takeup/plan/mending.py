"""What an everyday copy puts right: of a cassette as far as the check tells, of a scan what is asked. Pure."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

from takeup.errors import NotPossible
from takeup.streams import NO_FACTS, Measured, Report
from takeup.tables.rows import Rows

WORDS = ("azimuth", "hum", "speed")
SCAN_WORDS = ("positive", "fading", "show-through", "dust")
NONE = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Mending:
    """What is put right, in the capture's own time. ``left`` holds what was asked for and cannot be: (word, why)."""

    late_us: float = 0.0  # the right channel's delay that is taken away [us]; negative: the left channel is late
    hum_hz: float | None = None
    speed: float = 1.0  # so many times too fast does the capture play
    speed_between: tuple[float, float] | None = None  # per cent, as the check is sure of it
    left: tuple[tuple[str, str], ...] = ()
    facts: Mapping[str, Any] = field(default_factory=lambda: NO_FACTS)


def plan_asked(words: str) -> tuple[str, ...]:
    """What ``--mend`` asks for, in a fixed order; ``none`` asks for nothing.

    Raises
    ------
    NotPossible
        ``finish.no-such-mend`` for a word nobody knows.

    Examples
    --------
    >>> plan_asked("hum, azimuth")
    ('azimuth', 'hum')
    """
    given = [word.strip().lower() for word in words.split(",") if word.strip()]
    known = (*WORDS, *SCAN_WORDS)
    if unknown := [word for word in given if word not in (*known, NONE)]:
        raise NotPossible("finish.no-such-mend", given=", ".join(unknown), known=", ".join((*known, NONE)))
    return tuple(word for word in known if word in given)


def mends_for(medium: str, carrier: str, words: tuple[str, ...], *, said: bool) -> tuple[str, ...]:
    """What of these words is for an item. A negative is shown positive unless somebody said ``none`` (decision 0099).

    Parameters
    ----------
    said : bool
        Whether somebody said just these words for this item; else they are the lab's.

    Examples
    --------
    >>> mends_for("scan", "print", ("hum", "dust"), said=True)
    ('dust',)
    >>> mends_for("scan", "negative", (), said=False), mends_for("scan", "negative", (), said=True)
    (('positive',), ())
    """
    own = tuple(word for word in (SCAN_WORDS if medium == "scan" else WORDS) if word in words)
    shown = medium == "scan" and carrier == "negative" and "positive" not in own and (own or not said)
    return ("positive", *own) if shown else own


def mends_offered(medium: str, carrier: str = "") -> tuple[str, ...]:
    """What can be chosen for the copies of a carrier, or for every carrier of a medium where none is named.

    Examples
    --------
    >>> mends_offered("scan", "print"), mends_offered("scan", "negative")[0], mends_offered("video")
    (('fading', 'show-through', 'dust'), 'positive', ())
    """
    if medium == "scan":  # only a negative can be shown positive, and it is so unless somebody says none
        return tuple(word for word in SCAN_WORDS if word != "positive" or carrier == "negative")
    return WORDS if medium == "sound" else ()


def plan_mends(
    medium: str, carrier: str, *, asked: tuple[str, ...] | None, lab: tuple[str, ...],
    before: Mapping[str, tuple[str, ...]] = NO_FACTS, only: Collection[str] | None = None,
) -> tuple[tuple[str, ...], dict[str, tuple[str, ...]]]:  # fmt: skip
    """What is put right in an item's copies: as asked now, else as asked before, else as the lab does; and in which
    single copies something else. Of a scan each copy keeps what was asked for it: one picture may want what the next
    does not.

    Parameters
    ----------
    before : mapping
        What was asked for each copy that there is, by its name.
    only : collection of str, optional
        The names of the copies that ``asked`` is meant for; all of them where nobody says.

    Examples
    --------
    >>> before = {"p1-1.jpg": (), "p1-2.jpg": ("fading",)}
    >>> plan_mends("scan", "print", asked=("dust",), lab=(), before=before)
    (('dust',), {})
    >>> plan_mends("scan", "print", asked=("dust",), lab=(), before=before, only=["p1-1.jpg"])
    ((), {'p1-1.jpg': ('dust',), 'p1-2.jpg': ('fading',)})
    >>> plan_mends("sound", "cassette", asked=None, lab=("hum",), before={"k1.m4a": ("speed",)})
    (('speed',), {})
    """
    now = None if asked is None else mends_for(medium, carrier, asked, said=True)
    if now is not None and only is None:
        return now, {}
    alike = medium != "scan" or len({*before.values()}) == 1
    rest = next(iter(before.values())) if before and alike else mends_for(medium, carrier, lab, said=False)
    if medium != "scan":
        return rest, {}
    return rest, dict(before) | {name: now for name in only or () if now is not None}


def plan_mending(report: Report | None, asked: tuple[str, ...], rows: Rows) -> Mending:
    """What of the things asked for is done: only where the check has a figure, and the figure is worth it."""
    limits = rows.section("formats.sound.mend")
    left: list[tuple[str, str]] = []
    late, hz, speed, between = 0.0, None, 1.0, None
    if "azimuth" in asked:
        value = _value(report, "channel_delay")
        late = value if value is not None and abs(value) >= limits["least_us"] else 0.0
        left += [] if late else [("azimuth", "not-told" if value is None else "small")]
    if "hum" in asked:
        measured = _told(report, "mains_hum")
        hz = float(measured.extra["hz"]) if measured and measured.extra.get("hz") else None
        left += [] if hz else [("hum", "not-told")]
    if "speed" in asked:
        speed, between, why = _speed(_told(report, "speed_error"), limits["least_speed"])
        left += [("speed", why)] if why else []
    return Mending(late_us=late, hum_hz=hz, speed=speed, speed_between=between, left=tuple(left))


def _speed(measured: Measured | None, least: float) -> tuple[float, tuple[float, float] | None, str]:
    if measured is None:
        return 1.0, None, "not-told"
    value = float(measured.value)
    low, high = (float(measured.extra.get(end, value)) for end in ("low", "high"))
    if low <= 0 <= high or abs(value) < least or value <= -99:
        return 1.0, None, "small"
    return 1 + value / 100, (low, high), ""


def _told(report: Report | None, name: str) -> Measured | None:
    measured = report.measures.get(name) if report else None
    return measured if measured is not None and isinstance(measured.value, (int, float)) else None


def _value(report: Report | None, name: str) -> float | None:
    measured = _told(report, name)
    return float(measured.value) if measured else None
