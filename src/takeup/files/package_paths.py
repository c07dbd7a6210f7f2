"""Where the paths in a package's lists lead, told from their text alone: nothing here touches a disk."""

from __future__ import annotations

import re

DRIVE = re.compile(r"[A-Za-z]:")
VARIABLE = re.compile(r"%[^%/\\]+%(?=$|[/\\])|\$\{?\w")
ENCODED = re.compile(r"%(0[aAdD])")
ENCODED_1_0 = re.compile(r"%(0[aAdD]|25)")


def leaves(path: str) -> str | None:
    """Why a path would leave its package on some system; None when it stays inside on all.

    Returns
    -------
    str or None
        ``absolute``, ``home``, ``drive``, ``share``, ``upward``, ``variable``, ``control``.
    """
    if any(ord(sign) < 32 and sign not in "\t\n\r" for sign in path):
        return "control"
    if path.startswith("/"):
        return "absolute"
    if path.startswith("\\"):
        return "share"
    if path.startswith("~"):
        return "home"
    if DRIVE.match(path):
        return "drive"
    if VARIABLE.match(path):
        return "variable"
    if ".." in re.split(r"[/\\]", path):
        return "upward"
    return None


def tidied(path: str) -> str:
    """A listed path without its leading ``./`` and doubled slashes.

    Examples
    --------
    >>> tidied("././data//a.txt")
    'data/a.txt'
    """
    return "/".join(part for part in path.split("/") if part not in ("", ".")) if not path.startswith("/") else path


def decoded(path: str, version: str) -> str:
    """A path as its file is called: lists write line ends ``%0A`` and ``%0D``, and since 1.0 ``%`` as ``%25``."""
    pattern = ENCODED_1_0 if version == "1.0" else ENCODED
    return pattern.sub(lambda found: chr(int(found[1], 16)), path)


def encoded(path: str) -> str:
    """A path as a list of version 1.0 writes it (RFC 8493, 2.1.3).

    Examples
    --------
    >>> encoded("data/50%\\n.txt")
    'data/50%25%0A.txt'
    """
    return path.replace("%", "%25").replace("\n", "%0A").replace("\r", "%0D")
