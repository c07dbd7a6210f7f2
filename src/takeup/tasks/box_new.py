"""Starts a box from an item list, or brings a box's list up to date. A new box appears whole or not at all."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from takeup.box.folder import Box
from takeup.box.items import Listed
from takeup.box.record import Record
from takeup.errors import NotPossible
from takeup.files.beside import beside, cannot_write, is_part, sweep
from takeup.files.lock import FILE_NAME as LOCK_NAME
from takeup.files.lock import held
from takeup.settings import Settings
from takeup.tasks.originals import read_list

VERSION = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Started:
    """What became of the list: item ids that are new, changed, unchanged, and in the box though the list lacks them."""

    box: Box
    new: bool
    added: tuple[str, ...]
    changed: tuple[str, ...]
    same: tuple[str, ...]
    unlisted: tuple[str, ...]
    pieces: int  # originals in, where a line counts several pieces


def box_new(folder: Path, items: Path, settings: Settings, *, title: str = "") -> Started:
    """Start a box, or add and update the items of one. Nothing is ever taken out of a box.

    Parameters
    ----------
    title : str
        What the letter calls the box ("The Tan and Marlow family"); the folder's name until one is given.

    Raises
    ------
    NotPossible
        ``items.*`` for the list; ``box.foreign`` when the folder holds other things; ``box.carrier-changed`` when an
        item that has captures would become another carrier. Nothing is half made.
    """
    listed = read_list(items)
    digest = hashlib.sha256(items.read_bytes()).hexdigest()
    folder = Path(os.path.abspath(folder))
    box = Box(folder, Record(folder, settings.who))
    _refuse_foreign(box)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise cannot_write(folder, error) from error
    with held(folder, "box new", settings.wait_s):
        sweep(folder)
        if not box.record.exists():
            return _start(box, listed, {"items_sha256": digest, "title": title}, settings)
        box.record.start()
        return _update(box, listed, {"items_sha256": digest, "title": title})


def box_start(folder: Path, settings: Settings, *, title: str = "") -> Box:
    """Start a box that has no list yet; a box that stands is left as it is.

    Raises
    ------
    NotPossible
        ``box.foreign`` when the folder holds other things.
    """
    folder = Path(os.path.abspath(folder))
    box = Box(folder, Record(folder, settings.who))
    if box.record.exists():
        return box
    _refuse_foreign(box)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise cannot_write(folder, error) from error
    with held(folder, "box new", settings.wait_s):
        if not box.record.exists():
            _start(box, [], {"items_sha256": "", "title": title}, settings)
    return box


def _refuse_foreign(box: Box) -> None:
    if box.folder.is_file():
        raise NotPossible("box.is-a-file", path=str(box.folder))
    if box.record.exists() or not box.folder.is_dir():
        return
    names = sorted(path.name for path in box.folder.iterdir() if path.name != LOCK_NAME and not is_part(path))
    if names:
        found = ", ".join(names[:3]) + (", ..." if len(names) > 3 else "")
        raise NotPossible("box.foreign", path=str(box.folder), found=found)


def _start(box: Box, listed: list[Listed], about: dict[str, str], settings: Settings) -> Started:
    with beside(box.record.path) as part:
        record = Record(box.folder, settings.who)
        record.path = part
        record.start()
        record.append("box-started", {"version": VERSION} | about)
        for item in listed:
            record.append("item-listed", item.facts(), item=item.original.id)
    return _told(box, listed, new=True, added=[item.original.id for item in listed])


def _update(box: Box, listed: list[Listed], about: dict[str, str]) -> Started:
    before = {fact.item.casefold(): fact for fact in box.record.latest("item-listed")}
    captured = {fact.item for fact in box.record.latest("taken")}
    added, changed = [], []
    for item in listed:
        fact = before.get(item.original.id.casefold())
        if fact is None:
            added.append(item)
        elif fact.facts != item.facts() | {"id": fact.item}:
            now, then = item.original.carrier, fact.facts["carrier"]
            if fact.item in captured and now != then:
                raise NotPossible("box.carrier-changed", item=fact.item, now=now, before=then, path=str(box.folder))
            changed.append((fact.item, item))
    for item in added:
        box.record.append("item-listed", item.facts(), item=item.original.id)
    for name, item in changed:
        box.record.append("item-listed", item.facts() | {"id": name}, item=name)
    stands = box.record.latest("box-started")[-1].facts
    about = about | {"title": about["title"] or stands.get("title", "")}
    if any(stands.get(name, "") != value for name, value in about.items()):
        box.record.append("box-started", {"version": VERSION} | about)
    ids = {item.original.id.casefold() for item in listed}
    return _told(
        box,
        listed,
        new=False,
        added=[item.original.id for item in added],
        changed=[name for name, _ in changed],
        unlisted=[fact.item for name, fact in before.items() if name not in ids and not fact.facts.get("withdrawn")],
    )


def _told(
    box: Box,
    listed: list[Listed],
    *,
    new: bool,
    added: list[str],
    changed: Sequence[str] = (),
    unlisted: Sequence[str] = (),
) -> Started:
    touched = {*added, *changed}
    same = tuple(original.id for original in box.originals() if original.id not in {*touched, *unlisted})
    return Started(
        box=box,
        new=new,
        added=tuple(added),
        changed=tuple(changed),
        same=same,
        unlisted=tuple(unlisted),
        pieces=sum(original.count or 1 for original in box.originals()),
    )
