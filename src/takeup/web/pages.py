"""How a page is written: ``@page`` shows, ``@form`` changes. The checks that no page may forget are made here, once.

A form is refused (403) without its own session's token, and a form sent twice makes one thing: it carries a number that
is used once, and the second sending leads where the first led. A change to a row that somebody else changed meanwhile
is told (409) and nothing is overwritten.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from takeup.web.ask import Answer, Ask

Door = Literal["all", "staff", "librarian", "visitor", "screen", "box", "station"]
Page = Callable[[Ask], Answer]
MOST_BODY = 2_000_000  # bytes of a form without files


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One address. ``door``: who may come in. ``most``: bytes of body at most."""

    path: str
    call: Page
    changes: bool
    door: Door
    most: int = MOST_BODY
    once: bool = True


def page(path: str, door: Door = "staff") -> Callable[[Page], Page]:
    """A page that changes nothing.

    Doors: ``all``; ``staff`` (anyone who works here), ``librarian``; ``visitor`` (whose slip it is), ``screen`` (a
    paired station's screen), ``box`` (staff, the visitor of the box ``{box}`` in the path, a screen where it sits),
    ``station`` (a station's own takeup, by its key).
    """
    return _entry(path, door, changes=False)


def form(path: str, door: Door = "staff", *, most: int = MOST_BODY, once: bool = True) -> Callable[[Page], Page]:
    """What a form is sent to. It answers with ``SeeOther`` when done; ``Refused`` becomes a page that says why."""
    return _entry(path, door, changes=True, most=most, once=once)


def _entry(path: str, door: Door, *, changes: bool, most: int = MOST_BODY, once: bool = True) -> Callable[[Page], Page]:
    def keep(call: Page) -> Page:
        entry = Entry(path=path, call=call, changes=changes, door=door, most=most, once=once)
        call.entries = (*getattr(call, "entries", ()), entry)  # type: ignore[attr-defined]
        return call

    return keep


def entries_of(modules: Iterable[object]) -> list[Entry]:
    """Every address of these modules, those with fewer named parts first (``/visits/new`` before ``/visits/{id}``)."""
    found = [
        entry
        for module in modules
        for call in vars(module).values()
        if callable(call) and getattr(call, "__module__", "") == module.__name__  # type: ignore[attr-defined]
        for entry in getattr(call, "entries", ())
    ]
    return sorted(found, key=lambda entry: (entry.path.count("{"), entry.path))
