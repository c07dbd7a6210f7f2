"""Reads a list of descriptions: CSV text in, who / when / where by id out. Pure."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field

from takeup.errors import NotPossible

COLUMNS = ("id", "title", "description", "people", "date", "place", "keywords", "creator", "rights", "event")
LISTS = ("people", "keywords")  # several, separated by semicolons


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line: the id as it was written, and the columns that the list has, empty or not."""

    id: str
    line: int
    told: dict[str, str | list[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Descriptions:
    """A whole list. ``ignored`` are columns that no description has."""

    rows: tuple[Row, ...]
    ignored: tuple[str, ...] = field(default=())


def read_descriptions(text: str) -> Descriptions:
    """All lines of a list, in its order; separated by commas, or by semicolons or tabs throughout.

    Raises
    ------
    NotPossible
        ``describe.*``: what is wrong, on which line, what to do.
    """
    lines = text.removeprefix("\ufeff").splitlines(keepends=True)
    head = next((line for line in lines if line.strip()), "")
    separator = max(",;\t", key=lambda sign: head.count(sign))
    reader = csv.reader(lines, delimiter=separator, strict=True)
    columns: list[str] = []
    rows: list[Row] = []
    try:
        for values in reader:
            if not any(value.strip() for value in values):
                continue
            if not columns:
                columns = _columns(values)
                continue
            if any(value.strip() for value in values[len(columns) :]):
                found, wanted = len(values), len(columns)
                raise NotPossible("describe.too-many-columns", line=reader.line_num, found=found, wanted=wanted)
            rows.append(_row(dict(zip(columns, values)), reader.line_num))
    except csv.Error as error:
        raise NotPossible("describe.quotes", line=reader.line_num) from error
    if not rows:
        raise NotPossible("describe.empty", columns=", ".join(COLUMNS))
    ignored = tuple(name for name in columns if name and name not in COLUMNS)
    return Descriptions(rows=tuple(rows), ignored=ignored)


def _columns(head: list[str]) -> list[str]:
    names = [name.strip().casefold() for name in head]
    known = [name for name in names if name in COLUMNS]
    if "id" not in known or len(known) < 2:
        found = ", ".join(name for name in names if name)
        raise NotPossible("describe.columns-wrong", found=found, columns=", ".join(COLUMNS))
    for name in known:
        if known.count(name) > 1:
            raise NotPossible("describe.column-twice", column=name)
    return names


def _row(values: dict[str, str], line: int) -> Row:
    told: dict[str, str | list[str]] = {}
    for name, value in values.items():
        text = " ".join(value.split()) if name != "description" else value.strip()
        if name in LISTS:
            told[name] = [part.strip() for part in text.replace("；", ";").split(";") if part.strip()]
        elif name in COLUMNS and name != "id":
            told[name] = text
    return Row(id=values.get("id", "").strip(), line=line, told=told)
