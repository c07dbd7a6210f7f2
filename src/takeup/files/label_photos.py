"""Pictures of labels below the desk's home: ``photos/<box>/<digest>.jpg``; the lab's pictures, never in a box."""

from __future__ import annotations

import hashlib
from pathlib import Path

from takeup.files.beside import write_bytes

FOLDER = "photos"


def keep_photo(home: Path, box: str, data: bytes) -> tuple[str, str]:
    """Write a picture once; its path below the home, with ``/``, and its SHA-256."""
    sha256 = hashlib.sha256(data).hexdigest()
    relative = f"{FOLDER}/{box}/{sha256[:32]}.jpg"
    target = home.joinpath(*relative.split("/"))
    if not target.is_file() or target.stat().st_size != len(data):
        write_bytes(target, data)
    return relative, sha256


def drop_photo(home: Path, relative: str) -> None:
    """Take a picture away that the lab speaks of no more; one that is gone already is well."""
    path = home.joinpath(*relative.split("/"))
    if relative.startswith(f"{FOLDER}/") and ".." not in relative.split("/"):
        path.unlink(missing_ok=True)
