"""The one place where a file that is not a half-made part of ours goes away: at a station, under a whole receipt."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable
from pathlib import Path

from takeup.errors import NotAllowedNow
from takeup.files.beside import flush_folder
from takeup.files.hash import hash_file
from takeup.files.receipt import WholeReceipt


class KeptInstead(Exception):
    """The file stays. ``why`` is a key of ``words/answers``: ``clear.kept.<why>``."""

    def __init__(self, why: str, **facts: object) -> None:
        super().__init__(why)
        self.why = why
        self.facts = facts


def look_at_source(path: Path, hear: Callable[[int], None] = lambda count: None) -> tuple[str, os.stat_result]:
    """The SHA-256 of a station's file as it is now, and its state while it was read.

    Raises
    ------
    KeptInstead
        ``gone``, ``link``, ``not-a-file``, ``unreadable``, ``growing``.
    """
    try:
        before = os.lstat(path)
    except (FileNotFoundError, NotADirectoryError) as error:
        raise KeptInstead("gone") from error
    except OSError as error:
        raise KeptInstead("unreadable", error=error.strerror or str(error)) from error
    if stat.S_ISLNK(before.st_mode) or Path(os.path.realpath(path.parent)) != path.parent:
        raise KeptInstead("link")
    if not stat.S_ISREG(before.st_mode):
        raise KeptInstead("not-a-file")
    try:
        sha256 = hash_file(path, hear=hear).sha256
        after = os.lstat(path)
    except OSError as error:
        raise KeptInstead("unreadable", error=error.strerror or str(error)) from error
    if _state(before) != _state(after):
        raise KeptInstead("growing")
    return sha256, after


def remove_source(path: Path, receipt: WholeReceipt, seen: tuple[str, os.stat_result]) -> None:
    """Remove one file from a station. Only with the receipt that names its content, and only what was seen.

    Parameters
    ----------
    seen
        What :func:`look_at_source` gave for it a moment ago.

    Raises
    ------
    NotAllowedNow
        ``clear.not-on-receipt`` when the receipt does not name this content.
    KeptInstead
        ``growing`` when the file is not the one that was seen; ``unreadable`` when the system refuses.
    """
    sha256, state = seen
    if not isinstance(receipt, WholeReceipt) or sha256 not in receipt.capture_sha256:
        raise NotAllowedNow("clear.not-on-receipt", path=str(path))
    try:
        if _state(os.lstat(path)) != _state(state):
            raise KeptInstead("growing")
        path.unlink()
        flush_folder(path.parent)
    except OSError as error:
        raise KeptInstead("unreadable", error=error.strerror or str(error)) from error


def remove_copy_of_ours(path: Path, folder: Path) -> None:
    """Take away a copy that we made a moment ago in ``folder`` (a parcel on a drive) and that turned out wrong."""
    if folder in path.parents:
        path.unlink(missing_ok=True)


def _state(seen: os.stat_result) -> tuple[int, int, int, int]:
    return seen.st_dev, seen.st_ino, seen.st_size, seen.st_mtime_ns
