"""What anybody may read without signing in: keeping originals well, and what copyright means here."""

from __future__ import annotations

from takeup.tables.loader import load_rows
from takeup.web.ask import Answer, Ask, Shown
from takeup.web.pages import page


@page("/care", door="all")
def care(ask: Ask) -> Answer:
    rows = load_rows()
    return Shown(template="care.html", facts={"carriers": rows.names("carriers")})


@page("/copyright", door="all")
def copyright_(ask: Ask) -> Answer:
    return Shown(template="copyright.html")
