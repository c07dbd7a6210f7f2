"""``takeup verify``: read a package back. Writes nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from takeup.files.package_lists import Noted
from takeup.files.package_read import Verified, verify_package
from takeup.tasks.ears import SILENT, Ears
from takeup.words.sentences import say


def verify(parcel: Path, ears: Ears = SILENT) -> Verified:
    """Read every file of a package and compare it with the package's own lists.

    Raises
    ------
    NotPossible
        ``package.not-there``.
    """
    return verify_package(parcel, lambda path, count, done, total: ears.progress(parcel.name, done, total, "bytes"))


def verify_document(verified: Verified, lang: str) -> dict[str, Any]:
    """The contract's answer."""
    return {
        "parcel": str(verified.folder),
        "intact": verified.intact,
        "complete": verified.complete,
        "files": verified.files,
        "bytes": verified.bytes,
        "version": verified.version,
        "problems": [
            {"path": shown(noted.path), "what": noted.what, "why": sentence(noted, lang)} for noted in verified.problems
        ],
        "warnings": [{"path": shown(noted.path), "why": sentence(noted, lang)} for noted in verified.warnings],
    }


def sentence(noted: Noted, lang: str) -> str:
    """Why a path was noted."""
    facts = {name: shown(value) if isinstance(value, str) else value for name, value in noted.facts.items()}
    return say("answers", f"verify.{noted.key}", lang, facts)


def shown(name: str) -> str:
    """A name as it can be printed: bytes that are no text become a question mark, line ends are written out."""
    text = name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
    return text.replace("\n", "%0A").replace("\r", "%0D")
