"""The captures of an invented lab's week: made, taken and checked for real while the desk is already open."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from takeup.lab.port import open_lab
from takeup.settings import Settings
from takeup.tasks.demo_captures import fill_captures
from takeup.tasks.ears import Ears


def work(folder: Path, asked: dict[str, Any], settings: Settings, ears: Ears) -> dict[str, Any]:
    """Fill the home ``folder``; boxes that have captures are left as they are."""
    lab = open_lab(folder, settings.database)
    try:
        fill_captures(lab, folder, settings)
    finally:
        lab.close()
    return {}
