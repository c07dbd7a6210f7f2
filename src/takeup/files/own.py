"""Files that are takeup's own and nobody's memory (a form's upload, a kept database): they need no receipt to go."""

from __future__ import annotations

import shutil
from pathlib import Path

from takeup.files.beside import beside


def remove_own(path: Path) -> None:
    """Remove a file that takeup made for itself; harmless when it is gone. Never for what lies in a box or station."""
    path.unlink(missing_ok=True)


def copy_own(source: Path, target: Path) -> None:
    """Copy a file of the desk's own, whole or not at all.

    Raises
    ------
    NotPossible
        ``disk.*`` when there is no room; ``target`` stays as it was.
    """
    with beside(target) as part:
        shutil.copyfile(source, part)
