"""A picture of a label that somebody took with a phone: looked at, made small, kept without where it was taken."""

from __future__ import annotations

from pathlib import Path

from takeup.errors import Unreadable
from takeup.files.label_photos import keep_photo
from takeup.media.label_photo import read_label_photo
from takeup.tables.loader import load_rows


def keep_label_photo(home: Path, box: str, picture: Path) -> tuple[str, str]:
    """Keep a picture for a box; its path below the home and its SHA-256.

    Raises
    ------
    Unreadable
        ``photo.*``: it is no picture that can be shown.
    """
    limits = load_rows().section("intake.photo")
    if picture.stat().st_size > limits["most_bytes"]:
        raise Unreadable("photo.too-large")
    made = read_label_photo(
        picture,
        most_pixels=limits["most_pixels"],
        longest_side=limits["longest_side"],
        quality=limits["quality"],
    )
    return keep_photo(home, box, made)
