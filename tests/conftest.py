"""The longest files first: three workers share the files, and none should be left with a long one at the end."""

from __future__ import annotations

import pytest

LONGEST = (
    "test_demo.py",
    "test_wheel.py",
    "test_sound_findings.py",
    "test_sound_hum.py",
    "test_sound_bandwidth.py",
    "test_watch_processes.py",
    "test_sound_reel.py",
    "test_check_box.py",
    "test_sound_following.py",
    "test_follow_growing.py",
    "test_letter_in_a_browser.py",
    "test_station_in_a_browser.py",
    "test_every_address.py",
    "test_visit_in_a_browser.py",
    "test_finish_scan.py",
    "test_pages_pdf.py",
    "test_sound_mending.py",
    "test_target.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Order of files only; the tests of a file keep theirs."""
    items.sort(key=lambda item: LONGEST.index(item.path.name) if item.path.name in LONGEST else len(LONGEST))
