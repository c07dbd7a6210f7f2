"""Check what was taken into a box."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from takeup.settings import Settings
from takeup.streams import Original
from takeup.tasks.check import check_box
from takeup.tasks.checking import Asked
from takeup.tasks.ears import Ears


def work(folder: Path, asked: dict[str, Any], settings: Settings, ears: Ears) -> dict[str, Any]:
    """Measure and judge the box's captures, or those of ``asked["item"]``."""

    def ask(original: Original) -> Asked:
        return Asked(original=original, mains_hz=settings.mains, stills=24)

    checked = check_box(folder, settings, item=asked.get("item", ""), anew=bool(asked.get("anew")), ask=ask, ears=ears)
    return {"files": len(checked.checked)}
