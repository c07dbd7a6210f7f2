"""Write who, when and where into the finished files of a box."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from takeup.settings import Settings
from takeup.tasks.describe import write_descriptions
from takeup.tasks.ears import Ears


def work(folder: Path, asked: dict[str, Any], settings: Settings, ears: Ears) -> dict[str, Any]:
    """Write the descriptions of ``asked["ids"]``, or all that the box knows."""
    described, left = write_descriptions(folder, settings, asked.get("ids") or (), ears=ears)
    files = sum(len(one.files) for one in described)
    return {"files": files, "described": len(described), "left": [[one.id, one.why] for one in left]}
