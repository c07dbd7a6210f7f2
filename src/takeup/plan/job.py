"""The whole plan of a box: each original's time, bytes and settings; the visits; the drive to bring. Pure."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from takeup.plan.copies import Profile
from takeup.plan.minutes import Busy, assumed_facts, plan_minutes
from takeup.plan.storage import Room, plan_room, plan_settings
from takeup.plan.visits import Visit, VisitRules, plan_visits
from takeup.streams import Original
from takeup.tables.rows import Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """One original's plan. Minutes of the station; bytes as its owner keeps them."""

    item: str
    station: str
    minutes_likely: float
    minutes_safe: float
    room: Room
    settings: Mapping[str, Any]
    assumed: Mapping[str, Any]  # by the item list's column: what was taken for want of knowing
    parts: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """The drive to bring. ``why``: a key of ``words/whys/``."""

    bytes: int
    copies_only_bytes: int
    bring_bytes: int | None  # the smallest usual drive that holds it with head room; None above the largest
    copies_only_bring_bytes: int | None
    filesystem: str
    why: str
    largest_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A box's plan."""

    items: tuple[Planned, ...]
    visits: tuple[Visit, ...]
    drive: Drive


def plan_job(originals: Sequence[Original], rows: Rows, copies: Profile | None = None) -> Job:
    """Plan the originals that a station will play (refused ones are left out by the caller).

    Parameters
    ----------
    copies : Profile, optional
        The form of everyday copies of videos; None: as taped.
    """
    rules = VisitRules(
        step=rows.value("times.visit.step_minutes"),
        longest=rows.value("times.visit.longest_minutes"),
        nine_in_ten=rows.value("times.visit.nine_in_ten"),
    )
    busy: list[tuple[str, str, Busy]] = []
    planned: list[Planned] = []
    for original in originals:
        one = plan_minutes(original, rows)
        station = str(rows.value(f"carriers.{original.carrier}.station"))
        busy.append((original.id, station, one))
        planned.append(_planned(original, station, one, rules, rows, copies))
    visits = plan_visits(busy, rules)
    parts = {stretch.item: stretch.parts for visit in visits for stretch in visit.stretches}
    items = tuple(
        Planned(**{name: getattr(one, name) for name in one.__slots__} | {"parts": parts[one.item]}) for one in planned
    )
    return Job(items=items, visits=tuple(visits), drive=plan_drive([one.room for one in items], rows))


def _planned(
    original: Original, station: str, one: Busy, rules: VisitRules, rows: Rows, copies: Profile | None
) -> Planned:
    medium = str(rows.value(f"carriers.{original.carrier}.medium"))
    return Planned(
        item=original.id,
        station=station,
        minutes_likely=round(one.whole.likely, 1),
        minutes_safe=round(one.whole.safe(rules.nine_in_ten), 1),
        room=plan_room(original, one.extent, medium, rows, copies).kept(original.keep),
        settings=plan_settings(original, one.extent, medium, rows),
        assumed=assumed_facts(original, one.extent, rows),
    )


def plan_drive(rooms: Sequence[Room], rows: Rows) -> Drive:
    """The room needed: safe bytes of all kept files and the browse page, with head room; and what can carry it.

    exFAT is read and written by all three families of computers and knows no file limit that matters here; FAT32 stops
    below 4 GiB a file.
    """
    drive = rows.section("storage.drive")

    def needed(count: float) -> int:
        return math.ceil((count + drive["page_bytes"]) / drive["fill_share"])

    both = needed(sum(room.master_safe_bytes + room.copy_safe_bytes for room in rooms))
    copies = needed(sum(room.copy_safe_bytes for room in rooms))
    largest = max((room.largest_bytes for room in rooms), default=0)
    return Drive(
        bytes=both,
        copies_only_bytes=copies,
        bring_bytes=_smallest(both, drive["sizes_bytes"]),
        copies_only_bring_bytes=_smallest(copies, drive["sizes_bytes"]),
        filesystem="exfat",
        why="drive.large-files" if largest > drive["fat32_file_bytes"] else "drive.small-files",
        largest_bytes=largest,
    )


def _smallest(needed: int, sizes: Sequence[float]) -> int | None:
    return next((int(size) for size in sizes if size >= needed), None)
