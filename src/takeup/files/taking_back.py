"""Removes finished work that another finished file replaces. Captures and everything else are out of its reach."""

from __future__ import annotations

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
