"""Who may come in. The only place that decides it; a page names its door and nothing more."""

from __future__ import annotations

from typing import Literal

import sqlalchemy as sa

from takeup.lab.port import Lab
from takeup.lab.schema import BOX
from takeup.lab.sessions import Who
from takeup.lab.sittings import sitting_now
from takeup.web.pages import Door

Way = Literal["in", "sign-in", "code", "no"]


def way_in(lab: Lab, door: Door, who: Who, box: str | None) -> Way:
    """``in``; else where to send them: to signing in, to the slip's code, or nowhere (403)."""
    if door == "all":
        return "in"
    if door in ("staff", "librarian"):
        if who.kind != "staff":
            return "sign-in" if who.kind == "nobody" else "no"
        return "in" if door == "staff" or who.role == "librarian" else "no"
    if door in ("visitor", "screen"):
        return "in" if who.kind == door else "code" if who.kind == "nobody" else "no"
    if door == "box":
        if who.kind == "staff":
            return "in"
        if who.kind == "nobody":
            return "code"
        return "in" if box and box in _boxes_of(lab, who) else "no"
    return "no"  # a station comes by its key, not by a session


def _boxes_of(lab: Lab, who: Who) -> set[str]:
    """Numbers of the boxes that a visitor, or a station's screen, may see now."""
    with lab.reading() as db:
        if who.kind == "visitor":
            asked = sa.select(BOX.c.number).where(BOX.c.id == who.box_id)
        elif who.kind == "screen":
            sitting = sitting_now(db, who.station_id or "")
            return {sitting["number"]} if sitting else set()
        else:
            return set()
        return set(db.execute(asked).scalars())
