"""A film's true time: which rate decides, what a length of film holds, when each frame of a file is shown. Pure.

``check``, ``plan`` and ``finish`` all ask here, so that they agree. Rates and times are exact fractions.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from takeup.streams import Original
from takeup.tables.rows import Rows

SLOWEST, FASTEST = Fraction(5), Fraction(120)
NTSC = {Fraction(nominal * 1000, 1001) for nominal in (24, 30, 48, 60)}
WRITTEN_SHORT = {*NTSC, Fraction(50, 3)}  # rates that people write with two or three decimals


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """The rate a film is shown at [pictures per second]; ``by`` ``item`` (its speed is known) or ``gauge`` (usual)."""

    rate: Fraction
    by: str
    row: str = ""


def decide_rate(original: Original, rows: Rows) -> Decided:
    """The item's own speed where the list gives one, else the gauge's usual one.

    Nothing on the film itself says which: the rate is a decision with its reason, never a fact.
    """
    given = rate_in(original.speed)
    if given is not None:
        return Decided(rate=given, by="item")
    row = f"film.{original.carrier}.usual_rate"
    if row not in rows:
        row = "film.super8.usual_rate"
    return Decided(rate=Fraction(str(rows.value(row))), by="gauge", row=row)


def rate_in(text: str | None) -> Fraction | None:
    """Pictures per second out of an item list's words; None where it says none that a film can have.

    Examples
    --------
    >>> [str(rate_in(text)) for text in ("18", "16 2/3", "16.67 fps", "23.976", "24000/1001", "sp")]
    ['18', '50/3', '50/3', '24000/1001', '24000/1001', 'None']
    """
    if not text:
        return None
    found = re.fullmatch(r"\s*(?:(\d+)\s+)?(\d+(?:[.,]\d+)?)(?:\s*/\s*(\d+))?\s*(?:fps|pictures.*|p/s)?\s*", text, re.I)
    if not found:
        return None
    whole, number, under = found.groups()
    if under == "0":
        return None
    rate = Fraction(number.replace(",", ".")) / int(under or 1) + int(whole or 0)
    decimals = len(number.replace(",", ".").partition(".")[2])
    for near in WRITTEN_SHORT:
        if decimals >= 2 and abs(rate - near) < Fraction(1, 10**decimals):
            rate = near
    return rate if SLOWEST <= rate <= FASTEST else None


def pictures_in(feet: float, carrier: str, rows: Rows) -> int:
    """Pictures on a length of film of this gauge."""
    return round(Fraction(str(feet)) * rows.value(f"film.{carrier}.pictures_per_foot"))


def feet_of(pictures: float, carrier: str, rows: Rows) -> float:
    """The length of film that so many pictures take."""
    return pictures / rows.value(f"film.{carrier}.pictures_per_foot")


def screen_time(pictures: int, rate: Fraction) -> Fraction:
    """Seconds that pictures last on the screen."""
    return pictures / rate


def whole_seconds(seconds: Fraction) -> int:
    """Seconds as running-time tables give them: to the nearest, halves to the even one."""
    return round(seconds)


def frame_times(
    frames: int,
    kept: Sequence[Sequence[int]],
    undetermined: Sequence[Sequence[int]],
    share: Fraction | None,
    rate: Fraction,
) -> list[Fraction]:
    """When each frame of a file is shown so that the film runs true: ``frames`` + 1 times from 0, the last is the end.

    With an unbroken pattern (or one picture per frame) all frames last equally long. Else each picture lasts its time
    and its repeats share it; where nothing can tell, a frame lasts its share of the pattern.

    Parameters
    ----------
    frames : int
        Frames of the file.
    kept : pairs (first, last)
        Frames that show a picture for the first time.
    undetermined : pairs (first, last)
        Frames of which nothing can tell.
    share : Fraction or None
        Pictures per frame by the pattern; None where repeats follow none.
    rate : Fraction
        Pictures per second of the film.
    """
    new = [False] * frames
    for first, last in kept:
        new[first : last + 1] = [True] * (last - first + 1)
    if share is not None and not undetermined and _even(new, share):
        return [at * share / rate for at in range(frames + 1)]
    unsure = [False] * frames
    for first, last in undetermined:
        unsure[first : last + 1] = [True] * (last - first + 1)
    times, at = [Fraction(0)], 0
    while at < frames:
        if unsure[at]:
            times.append(times[-1] + (share or 1) / rate)
            at += 1
            continue
        end = at + 1
        while end < frames and not new[end] and not unsure[end]:
            end += 1
        begin = times[-1]
        times += [begin + Fraction(step, end - at) / rate for step in range(1, end - at + 1)]
        at = end
    return times


def picture_times(
    new: Sequence[bool],
    undetermined: Sequence[Sequence[int]],
    share: Fraction | None,
    rate: Fraction,
) -> tuple[list[tuple[int, Fraction]], Fraction]:
    """When each picture is shown when each is shown once: (frame, time) from 0, and the end.

    A picture lasts 1/rate; a frame of which nothing can tell lasts its share of the pattern.
    """
    unsure = {frame for first, last in undetermined for frame in range(first, last + 1)}
    shown, at = [], Fraction(0)
    for frame, one in enumerate(new):
        if one:
            shown.append((frame, at))
            at += ((share or 1) if frame in unsure else 1) / rate
    return shown, at


def _even(new: Sequence[bool], share: Fraction) -> bool:
    """Whether pictures come by one unbroken pattern: after n frames n times the share, to within one."""
    count, low, high = 0, Fraction(0), Fraction(0)
    for at, one in enumerate(new, 1):
        count += one
        off = count - at * share
        low, high = min(low, off), max(high, off)
    return high - low <= 1
