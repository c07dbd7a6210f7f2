"""The live wire as pages hear it."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from takeup.lab.port import Lab
from takeup.lab.schema import EVENT
from takeup.web.ask import Answer, Ask, Streamed
from takeup.web.pages import page

MOST_MISSED = 2000


@page("/live", door="staff")
def live(ask: Ask) -> Answer:
    """All stations, for staff."""
    return Streamed(events=ask.desk.wire.listen(None, missed(ask, None)))


@page("/station/live", door="screen")
def station_live(ask: Ask) -> Answer:
    """One station, for its own screen."""
    stations = frozenset([ask.who.station_id or ""])
    return Streamed(events=ask.desk.wire.listen(stations, missed(ask, stations)))


def missed(ask: Ask, stations: frozenset[str] | None) -> Any:
    """Gives the numbered events that came after the last one the page saw; none to a new page."""
    last = ask.headers.get("last-event-id", "") or ask.given.get("after", "")
    after = int(last) if last.isascii() and last.isdigit() and len(last) < 18 else None
    lab: Lab = ask.desk.lab

    def since() -> list[tuple[int, str, str, dict[str, Any]]]:
        if after is None:
            return []
        asked = sa.select(EVENT).where(EVENT.c.seq > after).order_by(EVENT.c.seq).limit(MOST_MISSED)
        if stations is not None:
            asked = asked.where(EVENT.c.station_id.in_(stations))
        with lab.reading() as db:
            return [(row["seq"], row["station_id"], row["kind"], row["facts"]) for row in db.execute(asked).mappings()]

    return since
