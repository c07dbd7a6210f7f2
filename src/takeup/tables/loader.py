"""Reads every ``tables/*.toml`` once. A row without a grade or with an unknown source does not load.

A section may set ``_grade``, ``_source`` and ``_where`` for the bare values in it; a row that is written out as
``{ value = ..., unit = ..., grade = ..., source = ..., where = ... }`` overrides them.
"""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from takeup.tables.rows import GRADES, Row, Rows

FOLDER = Path(__file__).parent
ROW_FIELDS = {"value", "unit", "grade", "source", "where", "note", "erratum"}


@cache
def load_rows() -> Rows:
    """Every row of every table.

    Raises
    ------
    ValueError
        If a row lacks its grade or source, or names a source that ``sources.toml`` does not know.
    """
    rows: dict[str, Row] = {}
    sources = load_sources()
    for path in sorted(FOLDER.glob("*.toml")):
        if path.name == "sources.toml":
            continue
        for section, body in tomllib.loads(path.read_text("utf-8")).items():
            _gather(f"{path.stem}.{section}", body, {}, sources, rows)
    return Rows(rows)


@cache
def load_sources() -> dict[str, dict[str, str]]:
    """The works that rows cite: key -> title, edition, year, publisher, who read it, when."""
    return tomllib.loads((FOLDER / "sources.toml").read_text("utf-8"))


def _gather(key: str, body: dict[str, Any], above: dict[str, Any], sources: dict, rows: dict[str, Row]) -> None:
    shared = above | {name[1:]: value for name, value in body.items() if name.startswith("_")}
    for name, value in body.items():
        if name.startswith("_"):
            continue
        full = f"{key}.{name}"
        if isinstance(value, dict) and "value" not in value:
            _gather(full, value, shared, sources, rows)
            continue
        fields = shared | (value if isinstance(value, dict) else {"value": value})
        if unknown := set(fields) - ROW_FIELDS:
            raise ValueError(f"table row {full}: unknown fields {sorted(unknown)}")
        if fields.get("grade") not in GRADES:
            raise ValueError(f"table row {full}: grade {fields.get('grade')!r} is none of {GRADES}")
        if fields.get("source") not in sources:
            raise ValueError(f"table row {full}: sources.toml does not know {fields.get('source')!r}")
        rows[full] = Row(key=full, **fields)
