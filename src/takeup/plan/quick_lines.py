"""Originals as people type and paste them: a quick line, a spreadsheet's rows. Columns of the item list come out. Pure.

A quick line: carrier (letter or word), how many if more than one, what is written on it, its minutes, feet or pieces::

    v wedding 1987 120          a VHS tape, "wedding 1987", 120 minutes
    v 2 holidays                two VHS tapes, a line each
    k7 Aunt Wen, New Year       the cassette k7
    p 40 harbour                one pile of 40 prints
    s birthday 50ft !vinegar    a Super 8 reel of 50 feet that smells
    v film club ntsc speed=ep   further columns by name
"""

from __future__ import annotations

import csv
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from takeup.tables.rows import Rows

COLUMNS = (
    "id", "carrier", "label", "minutes", "feet", "count", "condition", "notes",
    "sides", "speed", "system", "sound", "frame", "reduction", "keep",
)  # fmt: skip
NUMBERED = re.compile(r"^([a-z])(\d{1,4})$", re.IGNORECASE)
WHOLE = re.compile(r"^\d{1,5}$")
WITH_UNIT = re.compile(r"^(\d+(?:[.,]\d+)?)(min|minutes|ft|feet|in|\"|m|x|分钟|分|英尺|件|张)$", re.IGNORECASE)
UNIT_COLUMN = {
    "min": "minutes", "minutes": "minutes", "分钟": "minutes", "分": "minutes", "ft": "feet", "feet": "feet",
    "in": "feet", '"': "feet", "m": "feet", "英尺": "feet", "x": "count", "件": "count", "张": "count",
}  # fmt: skip
PIECES = re.compile(r'"[^"]*"(?=\s|$)|“[^”]*”(?=\s|$)|\S+')


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line of an entry: the item list's columns as text (``id`` empty: to be given), where it stood, as typed."""

    columns: dict[str, str]
    line: int = 1
    typed: str = ""
    quick: bool = False  # a quick line: its first word must be a carrier


@dataclass(frozen=True, slots=True, kw_only=True)
class Entries:
    """All lines of an entry; ``head``: the heading line, to be kept with lines that are sent back."""

    lines: tuple[Entry, ...] = ()
    head: str = ""


def carrier_of(word: str, rows: Rows) -> str:
    """The contract's word for a carrier as typed (``v``, ``VHS``, ``录像带``); empty when nobody knows it."""
    letters = {letter: name for name, letter in rows.section("intake.letter").items()}
    spelled = rows.section("intake.spelled")
    plain = re.sub(r"[\s_\-]+", "", word.casefold())
    if plain in letters:
        return str(letters[plain])
    for form in (plain, plain.removesuffix("s")):
        for name in letters.values():
            if form == str(name).replace("-", ""):
                return str(name)
        if form in spelled:
            return str(spelled[form])
    return ""


def read_line(text: str, rows: Rows, line: int = 1) -> list[Entry]:
    """A quick line as entries (several when it says how many). An unknown first word is kept as the carrier's word.

    Examples
    --------
    >>> from takeup.tables.loader import load_rows
    >>> [entry.columns for entry in read_line("v wedding 1987 120", load_rows())]
    [{'carrier': 'vhs', 'label': 'wedding 1987', 'minutes': '120'}]
    """
    words = PIECES.findall(text)
    if not words:
        return []
    first, rest = words[0], words[1:]
    numbered = NUMBERED.match(first)
    columns: dict[str, str] = {}
    if numbered and carrier_of(numbered[1], rows) and not carrier_of(first, rows):
        columns["id"] = first.lower()
        columns["carrier"] = carrier_of(numbered[1], rows)
    else:
        columns["carrier"] = carrier_of(first, rows) or first
    carrier = columns["carrier"]
    number = rows.section("intake.number").get(carrier, "count")
    alike = 1
    if rest and WHOLE.match(rest[0]) and not _is_year(rest[0], rows) and "id" not in columns and len(rest) > 1:
        if number == "count":
            columns["count"] = rest[0]
        else:
            alike = min(max(1, int(rest[0])), int(rows.value("intake.entry.most_alike")))
        rest = rest[1:]
    columns |= _words(rest, str(number), columns, rows)
    return [Entry(columns=dict(columns), line=line, typed=text, quick=True) for _ in range(alike)]


def _words(words: list[str], number: str, known: dict[str, str], rows: Rows) -> dict[str, str]:
    """The label and the columns that single words tell."""
    columns: dict[str, str] = {}
    label: list[str] = []
    conditions: list[str] = []
    for place, word in enumerate(words):
        name, equals, value = word.partition("=")
        unit = WITH_UNIT.match(word)
        if equals and name.casefold() in COLUMNS[2:] and value:
            columns[name.casefold()] = value.strip('"')
        elif word[0] in "!！" and len(word) > 1:
            conditions.append(word[1:])
        elif unit and UNIT_COLUMN[unit[2].lower()] not in columns:
            columns[UNIT_COLUMN[unit[2].lower()]] = (
                unit[1] if unit[2].lower() in ("min", "minutes", "x") else _feet(unit)
            )
        elif word.casefold() in ("sp", "lp", "ep") and number == "minutes":
            columns["speed"] = word.casefold()
        elif word.casefold() in ("ntsc", "pal", "secam") and number == "minutes":
            columns["system"] = word.casefold()
        elif _is_last_number(word, words[place + 1 :], number, known | columns, rows):
            columns[number] = word
        else:
            label.append(word.strip('"“”') if word[0] in '"“' and word[-1] in '"”' else word)
    if label:
        columns["label"] = " ".join(label)
    if conditions:
        columns["condition"] = ";".join(conditions)
    order = [name for name in COLUMNS if name in columns]
    return {name: columns[name] for name in order}


def _feet(unit: re.Match[str]) -> str:
    kind = unit[2].lower()
    if kind in ("in", '"'):
        return f"{unit[1]}in"
    return f"{unit[1]}m" if kind == "m" else unit[1]


def _is_last_number(word: str, after: list[str], number: str, known: dict[str, str], rows: Rows) -> bool:
    if not WHOLE.match(word) or number in known or _is_year(word, rows):
        return False
    return all(
        one[0] in "!！" or "=" in one or one.casefold() in ("sp", "lp", "ep", "ntsc", "pal", "secam") for one in after
    )


def _is_year(word: str, rows: Rows) -> bool:
    return len(word) == 4 and int(rows.value("intake.year.first")) <= int(word) <= int(rows.value("intake.year.last"))


def read_paste(text: str, rows: Rows) -> Entries:
    """Rows of a spreadsheet (tabs, commas or semicolons, with a heading or without), or quick lines, one each."""
    text = text.removeprefix("\ufeff")
    first = next((line for line in text.splitlines() if line.strip()), "")
    between = next((mark for mark in "\t;," if mark in first and _is_row(first, mark, rows)), "")
    if not between:
        found: list[Entry] = []
        for number, line in enumerate(text.splitlines(), 1):
            found += read_line(line, rows, number)
        return Entries(lines=tuple(found))
    columns: list[str] | None = None
    head, entries = "", list[Entry]()
    for number, typed, values in _table(text, between):
        if columns is None and not entries and _heads(values, rows):
            columns, head = [_column(value, rows) for value in values], typed
            continue
        entries.append(Entry(columns=_row(values, columns, rows), line=number, typed=typed))
    return Entries(lines=tuple(entries), head=head)


def _table(text: str, between: str) -> Iterator[tuple[int, str, list[str]]]:
    """Each row with the line it begins on and as it was typed; a quote that is never closed is a mark like another."""
    lines = text.splitlines()
    rows = [f"{line}\n" for line in lines]
    if text.count('"') % 2 == 0:
        reader = csv.reader(rows, delimiter=between)
    else:
        reader = csv.reader(rows, delimiter=between, quoting=csv.QUOTE_NONE)
    begun = 0
    try:
        for values in reader:
            typed = "\n".join(lines[begun : reader.line_num])
            if any(value.strip() for value in values):
                yield begun + 1, typed, [value.strip() for value in values]
            begun = reader.line_num
    except csv.Error:  # a cell longer than any label
        yield begun + 1, lines[begun] if begun < len(lines) else "", ["", "", ""]


def _is_row(line: str, between: str, rows: Rows) -> bool:
    """Whether a text's first line is a spreadsheet's: a heading, or a carrier alone in one of the first two cells."""
    values = [value.strip() for value in line.split(between)]
    return between == "\t" or _heads(values, rows) or any(carrier_of(value, rows) for value in values[:2])


def _heads(values: list[str], rows: Rows) -> bool:
    named = [_column(value, rows) for value in values]
    return "carrier" in named and (len(values) == 1 or sum(name in COLUMNS for name in named) > 1)


def _column(value: str, rows: Rows) -> str:
    plain = value.casefold().strip().strip('"')
    return str(rows.section("intake.column").get(plain, plain)) if plain not in COLUMNS else plain


def _row(values: list[str], columns: list[str] | None, rows: Rows) -> dict[str, str]:
    if columns is None:  # the contract's order, with or without ids
        has_id = len(values) > 1 and not carrier_of(values[0], rows) and bool(carrier_of(values[1], rows))
        columns = list(COLUMNS if has_id else COLUMNS[1:])
    row: dict[str, str] = {}
    for place, value in enumerate(values):
        name = columns[place] if place < len(columns) else ""
        if value and (name or place >= len(columns)):
            row[name or f"column {place + 1}"] = value
    if "carrier" in row:
        row["carrier"] = carrier_of(row["carrier"], rows) or row["carrier"]
    return row


def next_id(carrier: str, taken: Collection[str], rows: Rows) -> str:
    """The next free id of a carrier's letter: one above the highest in the box, so that no sticker is used twice."""
    letter = str(rows.section("intake.letter").get(carrier, rows.value("intake.letter.other")))
    used = [int(found[2]) for name in taken if (found := NUMBERED.match(name)) and found[1].casefold() == letter]
    return f"{letter}{max(used, default=0) + 1}"
