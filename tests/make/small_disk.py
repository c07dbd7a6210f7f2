"""A disk of a few megabytes for tests that fill it: memory or a file mounted as one, where this account may mount."""

import subprocess
from contextlib import contextmanager
from pathlib import Path

import pytest


@contextmanager
def small_disk(folder: Path, *, megabytes: int, kind: str = "tmpfs", options: str = ""):
    """Mount a small disk at ``folder``; skips the test in one line where that is not allowed here."""
    folder.mkdir(parents=True)
    image = folder.with_suffix(".image")
    if kind == "tmpfs":
        words = ["mount", "-t", "tmpfs", "-o", f"size={megabytes}m{options}", "tmpfs", str(folder)]
    else:
        with image.open("wb") as file:
            file.truncate(megabytes << 20)
        if not _works(["mkfs." + kind, "-q", str(image)]):
            pytest.skip(f"a small {kind} disk cannot be made here")
        words = ["mount", "-o", f"loop{options}", str(image), str(folder)]
    if not _works(words):
        pytest.skip("this account may not mount a small disk")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=False, capture_output=True)
        image.unlink(missing_ok=True)


def _works(words: list[str]) -> bool:
    try:
        return subprocess.run(words, capture_output=True, check=False).returncode == 0
    except OSError:
        return False
