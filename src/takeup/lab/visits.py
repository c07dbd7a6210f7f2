"""Visits: booked, moved, cancelled, come to, left, not come to. One turn of the database each, whole or not at all.

Whether a visit may be is said by the pure room ``plan.booking``. Beside it the database keeps two rules by itself:
every five minutes of a station belong to one visit (``step``), and a person has so many turns a day (``turn``). So two
people who book at once, in threads, in processes, or on two servers, can never both get the same time.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import sqlalchemy as sa

from takeup.lab.book import Slot, bookings_between, gap_of, slot_of, visitor_of
from takeup.lab.hours import here, lab_of, zone_of
from takeup.lab.persons import keep_until_after, open_box_of
from takeup.lab.places import station
from takeup.lab.port import IntegrityError, Stale, add, change, now, one, rows
from takeup.lab.schema import STEP, TURN, VISIT
from takeup.plan.booking import Wish, why_not
from takeup.plan.opening import Gap, WhyNot, step_begun

GRAIN = 5  # minutes of one row of ``step``: no step of a lab is shorter (docs/decisions/0071)
TIMES = ("station_id", "day", "from_min", "to_min")


class NotFree(Exception):
    """The visit cannot be there: ``why`` says so in words of ``words/whys/``. Nothing was changed."""

    def __init__(self, why: WhyNot) -> None:
        self.why = why
        super().__init__(why.key)


def book(
    db: sa.Connection,
    slot: Slot,
    *,
    person_id: int | None,
    by: str,
    brings: str = "",
    state: str = "booked",
    today: dt.date | None = None,
) -> int:
    """Book a visit; its number.

    Parameters
    ----------
    person_id : int or None
        None for a walk-in whose name nobody has asked yet: the rule of so many a day cannot be kept for them.
    today : date, optional
        The lab's day; its own clock when not told. A day before it cannot be booked.

    Raises
    ------
    NotFree
        The lab's rules, or somebody who was first, leave no room there.
    """
    _hold_to_rules(db, slot, person_id, today=today)
    visit_id = int(
        add(
            db, VISIT, **_times(slot), person_id=person_id, box_id=open_box_of(db, person_id), state=state,
            brings=brings, booked_by=by, made_at=now(), came_at=now() if state == "here" else None,
        )
    )  # fmt: skip
    _occupy(db, visit_id, slot, person_id)
    return visit_id


def move(
    db: sa.Connection,
    visit_id: int,
    version: int | None,
    slot: Slot,
    *,
    why: str = "",
    keep_here: bool = False,
    today: dt.date | None = None,
) -> None:
    """Move a booked visit; whoever held the new time keeps it.

    Parameters
    ----------
    keep_here : bool
        Whoever is here already stays here: another length, or a like station, from the same start.

    Raises
    ------
    NotFree, Stale
    """
    visit = _visit(db, visit_id)
    _only(visit, "booked", "no-show", *(("here",) if keep_here else ()))
    state = "here" if visit["state"] == "here" else "booked"
    _release(db, visit_id)
    _hold_to_rules(db, slot, visit["person_id"], but=visit_id, today=today)
    _change(db, visit_id, version, **_times(slot), state=state, late_min=0, why=why or visit["why"])
    _occupy(db, visit_id, slot, visit["person_id"])


def cancel(
    db: sa.Connection, visit_id: int, version: int | None, *, why: str = "", at: dt.datetime | None = None
) -> Gap | None:
    """Cancel a visit; the time that came free, for the waiting list or a walk-in."""
    return _give_up(db, visit_id, version, "cancelled", at, why=why)


def come(db: sa.Connection, visit_id: int, version: int | None) -> None:
    """The visitor is here; also after all, when their time was not given away meanwhile.

    Raises
    ------
    NotFree, Stale
    """
    visit = _visit(db, visit_id)
    _only(visit, "booked", "no-show")
    if visit["state"] == "no-show":
        slot = slot_of(visit)
        _hold_to_rules(db, slot, visit["person_id"], but=visit_id, today=slot.day)
        _occupy(db, visit_id, slot, visit["person_id"])
    _change(db, visit_id, version, state="here", came_at=now())


def not_come(db: sa.Connection, visit_id: int, version: int | None) -> None:
    """Take back a "came" that was pressed by mistake."""
    _only(_visit(db, visit_id), "here")
    _change(db, visit_id, version, state="booked", came_at=None)


def late(db: sa.Connection, visit_id: int, version: int | None, minutes: int) -> None:
    """The visitor said that they come so much later; the no-show rule counts from then."""
    visit = _visit(db, visit_id)
    _only(visit, "booked")
    _change(db, visit_id, version, late_min=max(0, min(minutes, visit["to_min"] - visit["from_min"])))


def leave(db: sa.Connection, visit_id: int, version: int | None, at: dt.datetime | None = None) -> None:
    """The visitor has gone; what is left of the visit, from the next step on, is free."""
    visit = _visit(db, visit_id)
    _only(visit, "here")
    ends = _present_step_ends(db, visit, at)
    _change(db, visit_id, version, state="done", left_at=now(), to_min=ends)
    db.execute(STEP.delete().where(STEP.c.visit_id == visit_id, STEP.c.at_min >= ends))


def no_show(db: sa.Connection, visit_id: int, version: int | None, at: dt.datetime | None = None) -> Gap | None:
    """Nobody came; what is left of the time, from the next step on, for the waiting list or a walk-in."""
    _only(_visit(db, visit_id), "booked")
    return _give_up(db, visit_id, version, "no-show", at)


def _give_up(
    db: sa.Connection, visit_id: int, version: int | None, state: str, at: dt.datetime | None, **more: Any
) -> Gap | None:
    visit = _visit(db, visit_id)
    _only(visit, "booked", "no-show")
    _change(db, visit_id, version, state=state, **more)
    _release(db, visit_id)
    return gap_of(db, visit, at)


def name_walk_in(db: sa.Connection, visit_id: int, version: int | None, person_id: int) -> None:
    """Say who the walk-in is: from now on the rule of so many a day counts for them too.

    Raises
    ------
    NotFree, Stale
    """
    visit = _visit(db, visit_id)
    slot = slot_of(visit)
    db.execute(TURN.delete().where(TURN.c.visit_id == visit_id))
    _take_turn(db, visit_id, slot, person_id)
    _change(db, visit_id, version, person_id=person_id, box_id=visit["box_id"] or open_box_of(db, person_id))


def note(db: sa.Connection, visit_id: int, version: int | None, *, brings: str) -> None:
    """What the visitor brings."""
    _change(db, visit_id, version, brings=brings)


def _hold_to_rules(
    db: sa.Connection, slot: Slot, person_id: int | None, *, but: int | None = None, today: dt.date | None = None
) -> None:
    place = station(db, slot.station_id)
    if place is None:
        raise NotFree(WhyNot(key="visit.no-station"))
    if slot.day < (today or here(zone_of(db))[0]):
        raise NotFree(WhyNot(key="visit.past"))
    wish = Wish(
        kind=place["kind"], station=slot.station_id, day=slot.day, start=slot.start, minutes=slot.end - slot.start,
        visitor=visitor_of(person_id, but or 0),
    )  # fmt: skip
    for why in why_not(wish, lab_of(db, slot.day, slot.day), bookings_between(db, slot.day, slot.day, but=but)):
        raise NotFree(why)


def _occupy(db: sa.Connection, visit_id: int, slot: Slot, person_id: int | None) -> None:
    """Take the time and the turn; the database says no to the second who tries."""
    steps = range(-(-slot.start // GRAIN) * GRAIN, slot.end, GRAIN)
    about = {"station_id": slot.station_id, "day": slot.day.isoformat(), "visit_id": visit_id}
    try:
        db.execute(STEP.insert(), [about | {"at_min": at} for at in steps])
    except IntegrityError as error:
        raise NotFree(WhyNot(key="visit.taken")) from error
    _take_turn(db, visit_id, slot, person_id)


def _take_turn(db: sa.Connection, visit_id: int, slot: Slot, person_id: int | None) -> None:
    if person_id is None:
        return
    day = slot.day.isoformat()
    most = lab_of(db, slot.day, slot.day).rules.per_visitor_per_day
    taken = {row["nth"] for row in rows(db, TURN, TURN.c.person_id == person_id, TURN.c.day == day)}
    nth = next(number for number in range(len(taken) + 1) if number not in taken)
    if most is not None and nth >= most:
        raise NotFree(WhyNot(key="visit.own-day", facts={"most": most}))
    try:
        db.execute(TURN.insert().values(person_id=person_id, day=day, nth=nth, visit_id=visit_id))
    except IntegrityError as error:
        raise NotFree(WhyNot(key="visit.own-day", facts={"most": most or nth})) from error
    keep_until_after(db, person_id, slot.day)


def _release(db: sa.Connection, visit_id: int) -> None:
    db.execute(STEP.delete().where(STEP.c.visit_id == visit_id))
    db.execute(TURN.delete().where(TURN.c.visit_id == visit_id))


def _present_step_ends(db: sa.Connection, visit: dict[str, Any], at: dt.datetime | None) -> int:
    """Where the step ends in which the lab's clock stands now, within the visit."""
    day, minute = here(zone_of(db), at)
    booked = dt.date.fromisoformat(visit["day"])
    if booked != day:
        return int(visit["to_min"])
    lab = lab_of(db, booked, booked)
    begun = step_begun(lab.week, booked, max(minute, visit["from_min"]), lab.rules.step)
    return int(min(visit["to_min"], begun + lab.rules.step))


def _change(db: sa.Connection, visit_id: int, version: int | None, **values: Any) -> None:
    change(db, VISIT, visit_id, version, changed_at=now(), **values)


def _visit(db: sa.Connection, visit_id: int) -> dict[str, Any]:
    row = one(db, VISIT, VISIT.c.id == visit_id)
    if row is None:
        raise Stale("visit")
    return row


def _only(visit: dict[str, Any], *states: str) -> None:
    """A visit in another state was changed by somebody else meanwhile, or the button was pressed twice."""
    if visit["state"] not in states:
        raise Stale("visit")


def _times(slot: Slot) -> dict[str, Any]:
    return dict(zip(TIMES, (slot.station_id, slot.day.isoformat(), slot.start, slot.end), strict=True))
