"""The librarian's day on one screen: who comes when to which station, what is ready, what needs her eyes."""

from __future__ import annotations

from datetime import date, timedelta

from takeup.lab.day import day_of
from takeup.web.ask import Answer, Ask, Shown
from takeup.web.pages import page


@page("/today")
def today(ask: Ask) -> Answer:
    wanted = ask.text("day", most=10)
    try:
        day = date.fromisoformat(wanted) if wanted else date.today()
    except ValueError:
        day = date.today()
    with ask.desk.lab.reading() as db:
        facts = day_of(db, day.isoformat())
    near = {"before": (day - timedelta(days=1)).isoformat(), "after": (day + timedelta(days=1)).isoformat()}
    return Shown(template="today.html", facts=facts | near | {"today": date.today().isoformat()})
