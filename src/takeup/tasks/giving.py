"""How the items of a box stand for a gift, read from its record. The package for the collection is a later step."""

from __future__ import annotations

from pathlib import Path

from takeup.plan.gift_rules import State
from takeup.settings import Settings
from takeup.tasks.box_show import box_show
from takeup.tasks.interviews import interviews


def states_of(folder: Path, settings: Settings) -> list[tuple[State, str, str]]:
    """Every original with its carrier and what is written on it."""
    _, standing = box_show(folder, settings)
    return [
        (
            State(
                item=one.original.id, captured=one.done["captured"], finished=one.done["finished"],
                described=one.done["described"], commercial="commercial" in one.original.condition,
            ),
            one.original.carrier,
            one.original.label,
        )
        for one in standing.items
    ]  # fmt: skip


def interviews_signed(folder: Path, settings: Settings) -> dict[str, bool]:
    """For each interview of the box, whether every speaker signed the release."""
    return {item: bool(told["speakers"]) and all(one["signed"] for one in told["speakers"])
            for item, told in interviews(folder, settings).items()}  # fmt: skip
