"""The parts of one recording: a scanner starts a new file, of the next number, when the card's limit is reached."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Literal

from takeup.box.folder import CAPTURES
from takeup.box.record import FILE_NAME
from takeup.tables.rows import Rows

NUMBER = re.compile(r"(.*?)(\d+)(\D*)")


def neighbour(path: Path, step: int) -> Path | None:
    """The file beside this one whose name differs only by its last number, higher by ``step``; None without one."""
    found = NUMBER.fullmatch(path.stem)
    if not found:
        return None
    before, number, after = found.groups()
    wanted = int(number) + step
    if wanted < 0:
        return None
    for text in dict.fromkeys((str(wanted).zfill(len(number)), str(wanted))):
        beside = path.with_name(f"{before}{text}{after}{path.suffix}")
        if beside.is_file():
            return beside
    return None


def goes_on(path: Path) -> Literal["yes", "maybe", "no"]:
    """Whether the recording goes on in another file: sure in a box, where one folder is one item; else only likely."""
    if neighbour(path, 1) is None:
        return "no"
    return "yes" if _in_a_box(path) else "maybe"


def is_part(path: Path) -> bool:
    """Whether a file stands among others of neighbouring numbers."""
    return neighbour(path, 1) is not None or neighbour(path, -1) is not None


def at_a_limit(size: int, rows: Rows) -> bool:
    """Whether a file ends just under a size that cards break recordings at. [bytes]"""
    near = rows.value("film.ending.near_limit_bytes")
    return any(limit - near <= size <= limit for limit in rows.value("film.ending.limits_bytes"))


def in_number_order(paths: list[Path]) -> list[Path]:
    """Parts in the order of the last number in their names."""

    def key(path: Path) -> tuple[str, int, str]:
        found = NUMBER.fullmatch(path.stem)
        return (found[1], int(found[2]), found[3]) if found else (path.stem, -1, "")

    return sorted(paths, key=key)


def _in_a_box(path: Path) -> bool:
    captures = path.absolute().parent.parent
    return captures.name == CAPTURES and (captures.parent / FILE_NAME).is_file()
