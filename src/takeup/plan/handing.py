"""The rules of handing over: what may be done now, what stands against it, how long it may still take. Pure."""

from __future__ import annotations

from dataclasses import dataclass, field

SURE_S, SURE_SHARE = 3.0, 0.01  # before that nobody can say how long it takes


@dataclass(frozen=True, slots=True, kw_only=True)
class Handing:
    """Where a box stands on its way home."""

    made: int = 0  # finished files
    packed: bool = False
    stale: bool = False  # something was made or described since it was packed
    receipts: int = 0
    going: int = 0  # station files that clearing would remove
    busy: bool = False  # long work on this box is in line
    originals_in: int = 0
    originals_out: int = 0
    closed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Against:
    """Why a step must wait: a key of ``words/handing/`` and what fills it."""

    key: str
    facts: dict[str, object] = field(default_factory=dict)


def against(step: str, stands: Handing, *, tried: str = "") -> Against | None:
    """What stands against a step now; None when it may be done.

    Parameters
    ----------
    step : str
        ``pack``, ``copy``, ``clear``, ``close``.
    tried : str
        What trying the drive said: ``good``, ``look``, ``no``; empty: it was not tried.
    """
    if stands.closed:
        return Against(key="closed")
    if step == "pack":
        return None if stands.made else Against(key="nothing-made")
    if step == "copy":
        if not stands.packed:
            return Against(key="not-packed")
        if tried == "no":
            return Against(key="drive-no")
        return None if tried else Against(key="not-tried")
    if step == "clear":
        if not stands.receipts:
            return Against(key="no-receipt")
        return None if stands.going else Against(key="nothing-to-clear")
    return Against(key="busy") if stands.busy else None


def wants_reason(stands: Handing) -> list[str]:
    """What a closing must explain: keys of ``words/handing/``, ``close-<key>``."""
    found = [] if stands.receipts else ["no-receipt"]
    if stands.originals_in != stands.originals_out:
        found.append("not-counted" if not stands.originals_out else "fewer" if missing(stands) > 0 else "more")
    return found


def missing(stands: Handing) -> int:
    """Originals that came in and did not go home; negative: more went out than were counted in."""
    return stands.originals_in - stands.originals_out


def left_s(done: float, total: float, spent_s: float) -> float | None:
    """Seconds that a piece of work may still take at its speed so far; None while nobody can say.

    Examples
    --------
    >>> left_s(25e9, 100e9, 600.0)
    1800.0
    """
    if total <= 0 or spent_s < SURE_S or done / total < SURE_SHARE:
        return None
    return max(0.0, (total - done) * spent_s / done)
