"""The originals a command speaks of: those of a box, or those of an item list that has no box yet."""

from __future__ import annotations

from pathlib import Path

from takeup.box.folder import look_into
from takeup.box.items import Listed, read_items
from takeup.errors import NotPossible
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows

LARGEST_LIST_BYTES = 50_000_000  # far above any list a person makes; a capture named by mistake is not read into memory


def read_list(path: Path) -> list[Listed]:
    """An item list from its file.

    Raises
    ------
    NotPossible
        ``items.*``: not there, not UTF-8 text, or what is wrong on which line.
    """
    if not path.is_file():
        raise NotPossible("items.not-there", path=str(path))
    try:
        if path.stat().st_size > LARGEST_LIST_BYTES:
            raise NotPossible("items.not-text", path=str(path))
        data = path.read_bytes()
    except OSError as error:
        raise NotPossible("items.cannot-open", path=str(path), error=error.strerror or str(error)) from error
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise NotPossible("items.not-text", path=str(path)) from None
    if "\0" in text:
        raise NotPossible("items.not-text", path=str(path))
    return read_items(text, load_rows())


def originals_of(target: Path, settings: Settings) -> list[Original]:
    """The originals of a box's folder or of an item list's file."""
    if target.is_dir():
        return look_into(target, settings).originals()
    if not target.exists():
        raise NotPossible("intake.not-there", path=str(target))
    return [listed.original for listed in read_list(target)]
