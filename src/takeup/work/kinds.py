"""What kinds of long work there are: each is one task of the house, asked and answered with plain facts."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from takeup.settings import Settings
from takeup.tasks.ears import Ears

Work = Callable[[Path, dict[str, Any], Settings, Ears], dict[str, Any]]

KINDS = {  # kind -> module of this room with a function ``work(folder, asked, settings, ears)``
    "check": "checking",
    "clear": "clearing",
    "deliver": "delivering",
    "describe": "describing",
    "drive": "drives",
    "finish": "finishing",
    "pack": "packing",
    "demo": "demo_week",
}


After = Callable[[Any, dict[str, Any], dict[str, Any]], None]


def after_of(kind: str) -> After | None:
    """What the lab's book learns when a piece of that kind is done: ``after(db, job, answer)``, if the kind has one."""
    return getattr(importlib.import_module(f"takeup.work.{KINDS[kind]}"), "after", None) if kind in KINDS else None


def work_of(kind: str) -> Work:
    """The function for a kind of work; its module is imported only then."""
    return importlib.import_module(f"takeup.work.{KINDS[kind]}").work
