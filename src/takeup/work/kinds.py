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
    "describe": "describing",
    "finish": "finishing",
}


def work_of(kind: str) -> Work:
    """The function for a kind of work; its module is imported only then."""
    return importlib.import_module(f"takeup.work.{KINDS[kind]}").work
