"""Copy a box's parcel to a drive and read it back. Cut off and begun again, it goes on with what is missing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from takeup.settings import Settings
from takeup.tables.loader import load_rows
from takeup.tasks.deliver import deliver
from takeup.tasks.ears import Ears


def work(folder: Path, asked: dict[str, Any], settings: Settings, ears: Ears) -> dict[str, Any]:
    """Deliver to ``asked["drive"]``; the receipt's name among what is answered."""
    lang = asked.get("lang") or settings.lang
    named = replace(settings, who=asked.get("who") or settings.who, lang=lang)
    done = deliver(folder, Path(asked["drive"]), rows=load_rows(), settings=named, lang=lang, ears=ears)
    return {
        "drive": str(done.drive), "parcel": str(done.parcel), "files": done.files, "bytes": done.bytes,
        "how": done.how, "receipt": done.receipt.stem, "copied": done.copied, "kept": done.kept,
    }  # fmt: skip
