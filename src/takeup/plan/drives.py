"""Which of the lab's own drives holds a box; drives as staff write them, one a line. Pure."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

UNITS = {"MB": 10**6, "GB": 10**9, "TB": 10**12}  # as makers count


def read_drives(text: str) -> list[dict[str, Any]]:
    """Drives from lines like ``stick 64 GB``: a name that holds its size.

    Raises
    ------
    ValueError
        Holding the line without a size.

    Examples
    --------
    >>> read_drives("stick 64 GB\\n\\nportable disk, 1.5TB")
    [{'name': 'stick 64 GB', 'bytes': 64000000000}, {'name': 'portable disk, 1.5TB', 'bytes': 1500000000000}]
    """
    found = []
    for line in text.splitlines():
        if not line.strip():
            continue
        size = re.search(r"(\d+(?:[.,]\d+)?)\s*([MGT]B)\b", line, re.IGNORECASE)
        if not size or float(size[1].replace(",", ".")) <= 0:
            raise ValueError(line.strip())
        count = float(size[1].replace(",", ".")) * UNITS[size[2].upper()]
        found.append({"name": line.strip()[:80], "bytes": round(count)})
    return sorted(found, key=lambda one: one["bytes"])


def enough_drive(drives: Sequence[dict[str, Any]], needed_bytes: int, *, fill_share: float) -> dict[str, Any] | None:
    """The smallest drive that holds so many bytes when it is filled up to ``fill_share``; None when none does."""
    fits = (one for one in drives if one["bytes"] * fill_share >= needed_bytes)
    return min(fits, key=lambda one: one["bytes"], default=None)
