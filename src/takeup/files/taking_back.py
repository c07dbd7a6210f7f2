"""Removes finished work that another file replaces, and files of passage. Captures and all else are out of reach."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

FINISHED = ("masters", "copies")  # the only folders of a box it reaches into


def take_back(box: Path, relative: str) -> None:
    """Remove a finished file of a box; harmless when it is gone.

    Raises
    ------
    ValueError
        If the path does not lie in the folders of finished work: a fault of the program.
    """
    parts = relative.split("/")
    if parts[0] not in FINISHED or ".." in parts or len(parts) < 3:
        raise ValueError(f"{relative} is no finished file")
    box.joinpath(*parts).unlink(missing_ok=True)


@contextmanager
def in_passing(part: Path, ending: str) -> Iterator[Path]:
    """A file beside an unfinished part, needed only while that is made; a kill leaves it to be swept like the part."""
    path = part.with_name(part.name + ending)
    try:
        yield path
    finally:
        path.unlink(missing_ok=True)
