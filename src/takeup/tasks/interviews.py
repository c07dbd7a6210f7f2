"""Interviews recorded in the lab: an item of the box with speakers, release, levels; captured like a tape."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from takeup.box.folder import look_into
from takeup.errors import NotAllowedNow, NotPossible
from takeup.plan.quick_lines import Entry
from takeup.settings import Settings
from takeup.tasks.box_items import enter
from takeup.tasks.describe import note_descriptions

CARRIER, FACT = "interview", "interview"
BLANK: dict[str, Any] = {
    "title": "", "language": "", "place": "", "date": "", "interviewer": "", "levels": False, "silence": False,
    "speakers": [],
}  # fmt: skip


def interviews(folder: Path, settings: Settings) -> dict[str, dict[str, Any]]:
    """What is known of each interview of a box, by item, with ``seq``: the number of the fact it was read from."""
    box = look_into(folder, settings)
    known = {fact.item: fact.facts | {"seq": fact.seq} for fact in box.record.latest(FACT)}
    found = {}
    for original in box.originals():
        if original.id in known or original.carrier == CARRIER:  # one entered as a line only: nothing is said of it yet
            found[original.id] = known.get(original.id) or BLANK | {"title": original.label, "seq": 0}
    return found


def keep_interview(folder: Path, settings: Settings, item: str, seq: int, told: dict[str, Any]) -> str:
    """Keep what is said of an interview, a new one (``item`` empty) put on the box's list first; its id.

    Parameters
    ----------
    seq : int
        The fact the form was filled from; 0 for a new one.
    told : dict
        ``title, language, place, date, interviewer, levels, silence``, ``speakers``: name and the release's edition
        that each signed (``signed``, empty: not yet).

    Raises
    ------
    NotAllowedNow
        ``interview.changed-meanwhile``: somebody kept another word on it since.
    NotPossible
        ``items.no-such-item``; a list that cannot take the line.
    """
    box = look_into(folder, settings)
    if item:
        known = interviews(folder, settings)
        if item not in known:
            raise NotPossible("items.no-such-item", item=item[:60])
        if known[item]["seq"] != seq:
            raise NotAllowedNow("interview.changed-meanwhile", item=item)
    else:
        entered = enter(folder, [Entry(columns={"carrier": CARRIER, "label": told["title"]})], settings)
        if not entered.added:
            raise NotPossible("interview.not-listed", title=told["title"][:60])
        (item,) = entered.added
    command = f"{FACT}/{item.casefold()}/after-{seq}"  # of two that follow the same word only the first is kept
    if box.record.append(FACT, told, item=item, command=command).facts != told:
        raise NotAllowedNow("interview.changed-meanwhile", item=item)
    people = [one["name"] for one in told["speakers"]] + ([told["interviewer"]] if told["interviewer"] else [])
    said = {"title": told["title"], "people": people, "date": told["date"], "place": told["place"]}
    note_descriptions(folder, settings, {item: {name: value for name, value in said.items() if value}})
    return item
