"""Figures as people read them: times, sizes, lengths. Both systems of units wherever they differ."""

from __future__ import annotations


def clock(seconds: float) -> str:
    """Seconds as ``m:ss`` (from an hour ``h:mm:ss``), cut down, never rounded up past the place meant.

    Examples
    --------
    >>> clock(12.42), clock(3599.9), clock(3600)
    ('0:12', '59:59', '1:00:00')
    """
    whole = int(seconds)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


def size(count: float) -> str:
    """Bytes in decimal units, as drives are sold (kB, MB, GB, TB of 1000).

    Examples
    --------
    >>> size(999), size(172800044), size(64e9)
    ('999 bytes', '173 MB', '64.0 GB')
    """
    for unit, power in (("TB", 12), ("GB", 9), ("MB", 6), ("kB", 3)):
        if count >= 10**power:
            figure = count / 10**power
            return f"{figure:.1f} {unit}" if unit in ("TB", "GB") else f"{figure:.0f} {unit}"
    return f"{count:.0f} bytes"
