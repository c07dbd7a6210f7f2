"""Reads an item list: CSV text in, originals out. Pure. Every problem is one sentence with its line and column.

The columns are those of the contract, in any order; further columns are kept beside the item. A carrier that no table
knows becomes ``other`` and keeps its word (docs/decisions/0045); a condition word nobody knows is kept for screening.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field
from functools import partial
from typing import Any, NoReturn

from takeup.errors import NotPossible
from takeup.judge.screening import FIGURES, read_figure
from takeup.plan.film_time import rate_in
from takeup.streams import Original
from takeup.tables.rows import Rows

ID = re.compile(r"^[A-Za-z0-9._-]{1,40}$")
DEVICES = re.compile(r"^(con|prn|aux|nul|com\d|lpt\d)(\..*)?$", re.IGNORECASE)  # names Windows keeps for itself
SPEEDS = ("sp", "lp", "ep")
WORDS = {
    "system": ("ntsc", "pal", "secam"),
    "sound": ("hifi", "linear", "stripe", "optical", "none"),
    "frame": ("35", "half", "126", "110", "120"),
    "keep": ("both", "copy", "master"),
}
MOST = 100_000  # of minutes, feet or pieces in one line: above this it is a slip of the pen
METRE_FT = 1 / 0.3048  # exact: a foot is 0.3048 m
NUMBER = re.compile(r"^\d+([.,]\d+)?$|^[.,]\d+$")


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """One line of an item list: the original, and what further columns say of it."""

    original: Original
    more: dict[str, str] = field(default_factory=dict)

    def facts(self) -> dict[str, Any]:
        """As the fact ``item-listed`` holds it; unknown fields are left out."""
        known = {name: value for name, value in asdict(self.original).items() if value not in (None, "", ())}
        known["condition"] = list(self.original.condition)
        return known | ({"more": self.more} if self.more else {})


def read_items(text: str, rows: Rows) -> list[Listed]:
    """All items of a list, in its order.

    Parameters
    ----------
    text : str
        The CSV text, with or without a byte order mark, with any line ends; separated by commas (or by semicolons or
        tabs throughout, as some spreadsheets write it).
    rows : Rows
        With the tables ``carriers``, ``screening`` and ``storage``.

    Raises
    ------
    NotPossible
        ``items.*``: what is wrong, on which line, in which column, what to write instead. Nothing is half read.
    """
    lines = _lines(text)
    _, head = next(lines, (1, []))
    columns = _columns(head)
    listed: list[Listed] = []
    seen: dict[str, int] = {}
    for line, values in lines:
        if not any(value.strip() for value in values):
            continue
        if len(values) > len(columns) and any(value.strip() for value in values[len(columns) :]):
            raise NotPossible("items.too-many-columns", line=line, found=len(values), wanted=len(columns))
        row = {name: value.strip() for name, value in zip(columns, values)}
        item = _item(row, line, rows)
        name = item.original.id.casefold()
        if name in seen:
            raise NotPossible("items.id-twice", line=line, column="id", value=item.original.id, first=seen[name])
        seen[name] = line
        listed.append(item)
    if not listed:
        raise NotPossible("items.empty")
    return listed


def _lines(text: str) -> Iterator[tuple[int, list[str]]]:
    """Each row with the line it begins on."""
    text = text.removeprefix("\ufeff")
    first = next((line for line in text.splitlines() if line.strip()), "")
    between = next((mark for mark in (",", ";", "\t") if mark in first), ",")
    reader = csv.reader(text.splitlines(keepends=True), delimiter=between, strict=True, skipinitialspace=True)
    while True:
        line = reader.line_num + 1
        try:
            values = next(reader)
        except StopIteration:
            return
        except csv.Error:
            raise NotPossible("items.quotes", line=line) from None
        if any(value.strip() for value in values):
            yield line, values


def _columns(head: list[str]) -> list[str]:
    columns = [name.strip().casefold() for name in head]
    if not columns:
        raise NotPossible("items.empty")
    for wanted in ("id", "carrier"):
        if wanted not in columns:
            raise NotPossible("items.column-missing", column=wanted, found=", ".join(columns))
    for name in columns:
        if name and columns.count(name) > 1:
            raise NotPossible("items.column-twice", column=name)
    return columns


def _item(row: dict[str, str], line: int, rows: Rows) -> Listed:
    values: dict[str, Any] = {"id": _id(row["id"], line)}
    values["carrier"], values["carrier_word"] = _carrier(row["carrier"], line, rows)
    for name, reader in READERS.items():
        if row.get(name):
            values[name] = reader(row[name], partial(_refuse, line, name, row[name]), rows)
    _check_speed(values, row, line, rows)
    own = {"id", "carrier", *READERS}
    more = {name: value for name, value in row.items() if name and name not in own and value}
    return Listed(original=Original(**values), more=more)


def _id(value: str, line: int) -> str:
    if not value:
        raise NotPossible("items.id-missing", line=line, column="id")
    if not ID.match(value) or not value.strip(".") or value.endswith(".") or DEVICES.match(value):
        raise NotPossible("items.id-wrong", line=line, column="id", value=value[:60])
    return value


def _carrier(value: str, line: int, rows: Rows) -> tuple[str, str]:
    """The carrier, and the word for it when no table knows that word."""
    carriers = rows.names("carriers")
    if not value:
        raise NotPossible("items.carrier-missing", line=line, column="carrier", allowed=", ".join(carriers))
    plain = re.sub(r"[\s_-]+", "", value.casefold())
    for spelled in (plain, plain.removesuffix("s")):
        for name in carriers:
            if spelled == name.replace("-", ""):
                return name, ""
    return "other", value


Refuse = Callable[..., NoReturn]


def _refuse(line: int, column: str, value: str, key: str, **facts: object) -> NoReturn:
    raise NotPossible(f"items.{key}", line=line, column=column, value=value[:60], **facts)


def _text(value: str, refuse: Refuse, rows: Rows) -> str:
    return value


def _number(value: str, refuse: Refuse, rows: Rows) -> float:
    figure = float(value.replace(",", ".")) if NUMBER.match(value) else math.nan
    return figure if math.isfinite(figure) and 0 < figure <= MOST else refuse("number-wrong", most=MOST)


def _feet(value: str, refuse: Refuse, rows: Rows) -> float:
    plain = value.casefold().replace(" ", "").replace('"', "in").replace("inch", "in")
    plain = plain.removesuffix("ft").removesuffix("feet")
    reels = rows.section("storage.reel")
    if plain.endswith("in"):
        return float(reels[plain]) if plain in reels else refuse("feet-wrong", reels=", ".join(reels))
    metres = plain.endswith("m")
    plain = plain.removesuffix("m")
    if not NUMBER.match(plain) or not 0 < float(plain.replace(",", ".")) <= MOST:
        refuse("feet-wrong", reels=", ".join(reels))
    return float(plain.replace(",", ".")) * (METRE_FT if metres else 1)


def _whole(value: str, refuse: Refuse, rows: Rows) -> int:
    plain = value.removesuffix(".0")
    if not (plain.isascii() and plain.isdigit() and len(plain) < 10 and 0 < int(plain) <= MOST):
        refuse("count-wrong", most=MOST)
    return int(plain)


def _sides(value: str, refuse: Refuse, rows: Rows) -> int:
    return int(value) if value in ("1", "2") else refuse("word-wrong", allowed="1, 2")


def _speed(value: str, refuse: Refuse, rows: Rows) -> str:
    plain = {"slp": "ep"}.get(value.casefold(), value.casefold())
    if plain not in SPEEDS and rate_in(plain) is None:
        refuse("speed-wrong")
    return plain


def _check_speed(values: dict[str, Any], row: dict[str, str], line: int, rows: Rows) -> None:
    """A tape has a speed word, a film has pictures per second: the other way round is a slip to correct."""
    kind = rows.value(f"screening.kinds.{values['carrier']}")
    speed = values.get("speed")
    if speed is not None and ((kind == "film" and speed in SPEEDS) or (kind == "tape" and speed not in SPEEDS)):
        _refuse(line, "speed", row["speed"], "speed-wrong")


def _word(column: str, value: str, refuse: Refuse, rows: Rows) -> str:
    plain = value.casefold().replace("-", "").removesuffix("mm")
    return plain if plain in WORDS[column] else refuse("word-wrong", allowed=", ".join(WORDS[column]))


def _reduction(value: str, refuse: Refuse, rows: Rows) -> float:
    return _number(value.casefold().removesuffix("x").strip(), refuse, rows)


def _condition(value: str, refuse: Refuse, rows: Rows) -> tuple[str, ...]:
    spelled = rows.section("screening.spelled")
    words: dict[str, None] = {}
    for word in re.split(r"[;,；，、]", value):
        name, equals, figure = word.casefold().strip().partition("=")
        name = re.sub(r"[\s_]+", "-", name.strip())
        name = spelled.get(name, name)
        if equals and name in FIGURES:
            try:
                low, high = read_figure(figure)
            except ValueError:
                refuse("figure-wrong", word=name)
            if high > {"shrunk": 100.0, "acid": 3.0}[name]:
                refuse("figure-wrong", word=name)
            figure = figure.strip().removesuffix("%").strip().replace(",", ".")
        if name:
            words[f"{name}={figure.strip()}" if equals else name] = None
    return tuple(words)


READERS: dict[str, Callable[[str, Refuse, Rows], Any]] = {
    "label": _text,
    "minutes": _number,
    "feet": _feet,
    "count": _whole,
    "condition": _condition,
    "notes": _text,
    "sides": _sides,
    "speed": _speed,
    "reduction": _reduction,
    **{column: partial(_word, column) for column in WORDS},
}
