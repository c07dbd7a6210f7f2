"""Put a finished package onto a drive, going on where an earlier try stopped, and read every byte of it back."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from takeup.errors import CopyDiffers, NotPossible
from takeup.files.beside import beside, flush_folder, sweep
from takeup.files.copy import copy_file
from takeup.files.fresh import lesser
from takeup.files.hash import Hashed, hash_file, hash_fresh
from takeup.files.package_lists import Declaration, Notes, read_manifest
from takeup.files.remove import remove_copy_of_ours

MANIFEST, TAG_MANIFEST, DECLARATION = "manifest-sha256.txt", "tagmanifest-sha256.txt", "bagit.txt"


@dataclass(frozen=True, slots=True)
class Piece:
    """One file of a package as it was packed; ``path`` with ``/``."""

    path: str
    bytes: int
    sha256: str


@dataclass(slots=True)
class Progress:
    """What was copied, what was there, how it was read back."""

    copied: int = 0
    kept: int = 0
    how: str = "direct"
    whole: set[str] = field(default_factory=set)


def pieces_of(package: Path, manifest_sha256: str) -> list[Piece]:
    """Every file of a package with the checksum its own lists give it: its main list first, ``bagit.txt`` last.

    A folder without ``bagit.txt`` is no package yet, so a copy that was cut short is never taken for a whole one.

    Raises
    ------
    NotPossible
        ``deliver.parcel-changed`` when the package is not the one that was packed.
    """
    try:
        if hash_file(package / MANIFEST).sha256 != manifest_sha256:
            raise NotPossible("deliver.parcel-changed", path=str(package / MANIFEST))
        sums = _listed(package / MANIFEST) | _listed(package / TAG_MANIFEST)
        sums[TAG_MANIFEST] = hash_file(package / TAG_MANIFEST).sha256
        for path in sorted(package.glob("tagmanifest-*.txt")):
            sums.setdefault(path.name, hash_file(path).sha256)
        pieces = [Piece(path, (package / path).stat().st_size, digest) for path, digest in sums.items()]
    except OSError as error:
        raise NotPossible("deliver.parcel-changed", path=error.filename or str(package)) from error
    found = {path.relative_to(package).as_posix() for path in package.rglob("*") if path.is_file()}
    if extra := sorted(found - sums.keys()):
        raise NotPossible("deliver.parcel-changed", path=str(package / extra[0]))
    rank = {MANIFEST: 0, DECLARATION: 2}
    return sorted(pieces, key=lambda piece: (rank.get(piece.path, 1), piece.path))


def _listed(path: Path) -> dict[str, str]:
    notes = Notes()
    listed = read_manifest(path, Declaration(), notes).listed
    if notes.problems:
        raise NotPossible("deliver.parcel-changed", path=str(path))
    return listed


def place_on(drive: Path, name: str, manifest_sha256: str) -> Path:
    """The folder on the drive for this package: a new one, or the one where an earlier try of it stopped."""
    count = 1
    while True:
        target = drive / (name if count == 1 else f"{name}-{count}")
        if not os.path.lexists(target):
            return target
        if target.is_dir() and not target.is_symlink():
            sweep(target)
            manifest = target / MANIFEST
            if manifest.is_file() and hash_file(manifest).sha256 == manifest_sha256:
                return target
            if not any(path.is_file() for path in target.rglob("*")):
                return target
        count += 1


def missing_at(target: Path, pieces: Sequence[Piece], progress: Progress, hear: Callable[[int], None]) -> list[Piece]:
    """The pieces that are not yet whole at ``target``; those that are were just read back from it."""
    todo = []
    for piece in pieces:
        path = target.joinpath(*piece.path.split("/"))
        if path.is_file() and not path.is_symlink() and path.stat().st_size == piece.bytes:
            now = _read_back(path, hear)
            if now.sha256 == piece.sha256:
                progress.kept += 1
                progress.how = lesser(progress.how, now.how)
                progress.whole.add(piece.path)
                continue
        todo.append(piece)
    return todo


def copy_pieces(
    package: Path, target: Path, todo: Sequence[Piece], progress: Progress, hear: Callable[[int], None]
) -> None:
    """Copy what is missing, then read it all back; ``bagit.txt`` only when everything else came back right.

    Raises
    ------
    CopyDiffers
        ``deliver.differs``: a file came back wrong twice. Its copy is taken away again.
    NotPossible
        ``deliver.parcel-changed``, or the drive's refusal to be written.
    """
    for group in ([p for p in todo if p.path != DECLARATION], [p for p in todo if p.path == DECLARATION]):
        for piece in group:
            _copy(package, target, piece, hear)
            progress.copied += 1
        for piece in group:
            _prove(package, target, piece, progress, hear)
    for folder in {target.joinpath(*piece.path.split("/")).parent for piece in todo} | {target, target.parent}:
        flush_folder(folder)


def _copy(package: Path, target: Path, piece: Piece, hear: Callable[[int], None]) -> None:
    source, place = (root.joinpath(*piece.path.split("/")) for root in (package, target))
    with beside(place) as part:
        copied = copy_file(source, part, read_back=False, hear=hear)
        if copied.sha256 != piece.sha256:
            raise NotPossible("deliver.parcel-changed", path=str(source))


def _prove(package: Path, target: Path, piece: Piece, progress: Progress, hear: Callable[[int], None]) -> None:
    place = target.joinpath(*piece.path.split("/"))
    for again in (False, True):
        if again:
            _copy(package, target, piece, lambda count: None)
        now = _read_back(place, (lambda count: None) if again else hear)
        if now.sha256 == piece.sha256 and now.bytes == piece.bytes:
            progress.how = lesser(progress.how, now.how)
            progress.whole.add(piece.path)
            return
    remove_copy_of_ours(place, target)
    raise CopyDiffers("deliver.differs", path=str(place))


def _read_back(path: Path, hear: Callable[[int], None]) -> Hashed:
    try:
        return hash_fresh(path, hear=hear)
    except OSError as error:
        raise NotPossible("deliver.drive-unreadable", path=str(path), error=error.strerror or str(error)) from error
