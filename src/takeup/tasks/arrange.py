"""Keeps how a person set the pictures of a scan right: corners, turns, backs, pictures added and taken away.

The scan is never touched: ``finish`` cuts masters and copies anew from it. Every change can be taken back, one by one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from takeup.box.folder import Box, look_into
from takeup.box.record import Fact
from takeup.errors import NotPossible
from takeup.lab.port import Stale
from takeup.media.probe import look_at
from takeup.plan.arranging import Placed, facts_of, found_pictures, placed_from, set_right
from takeup.plan.scan_finishing import plan_pictures
from takeup.settings import Settings
from takeup.tasks.finishing import part_name
from takeup.tasks.judging import append_once
from takeup.tasks.remembered import candidates_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """The pictures of one scan as they stand.

    ``version``: number of the fact they stand in (0: as the check found them). ``steps``: how many changes can be
    taken back. ``names``: the id that each picture's files and description have, by its number.
    """

    item: str
    stored: str
    size: tuple[int, int]
    pictures: tuple[Placed, ...]
    version: int
    steps: int
    names: dict[int, str]

    @property
    def standing(self) -> tuple[Placed, ...]:
        """Those that are there."""
        return tuple(one for one in self.pictures if not one.gone)


def arrangement_of(box: Box, item: str, stored: str) -> Arrangement:
    """How the pictures of a scan stand.

    Raises
    ------
    NotPossible
        ``arrange.no-such-scan``; ``capture.*`` when the scan cannot be opened.
    """
    capture = next((one for one in candidates_of(box, item) if one.stored == stored), None)
    image = look_at(box.path(stored)).image if capture is not None and box.path(stored).is_file() else None
    if capture is None or image is None:
        raise NotPossible("arrange.no-such-scan", item=item)
    found = found_pictures(capture.report)
    facts = [fact for fact in box.record.facts("arranged", item) if fact.key == stored]
    stack = _stack([fact for fact in facts if fact.facts.get("sha256") == capture.sha256], found)
    name = part_name(item, capture.part)
    plan = plan_pictures(name, capture.report, item=item, arranged=stack[-1] if len(stack) > 1 else None)
    standing = [one.number for one in stack[-1] if not one.gone]
    names = {one.number: f"{name}-{one.number}" for one in stack[-1]}
    names |= {number: one.id or item for number, one in zip(standing, plan.pictures)}
    return Arrangement(
        item=item, stored=stored, size=(image.width, image.height), pictures=stack[-1],
        version=facts[-1].seq if facts else 0, steps=len(stack) - 1, names=names,
    )  # fmt: skip


def _stack(facts: Sequence[Fact], found: tuple[Placed, ...]) -> list[tuple[Placed, ...]]:
    """What stood after each change that was not taken back, from what the check found on."""
    stack = [found]
    for fact in facts:
        if fact.facts.get("undo"):
            stack = stack[:-1] or [found]
        else:
            stack.append(placed_from(fact.facts["pictures"]))
    return stack


def arrange(
    folder: Path,
    settings: Settings,
    *,
    item: str,
    stored: str,
    pictures: Sequence[Placed],
    version: int | None,
    who: str,
) -> Arrangement:
    """Keep a new arrangement; the same again changes nothing.

    Raises
    ------
    NotPossible
        ``arrange.*``: what is wrong with which picture; nothing is changed then.
    Stale
        When somebody else changed it since ``version``.
    """
    box = look_into(folder, settings)
    before = arrangement_of(box, item, stored)
    if version is not None and version != before.version:
        raise Stale("arranged")
    right = set_right(_all_numbers(pictures, before.pictures), before.size)
    _check_backs(right, before)
    if right == before.pictures:
        return before
    _append(box, before, {"pictures": facts_of(right), "who": who})
    return arrangement_of(box, item, stored)


def undo(folder: Path, settings: Settings, *, item: str, stored: str, version: int | None, who: str) -> Arrangement:
    """Take the last change back; nothing happens when there is none.

    Raises
    ------
    Stale
        When somebody else changed it since ``version``.
    """
    box = look_into(folder, settings)
    before = arrangement_of(box, item, stored)
    if version is not None and version != before.version:
        raise Stale("arranged")
    if not before.steps:
        return before
    facts = [fact for fact in box.record.facts("arranged", item) if fact.key == stored]
    capture = next(one for one in candidates_of(box, item) if one.stored == stored)
    stack = _stack([f for f in facts if f.facts.get("sha256") == capture.sha256], found_pictures(capture.report))
    _append(box, before, {"pictures": facts_of(stack[-2]), "undo": True, "as_found": len(stack) == 2, "who": who})
    return arrangement_of(box, item, stored)


def _append(box: Box, before: Arrangement, facts: dict) -> None:
    capture = next(one for one in candidates_of(box, before.item) if one.stored == before.stored)
    facts = {"sha256": capture.sha256, **facts}
    append_once(box, "arranged", facts, item=before.item, key=before.stored, after=before.version)


def _all_numbers(pictures: Sequence[Placed], before: Sequence[Placed]) -> tuple[Placed, ...]:
    """Pictures that a page no longer shows are gone, not forgotten: their numbers stay taken."""
    told = {one.number for one in pictures}
    lost = [replace(one, gone=True) for one in before if one.number not in told]
    return tuple(sorted([*pictures, *lost], key=lambda one: one.number))


def _check_backs(pictures: Sequence[Placed], before: Arrangement) -> None:
    """A back belongs to a front: not to itself, not to another back, not to what is gone."""
    own = {before.names.get(one.number, ""): one for one in pictures}
    for one in pictures:
        front = own.get(one.back_of) if one.back_of else None
        if one.gone or front is None:
            continue
        if front.number == one.number or front.back_of or front.gone:
            raise NotPossible("arrange.back", number=one.number, front=one.back_of)
