"""A row of knowledge: one value with its source and how well it is known. Pure; the loader is next door."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

GRADES = ("verified", "secondary", "measured", "house", "memory")
"""verified: read in that very edition · secondary: seen only in a work that repeats it · measured: our experiment,
script named · house: our choice, decision named · memory: nobody has looked yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One figure, word or list with a meaning. No "do it again" may rest on grade ``memory`` alone."""

    key: str  # table.section.name
    value: Any
    unit: str = ""
    grade: str
    source: str  # a key of sources.toml
    where: str = ""  # clause, table, page
    note: str = ""
    erratum: str = ""


class Rows(Mapping[str, Row]):
    """All rows by their full key (``sound.clipping.min_run``)."""

    def __init__(self, rows: Mapping[str, Row]) -> None:
        self._rows = dict(rows)
        self._sections: dict[str, dict[str, Any]] = {}  # as they are asked for: looking through all rows takes long

    def __getitem__(self, key: str) -> Row:
        return self._rows[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    def value(self, key: str) -> Any:
        """The bare value of a row.

        Raises
        ------
        KeyError
            If there is no such row: a fault of the program, never of a file.
        """
        return self._rows[key].value

    def section(self, prefix: str) -> dict[str, Any]:
        """Values of all rows under ``table.section`` by their last name."""
        if prefix not in self._sections:
            start = prefix + "."
            self._sections[prefix] = {
                key[len(start) :]: row.value for key, row in self._rows.items() if key.startswith(start)
            }
        return dict(self._sections[prefix])

    def names(self, table: str) -> list[str]:
        """The sections of one table, in the order they stand in it."""
        start = table + "."
        return list(dict.fromkeys(key[len(start) :].rsplit(".", 1)[0] for key in self._rows if key.startswith(start)))
