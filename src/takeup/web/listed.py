"""Every page of the desk, by its module."""

from __future__ import annotations

from takeup.web import station_api, stations

PAGES = (station_api, stations)
