"""What a visitor sees with the slip's code: the own box and nothing else, for the visit's time."""

from __future__ import annotations

import datetime as dt

import sqlalchemy as sa

from takeup.lab.agreements import agreement_of
from takeup.lab.book import visits_between
from takeup.lab.hours import here, zone_of
from takeup.lab.places import stations
from takeup.lab.port import one
from takeup.lab.schema import BOX, VISIT
from takeup.web.ask import Answer, Ask, Refused, Shown
from takeup.web.boxes import shelf_facts
from takeup.web.pages import page

DAYS_AHEAD = 90


@page("/mine", door="visitor")
def mine(ask: Ask) -> Answer:
    """The labels of the own box, how far each is, what is next."""
    with ask.desk.lab.reading() as db:
        row = one(db, BOX, BOX.c.id == ask.who.box_id)
        if row is None:
            raise Refused(ask.words("There is no box with this number."), status=404)
        today, _ = here(zone_of(db))
        whose = VISIT.c.box_id == row["id"]
        if row["person_id"]:
            whose = sa.or_(whose, VISIT.c.person_id == row["person_id"])
        coming = (whose, VISIT.c.state.in_(("booked", "here")))
        facts = {
            "visits": visits_between(db, today, today + dt.timedelta(days=DAYS_AHEAD), *coming),
            "named": {place["id"]: place for place in stations(db)},
            "agreement": agreement_of(db, row["id"]),
            "today": today.isoformat(),
        }
    return Shown(template="mine.html", facts=facts | shelf_facts(ask, row))
