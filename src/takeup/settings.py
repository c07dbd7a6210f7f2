"""Places, people, language, mains: what differs from lab to lab. Read once; an unknown key is an error; no limits here.

A TOML file named by ``TAKEUP_SETTINGS`` (else ``settings.toml`` in the user's configuration folder), then
``TAKEUP_<KEY>`` variables.
"""

from __future__ import annotations

import os
import sys
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from takeup.errors import NotPossible


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """One lab's settings."""

    lab: str = "the lab"  # the lab's name as the letter and the slips print it
    lang: str = "en"  # en or zh-Hans
    mains: int = 50  # the lab's own mains frequency [Hz]
    wait_s: float = 10.0  # how long a command waits for a box that another command holds [s]
    idle_s: float = 10.0  # a growing file is whole when it has not grown for so long [s]
    mend: str = ""  # what everyday copies of cassettes mend unless told: azimuth, hum, speed, with commas between
    video_copy: str = ""  # the form of everyday copies of videos: as-taped, or lines and rate as in 720p30
    page_copy: str = ""  # the form of pages in PDFs: colour, grey or bitonal; and without-blanks, with a comma between
    who: str = ""  # who works here, for the record; empty: the computer's user name
    language_data: str = ""  # folder with more *.traineddata files for text recognition
    work_dir: str = ""  # folder for large temporary files; empty: the box itself
    home: str = ""  # the desk's folder: the lab's database and the boxes; empty: beside other programs' data
    database: str = ""  # the lab's database, as SQLAlchemy writes addresses; empty: a file in the home


ALLOWED: dict[str, tuple[Any, ...]] = {"lang": ("en", "zh-Hans"), "mains": (50, 60)}


def default_path(environment: Mapping[str, str]) -> Path:
    """Where the settings file lies when nobody says."""
    if sys.platform == "win32":
        return Path(environment.get("APPDATA", "~")).expanduser() / "takeup" / "settings.toml"
    return Path(environment.get("XDG_CONFIG_HOME") or "~/.config").expanduser() / "takeup" / "settings.toml"


def default_home(environment: Mapping[str, str]) -> Path:
    """The desk's folder when nobody says."""
    if sys.platform == "win32":
        return Path(environment.get("LOCALAPPDATA", "~")).expanduser() / "takeup" / "desk"
    return Path(environment.get("XDG_DATA_HOME") or "~/.local/share").expanduser() / "takeup" / "desk"


def read_settings(environment: Mapping[str, str] | None = None) -> Settings:
    """The settings in force.

    Raises
    ------
    NotPossible
        If the file cannot be read, or a key or value is not known.
    """
    environment = os.environ if environment is None else environment
    named = environment.get("TAKEUP_SETTINGS", "")
    path = Path(named) if named else default_path(environment)
    found: dict[str, Any] = {}
    if named or path.is_file():
        try:
            found = tomllib.loads(path.read_text("utf-8"))
        except (OSError, ValueError) as error:
            raise NotPossible("settings.unreadable", path=str(path), error=str(error)) from error
    known = {field.name: type(field.default) for field in fields(Settings)}
    for name in known:
        if value := environment.get(f"TAKEUP_{name.upper()}", ""):
            found[name] = value
    for name, value in found.items():
        if name not in known:
            raise NotPossible("settings.unknown-key", path=str(path), name=name, known=", ".join(known))
        try:
            found[name] = known[name](value)
        except (TypeError, ValueError) as error:
            raise NotPossible("settings.bad-value", name=name, value=str(value)) from error
        if name in ALLOWED and found[name] not in ALLOWED[name]:
            allowed = ", ".join(str(word) for word in ALLOWED[name])
            raise NotPossible("settings.not-allowed", name=name, value=str(value), allowed=allowed)
    return Settings(**found)
