"""Pack a box: its finished files and the letter as one parcel; again the same thing changes nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from takeup.settings import Settings
from takeup.tasks.ears import Ears
from takeup.tasks.pack import pack


def work(folder: Path, asked: dict[str, Any], settings: Settings, ears: Ears) -> dict[str, Any]:
    """Build the parcel, whole or (``asked["only_copies"]``) without the masters."""
    named = replace(settings, who=asked.get("who") or settings.who, lang=asked.get("lang") or settings.lang)
    return pack(folder, named, only_copies=bool(asked.get("only_copies")), ears=ears).answer()
