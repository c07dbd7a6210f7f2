"""Every page of the desk, by its module."""

from __future__ import annotations

from takeup.web import advice, entrance, health, lab, live, logbook, today

PAGES = (advice, entrance, health, lab, live, logbook, today)
