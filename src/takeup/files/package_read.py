"""Read any RFC 8493 package back (versions 0.93 to 1.0) and say what is missing, changed, extra, unsafe or malformed.

Only regular files that were found by walking the package itself are ever opened, and no link is followed: a path in a
list is looked up among them and never handed to the system.
"""

from __future__ import annotations

import os
import re
import stat
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from takeup.errors import NotPossible
from takeup.files.hash import Hashed, hash_fresh
from takeup.files.names import folded
from takeup.files.package_lists import (
    Declaration,
    Manifest,
    Noted,
    Notes,
    read_declaration,
    read_fetch,
    read_info,
    read_manifest,
)
from takeup.files.package_paths import encoded

Hear = Callable[[str, int, int, int], None]  # path, bytes of this block, bytes done, bytes in all
MANIFEST = re.compile(r"manifest-[A-Za-z0-9_-]+\.txt")
TAG_MANIFEST = re.compile(r"tagmanifest-[A-Za-z0-9_-]+\.txt")


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """What reading a package back found.

    ``complete``: everything listed is there, nothing else is, and the lists themselves are in order (RFC 8493,
    section 3). ``intact``: complete, and every checksum fits. ``files`` and ``bytes`` count the payload on the disk.
    """

    folder: Path
    version: str
    files: int
    bytes: int
    problems: tuple[Noted, ...]
    warnings: tuple[Noted, ...]

    @property
    def complete(self) -> bool:
        return not any(noted.what != "changed" for noted in self.problems)

    @property
    def intact(self) -> bool:
        return not self.problems


def verify_package(folder: Path, hear: Hear = lambda path, count, done, total: None) -> Verified:
    """Check a package against its own lists. Nothing is fetched, written or followed out of it.

    Raises
    ------
    NotPossible
        ``package.not-there`` when there is no such folder. Anything else that is wrong is in the result.
    """
    folder = Path(folder).absolute()
    if not folder.is_dir():
        raise NotPossible("package.not-there", path=str(folder))
    notes = Notes()
    found = _walk(folder, notes)
    said = Declaration()
    if "bagit.txt" in found:
        said = read_declaration(folder / "bagit.txt", notes)
    else:
        notes.problem("bagit.txt", "missing", "no-declaration")
    payload = {path: size for path, size in found.items() if path.startswith("data/")}
    if not (folder / "data").is_dir() or (folder / "data").is_symlink():
        notes.problem("data", "missing", "no-payload-folder")
    manifests = _read_manifests(folder, found, MANIFEST, said, notes)
    tags = _read_manifests(folder, found, TAG_MANIFEST, said, notes)
    if not manifests:
        notes.problem("manifest-sha256.txt", "missing", "no-manifest")
    fetch = read_fetch(folder / "fetch.txt", said, notes) if "fetch.txt" in found else []
    wanted = _look_up(manifests, found, fetch, notes)
    _note_unlisted(manifests, wanted, payload, fetch, said, notes)
    for path, digests in _look_up(tags, found, [], notes).items():
        wanted.setdefault(path, {}).update(digests)
    _compare(folder, wanted, found, notes, hear)
    _check_count(folder, found, payload, said, notes)
    return Verified(
        folder=folder,
        version=said.version,
        files=len(payload),
        bytes=sum(payload.values()),
        problems=_by_path(notes.problems),
        warnings=_by_path(notes.warnings),
    )


def _walk(folder: Path, notes: Notes) -> dict[str, int]:
    """Every regular file under the package: path with ``/`` -> bytes. Links and devices are noted, never opened."""
    found: dict[str, int] = {}
    waiting = [""]
    while waiting:
        inside = waiting.pop()
        try:
            entries = sorted(os.scandir(folder / inside), key=lambda entry: entry.name)
        except OSError as error:
            notes.problem(inside, "missing", "unreadable", error=error.strerror or str(error))
            continue
        for entry in entries:
            path = f"{inside}/{entry.name}" if inside else entry.name
            state = entry.stat(follow_symlinks=False)
            if stat.S_ISDIR(state.st_mode):
                waiting.append(path)
            elif stat.S_ISREG(state.st_mode):
                found[path] = state.st_size
            elif stat.S_ISLNK(state.st_mode):
                notes.problem(path, "unsafe", "link")
            else:
                notes.problem(path, "unsafe", "device")
    return found


def _read_manifests(
    folder: Path, found: dict[str, int], pattern: re.Pattern[str], said: Declaration, notes: Notes
) -> list[Manifest]:
    manifests = [read_manifest(folder / name, said, notes) for name in sorted(found) if pattern.fullmatch(name)]
    for manifest in manifests:
        if manifest.algorithm is None:
            if any(other.algorithm for other in manifests):
                notes.warn(manifest.name, "unknown-algorithm")
            else:
                notes.problem(manifest.name, "malformed", "unknown-algorithm")
    return manifests


def _look_up(
    manifests: list[Manifest], found: dict[str, int], fetch: list[str], notes: Notes
) -> dict[str, dict[str, str]]:
    """Path on the disk -> checksums by algorithm, for every listed file; what is not there is noted."""
    by_form = {folded(path): path for path in found}
    seen_forms: dict[str, str] = {}
    barred = {noted.path for noted in notes.problems if noted.what == "unsafe"}
    wanted: dict[str, dict[str, str]] = {}
    missing: set[str] = set()
    for manifest in manifests:
        for path, digest in manifest.listed.items():
            other = seen_forms.setdefault(folded(path), path)
            if other != path:
                notes.warn(path, "same-but-for-case", other=other)
            actual = path if path in found else by_form.get(folded(path))
            if actual is None and encoded(path) in found:  # somebody named the file itself as lists write it
                actual = encoded(path)
            if actual is None:
                if path not in missing and not _under(path, barred):
                    notes.problem(path, "missing", "fetch-only" if path in fetch else "missing", list=manifest.name)
                missing.add(path)
                continue
            if actual not in (path, encoded(path)) and unicodedata.normalize("NFC", actual) != unicodedata.normalize(
                "NFC", path
            ):
                notes.warn(path, "other-case", other=actual)
            elif actual != path:
                notes.warn(path, "other-form")
            if manifest.algorithm:
                earlier = wanted.setdefault(actual, {}).setdefault(manifest.algorithm, digest)
                if earlier != digest:
                    notes.problem(path, "malformed", "listed-twice-differently", list=manifest.name)
            else:
                wanted.setdefault(actual, {})
    return wanted


def _under(path: str, barred: set[str]) -> bool:
    """Whether a listed path is, or lies behind, a link or device that was noted already."""
    parts = path.split("/")
    return any("/".join(parts[:depth]) in barred for depth in range(1, len(parts) + 1))


def _note_unlisted(
    manifests: list[Manifest],
    wanted: dict[str, dict[str, str]],
    payload: dict[str, int],
    fetch: list[str],
    said: Declaration,
    notes: Notes,
) -> None:
    if not manifests:
        return
    for path in payload:
        if path not in wanted:
            notes.problem(path, "extra", "extra")
    everything = {folded(path) for manifest in manifests for path in manifest.listed}
    for manifest in manifests:
        listed = {folded(path) for path in manifest.listed}
        for path in wanted:
            if folded(path) not in listed and path in payload:
                if said.version == "1.0":
                    notes.problem(path, "malformed", "not-in-every-manifest", list=manifest.name)
                else:
                    notes.warn(path, "not-in-every-manifest", list=manifest.name)
    for path in fetch:
        if folded(path) not in everything:
            notes.problem(path, "malformed", "fetch-not-listed")


def _compare(folder: Path, wanted: dict[str, dict[str, str]], found: dict[str, int], notes: Notes, hear: Hear) -> None:
    total, done = sum(found[path] for path in wanted), 0

    def heard(count: int) -> None:
        nonlocal done
        done += count
        hear(path, count, done, total)

    for path, digests in sorted(wanted.items()):
        if not digests:
            continue
        try:
            now: Hashed = hash_fresh(folder.joinpath(*path.split("/")), tuple(digests), heard)
        except OSError as error:
            notes.problem(path, "missing", "unreadable", error=error.strerror or str(error))
            continue
        differing = [name for name, digest in digests.items() if now.digests[name] != digest]
        if differing:
            notes.problem(path, "changed", "changed", algorithms=", ".join(differing))


def _check_count(folder: Path, found: dict[str, int], payload: dict[str, int], said: Declaration, notes: Notes) -> None:
    """``Payload-Oxum``: bytes and files as the sender counted them. Said only where no other problem explains it."""
    for name in ("bag-info.txt", "package-info.txt"):
        if name not in found:
            continue
        stated = {value for label, value in read_info(folder / name, said, notes) if label.casefold() == "payload-oxum"}
        counted = f"{sum(payload.values())}.{len(payload)}"
        explained = any(noted.path.startswith("data") for noted in notes.problems)
        for value in sorted(stated):
            if not re.fullmatch(r"\d+\.\d+", value):
                notes.problem(name, "malformed", "count-unreadable", stated=value)
            elif [int(part) for part in value.split(".")] != [
                int(part) for part in counted.split(".")
            ] and not explained:
                notes.problem(name, "malformed", "count-differs", stated=value, counted=counted)


def _by_path(noted: list[Noted]) -> tuple[Noted, ...]:
    """Sorted, each said once."""
    seen: dict[tuple[str, str, str], Noted] = {}
    for one in noted:
        seen.setdefault((one.path, one.what, one.key), one)
    return tuple(sorted(seen.values(), key=lambda one: (one.path, one.what, one.key)))
