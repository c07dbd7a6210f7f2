"""Whether the desk is up; open to all, says nothing else."""

from __future__ import annotations

from takeup.web.ask import Answer, Ask, Told
from takeup.web.pages import page


@page("/health", door="all")
def health(ask: Ask) -> Answer:
    return Told(facts={"ok": True})
