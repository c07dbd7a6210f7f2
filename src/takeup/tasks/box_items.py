"""A box's item list, line by line: entered, changed, taken off again. One fact a line, so nobody waits for long work.

A line is changed from the fact it was read from (``seq``); when somebody else changed it meanwhile nothing is written.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from takeup.box.folder import Box, look_into, original_from
from takeup.box.items import Listed, read_items
from takeup.box.record import Fact
from takeup.errors import NotAllowedNow, NotPossible
from takeup.plan.quick_lines import COLUMNS, Entry, carrier_of, next_id
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows

MOST_TRIES = 20  # others would have to take an id in between as often
MOST_SIGNS = 500  # of one cell: more than anybody writes on a label


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of the list as it stands."""

    original: Original
    columns: Mapping[str, str]  # as a form shows them
    seq: int
    captured: bool
    withdrawn: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrong:
    """A line that was not entered: where it stood, as it was typed, the fault (its key and facts)."""

    line: int
    typed: str
    fault: NotPossible


@dataclass(frozen=True, slots=True, kw_only=True)
class Entered:
    """What became of an entry: ids put on the list, lines that were not."""

    added: tuple[str, ...] = ()
    wrong: tuple[Wrong, ...] = ()


def listed(folder: Path, settings: Settings, *, withdrawn: bool = False) -> list[Line]:
    """The lines of a box in their order; those taken off again only when asked for."""
    box = look_into(folder, settings)
    captured = {fact.item for fact in box.record.latest("taken")}
    lines = [_line(fact, captured) for fact in box.record.latest("item-listed")]
    return [line for line in lines if line.withdrawn == withdrawn]


def line_of(folder: Path, item: str, settings: Settings) -> Line:
    """One line, taken off or not.

    Raises
    ------
    NotPossible
        ``items.no-such-item``.
    """
    box = look_into(folder, settings)
    captured = {fact.item for fact in box.record.latest("taken")}
    for fact in box.record.latest("item-listed"):
        if fact.item.casefold() == item.casefold():
            return _line(fact, captured)
    raise NotPossible("items.no-such-item", item=item[:60])


def enter(folder: Path, entries: Sequence[Entry], settings: Settings) -> Entered:
    """Put lines on the list, all of them or none: what is wrong is told line by line. Ids are given where none are."""
    box = look_into(folder, settings)
    for _ in range(MOST_TRIES):
        standing = {fact.item.casefold(): fact for fact in box.record.latest("item-listed")}
        items, wrong = _read_all(entries, standing)
        if wrong:
            return Entered(wrong=tuple(wrong))
        seqs = {name: fact.seq for name, fact in standing.items()}
        facts = [
            (one.original.id, one.facts(), _command(one.original.id, seqs.get(one.original.id.casefold(), 0)))
            for one in items
        ]
        if box.record.append_all("item-listed", facts):  # else somebody took an id a moment ago: the next free ones
            return Entered(added=tuple(one.original.id for one in items))
    raise NotAllowedNow("items.changed-meanwhile", item=box.name)


def _read_all(entries: Sequence[Entry], standing: Mapping[str, Fact]) -> tuple[list[Listed], list[Wrong]]:
    """Every line as an item, with an id; what is wrong with which."""
    rows = load_rows()
    most = rows.value("intake.entry.most_lines")
    there = {name for name, fact in standing.items() if not fact.facts.get("withdrawn")}
    used, items, wrong = set(standing), [], []
    for n, entry in enumerate(entries[: most + 1]):
        columns = dict(entry.columns)
        word, name = columns.get("carrier", ""), columns.get("id", "")
        try:
            if n >= most:
                raise NotPossible("items.too-many-lines", most=most)
            if entry.quick and not carrier_of(word, rows):
                raise NotPossible("items.quick-carrier", line=entry.line, value=word[:60])
            if name.casefold() in there:
                raise NotPossible("items.id-there", line=entry.line, value=name[:60])
            columns["id"] = name or next_id(carrier_of(word, rows) or "other", used, rows)
            item = read_columns(columns, entry.line)
        except NotPossible as fault:
            wrong.append(Wrong(line=entry.line, typed=entry.typed, fault=fault))
            continue
        there.add(item.original.id.casefold())
        used.add(item.original.id.casefold())
        items.append(item)
    return items, wrong


def _command(name: str, after: int) -> str:
    """Of what follows the fact with this number: of two such only the first is kept."""
    return f"item-listed/{name.casefold()}/after-{after}"


def change_item(folder: Path, item: str, seq: int, columns: Mapping[str, str], settings: Settings) -> str:
    """Change a line; its id, which may be another from now on (until the first capture).

    Raises
    ------
    NotAllowedNow
        ``items.changed-meanwhile``: somebody changed it since ``seq``; ``items.id-fixed``, ``box.carrier-changed``:
        it has captures.
    NotPossible
        ``items.*``: what is wrong in which column.
    """
    box = look_into(folder, settings)
    line = line_of(folder, item, settings)
    new = read_columns({name: value for name, value in columns.items() if value}, 1)
    _check_unchanged(line, seq)
    old_id, new_id = line.original.id, new.original.id
    if line.captured and new_id != old_id:
        raise NotAllowedNow("items.id-fixed", item=old_id)
    if line.captured and new.original.carrier != line.original.carrier:
        facts = {"item": old_id, "now": new.original.carrier, "before": line.original.carrier, "path": str(folder)}
        raise NotAllowedNow("box.carrier-changed", **facts)
    if new_id == old_id:
        if new.facts() != listed_facts(line):
            _append(box, new, old_id, seq)
        return new_id
    others = {fact.item.casefold(): fact for fact in box.record.latest("item-listed")}
    there = others.get(new_id.casefold())
    if there is not None and there.item != old_id and not there.facts.get("withdrawn"):
        raise NotPossible("items.id-there", line=1, value=new_id)
    _rename(box, line, new, there.seq if there and there.item != old_id else 0)
    return new_id


def _rename(box: Box, line: Line, new: Listed, after: int) -> None:
    """Another id: the line goes under the old one and comes under the new one, with what was seen of it."""
    old_id, new_id = line.original.id, new.original.id
    if new_id.casefold() == old_id.casefold():
        raise NotPossible("items.id-there", line=1, value=new_id)
    gone = _append_facts(box, old_id, listed_facts(line) | {"withdrawn": True}, line.seq)
    try:
        _append(box, new, new_id, after)
    except NotAllowedNow:
        _append_facts(box, old_id, listed_facts(line), gone.seq)
        raise
    for what in ("screened", "ruled"):
        for fact in box.record.latest(what, old_id):
            box.record.append(what, fact.facts, item=new_id)


def withdraw(folder: Path, item: str, seq: int, settings: Settings) -> None:
    """Take a line off the list again: a slip of the pen. What has captures stays.

    Raises
    ------
    NotAllowedNow
        ``items.changed-meanwhile``; ``items.has-captures``.
    """
    box, line = look_into(folder, settings), line_of(folder, item, settings)
    if line.withdrawn:
        return
    _check_unchanged(line, seq)
    if line.captured:
        raise NotAllowedNow("items.has-captures", item=line.original.id)
    _append_facts(box, line.original.id, listed_facts(line) | {"withdrawn": True}, seq)


def bring_back(folder: Path, item: str, settings: Settings) -> None:
    """Put a line that was taken off on the list again, as it was."""
    box, line = look_into(folder, settings), line_of(folder, item, settings)
    if line.withdrawn:
        _append_facts(box, line.original.id, listed_facts(line), line.seq)


def add_conditions(folder: Path, item: str, words: Sequence[str], without: Sequence[str], settings: Settings) -> None:
    """Note condition words that were seen on an original, and take off those that were looked for and not seen."""
    box, line = look_into(folder, settings), line_of(folder, item, settings)
    gone = {word.casefold() for word in without}
    kept = [word for word in line.original.condition if word.partition("=")[0].rstrip("?？") not in gone]
    condition = "; ".join(dict.fromkeys([*kept, *words]))
    new = read_columns(
        {name: value for name, value in (dict(line.columns) | {"condition": condition}).items() if value}, 1
    )
    if new.facts() != listed_facts(line):
        _append(box, new, line.original.id, line.seq)


def read_columns(columns: Mapping[str, str], line: int) -> Listed:
    """One line's columns as an item.

    Raises
    ------
    NotPossible
        ``items.*`` with the line's own number.
    """
    for name, value in columns.items():
        if len(value) > MOST_SIGNS:
            raise NotPossible("items.cell-long", line=line, column=name[:30], found=len(value), most=MOST_SIGNS)
    text = io.StringIO()
    csv.writer(text).writerows([list(columns), [" ".join(value.split()) for value in columns.values()]])
    try:
        return read_items(text.getvalue(), load_rows())[0]
    except NotPossible as fault:
        raise NotPossible(fault.key, **dict(fault.facts) | {"line": line}) from fault


def listed_facts(line: Line) -> dict[str, Any]:
    """The line as its fact holds it."""
    more = {name: value for name, value in line.columns.items() if name not in COLUMNS}
    return Listed(original=line.original, more=more).facts()


def _check_unchanged(line: Line, seq: int) -> None:
    if line.seq != seq:
        raise NotAllowedNow("items.changed-meanwhile", item=line.original.id)


def _append(box: Box, item: Listed, name: str, after: int) -> Fact:
    return _append_facts(box, name, item.facts() | {"id": name}, after)


def _append_facts(box: Box, name: str, facts: dict[str, Any], after: int) -> Fact:
    """One fact that follows the one with number ``after``."""
    fact = box.record.append("item-listed", facts, item=name, command=_command(name, after))
    if fact.facts != facts or fact.item != name:
        raise NotAllowedNow("items.changed-meanwhile", item=name)
    return fact


def _line(fact: Fact, captured: set[str]) -> Line:
    original = original_from(fact.facts)
    known = {name: _text(getattr(original, name)) for name in COLUMNS}
    known["carrier"] = original.carrier_word or original.carrier
    return Line(
        original=original,
        columns=known | dict(fact.facts.get("more", {})),
        seq=fact.seq,
        captured=fact.item in captured,
        withdrawn=bool(fact.facts.get("withdrawn")),
    )


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, tuple):
        return "; ".join(value)
    return f"{value:.10g}" if isinstance(value, float) else str(value)
