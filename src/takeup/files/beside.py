"""Write beside, flush, rename: the one way a file comes into being. A reader sees the old one or the whole new one."""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from takeup.errors import NotPossible

PART = ".takeup-part"  # the ending of a file that is not whole yet; swept when the box is next opened


@contextmanager
def beside(target: Path) -> Iterator[Path]:
    """Hand out a part name beside ``target``; on a clean end flush it, rename it, flush the folder.

    On an exception (a full disk, a stop) the part is removed and ``target`` stays as it was. A kill leaves only a
    ``*.takeup-part`` that nobody takes for the real thing.

    Raises
    ------
    NotPossible
        ``disk.full`` or ``disk.cannot-write`` when the place refuses.
    """
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise cannot_write(target, error) from error
    part = part_name(target)
    try:
        yield part
        flush_file(part)
        os.replace(part, target)
        flush_folder(target.parent)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise cannot_write(target, error) from error
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def part_name(target: Path) -> Path:
    """A name beside ``target`` for what is not whole yet: short enough for every file system, with the same ending.

    Writers that tell a format from a name's ending still can.
    """
    stem = os.fsencode(target.stem)[:60].decode("utf-8", "ignore")
    ending = target.suffix if len(os.fsencode(target.suffix)) <= 16 else ""
    return target.with_name(f".{stem}-{secrets.token_hex(4)}{PART}{ending}")


def write_bytes(target: Path, data: bytes) -> None:
    """Write a small file whole or not at all."""
    with beside(target) as part:
        part.write_bytes(data)


def flush_file(path: Path) -> None:
    """Force a file's bytes out of the computer's memory onto its disk."""
    handle = os.open(path, os.O_RDWR if os.name == "nt" else os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def flush_folder(folder: Path) -> None:
    """Force a folder's names onto the disk (systems without that notion skip it)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:
        pass  # some file systems refuse to flush a folder; the rename itself is still atomic
    finally:
        os.close(handle)


def cannot_write(target: Path, error: OSError) -> NotPossible:
    """The system's refusal to write, as our sentence."""
    if error.errno in (28, 122):  # ENOSPC, EDQUOT
        return NotPossible("disk.full", path=str(target))
    return NotPossible("disk.cannot-write", path=str(target), error=error.strerror or str(error))


def is_part(path: Path) -> bool:
    """Whether a name is one of our unfinished files."""
    return PART in path.name


def sweep(folder: Path) -> None:
    """Take away the unfinished files and folders (``*.takeup-part*``) that a stopped command left under a folder."""
    for where, folders, files in os.walk(folder):
        for name in [name for name in folders if PART in name]:
            folders.remove(name)
            discard_part_folder(Path(where, name))
        for name in files:
            path = Path(where, name)
            if is_part(path) and not path.is_symlink():
                path.unlink(missing_ok=True)


def discard_part_folder(folder: Path) -> None:
    """Take away a half-made folder of ours; one without our mark in its name is left alone."""
    if PART in folder.name and not folder.is_symlink():
        shutil.rmtree(folder, ignore_errors=True)
