"""Makes a home ready to be served: the first account, or an invented lab's week."""

from __future__ import annotations

import os
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

from takeup.errors import NotAllowedNow, NotPossible
from takeup.files.lock import held
from takeup.lab.backup import bring_back
from takeup.lab.people import add_staff, all_staff
from takeup.lab.sessions import sweep_sessions
from takeup.settings import Settings, default_home
from takeup.tasks.demo_lab import fill, is_demo, told_again
from takeup.web.ask import Desk
from takeup.web.serve import open_desk
from takeup.work.workers import ask_for

FIRST_NAME = "librarian"


def make_ready(
    home: Path | None, settings: Settings, *, demo: bool = False, kept: Path | None = None
) -> tuple[Desk, dict[str, Any]]:
    """The desk of a home, and what its first line says beside the address: a first account, a demo's codes.

    A demo home keeps its accounts and codes: it is told again whenever it is opened. ``kept``: a backup to bring back
    first; refused while another desk is open on the home.

    Raises
    ------
    NotPossible
        ``desk.not-a-demo``: a demo is asked for in a home that holds a real lab (or a demo that was cut off while it
        was filled); nothing is added to it.
    """
    if home is None:
        home = Path(tempfile.mkdtemp(prefix="takeup-demo-")) if demo else _own_home(settings)
    home = Path(os.path.abspath(home))
    if kept is not None:
        _bring_back(home, kept)
    desk = open_desk(home, settings, demo=demo)
    told: dict[str, Any] = {}
    with desk.lab.writing() as db:
        sweep_sessions(db)
        new = not all_staff(db)
        if new and not demo:
            told["staff"] = {"name": FIRST_NAME, "password": add_staff(db, FIRST_NAME)}
    if is_demo(desk.lab):
        return replace(desk, demo=True), told | told_again(desk.lab)
    if not demo:
        return desk, told
    if not new:
        desk.lab.close()
        raise NotPossible("desk.not-a-demo", path=str(home))
    told = fill(desk.lab, home, settings)
    with desk.lab.writing() as db:
        ask_for(db, "demo", None, {}, FIRST_NAME)
    return desk, told


def _bring_back(home: Path, kept: Path) -> None:
    try:
        with held(home, "desk", 0.0):
            bring_back(home, kept)
    except NotAllowedNow as error:
        raise NotPossible("backup.desk-open", path=str(home)) from error


def _own_home(settings: Settings) -> Path:
    return Path(settings.home).expanduser() if settings.home else default_home(os.environ)
