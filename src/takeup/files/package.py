"""Build a take-home package by RFC 8493 (version 1.0): beside its place, and there as a whole folder or not at all."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from takeup.errors import NotPossible
from takeup.files.beside import cannot_write, discard_part_folder, flush_file, flush_folder, part_name
from takeup.files.copy import copy_file
from takeup.files.hash import hash_file
from takeup.files.names import folded, known_rules, utf16_units, why_unsafe
from takeup.files.package_paths import encoded

PAYLOAD = "data"


@dataclass(frozen=True, slots=True)
class Payload:
    """One file of a package: where it comes from, its path below ``data/`` (with ``/``), what it must hold if known."""

    source: Path
    path: str
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """One file as it lies in a package; ``path`` begins with ``data/``."""

    path: str
    bytes: int
    digests: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Package:
    """A finished package. ``files`` and ``bytes`` count the payload."""

    folder: Path
    files: int
    bytes: int
    algorithms: tuple[str, ...]
    manifest_sha256: str  # SHA-256 of manifest-sha256.txt itself
    entries: tuple[Entry, ...]


def make_package(
    target: Path,
    payload: Sequence[Payload],
    info: Sequence[tuple[str, str]] = (),
    *,
    algorithms: Sequence[str] = ("sha256",),
    link: bool = True,
    hear: Callable[[int], None] = lambda count: None,
) -> Package:
    """Build the package ``target``; an older one of that name is replaced only when the new one is whole.

    Parameters
    ----------
    payload
        Files to carry. Paths must be safe on every system and different on every system.
    info
        Fields of ``bag-info.txt`` in their order. ``Bagging-Date`` and ``Payload-Oxum`` are added.
    algorithms
        Must contain ``sha256``.
    link
        Give the payload further names (hard links) where the disk allows, instead of copies.
    hear
        Told the bytes of every block as they are read.

    Raises
    ------
    NotPossible
        ``package.unsafe-name``, ``package.same-name``, ``package.source-gone``, ``package.source-changed``, or the
        disk's refusal.
    """
    _check_paths(payload)
    target.parent.mkdir(parents=True, exist_ok=True)
    work = part_name(target)
    try:
        work.mkdir()
        (work / PAYLOAD).mkdir()
        entries = [_bring_in(item, work, algorithms, link, hear) for item in payload]
        tags = _write_tags(work, entries, info, algorithms)
        _flush_folders(work)
        _put_in_place(work, target)
    except OSError as error:
        discard_part_folder(work)
        raise cannot_write(target, error) from error
    except BaseException:
        discard_part_folder(work)
        raise
    return Package(
        folder=target,
        files=len(entries),
        bytes=sum(entry.bytes for entry in entries),
        algorithms=tuple(algorithms),
        manifest_sha256=tags["manifest-sha256.txt"],
        entries=tuple(entries),
    )


def _check_paths(payload: Sequence[Payload]) -> None:
    files: set[str] = set()
    seen: dict[str, tuple[str, bool]] = {}  # folded path -> as written, and whether it is a file
    for item in payload:
        parts = item.path.split("/")
        if any(why_unsafe(part) for part in parts) or utf16_units(item.path) > known_rules().package_utf16:
            raise NotPossible("package.unsafe-name", path=item.path)
        for depth in range(1, len(parts) + 1):
            path, is_file = "/".join(parts[:depth]), depth == len(parts)
            earlier = seen.setdefault(folded(path), (path, is_file))
            if earlier != (path, is_file) or (is_file and path in files):
                raise NotPossible("package.same-name", path=item.path, other=earlier[0])
        files.add(item.path)


def _bring_in(item: Payload, work: Path, algorithms: Sequence[str], link: bool, hear: Callable[[int], None]) -> Entry:
    path = f"{PAYLOAD}/{item.path}"
    inside = work.joinpath(*path.split("/"))
    inside.parent.mkdir(parents=True, exist_ok=True)
    if not item.source.is_file() or item.source.is_symlink():
        raise NotPossible("package.source-gone", path=str(item.source))
    linked = False
    if link:
        with suppress(OSError):  # another disk, or a file system without further names
            os.link(item.source, inside)
            linked = True
    if not linked:
        copied = copy_file(item.source, inside)
        if set(algorithms) == {"sha256"}:
            hear(copied.bytes)
            return _as_wanted(item, Entry(path, copied.bytes, {"sha256": copied.sha256}))
    else:
        flush_file(inside)
    hashed = hash_file(inside, algorithms, hear)
    return _as_wanted(item, Entry(path, hashed.bytes, hashed.digests))


def _as_wanted(item: Payload, entry: Entry) -> Entry:
    if item.sha256 and entry.digests["sha256"] != item.sha256:
        raise NotPossible("package.source-changed", path=str(item.source))
    return entry


def _write_tags(
    work: Path, entries: Sequence[Entry], info: Sequence[tuple[str, str]], algorithms: Sequence[str]
) -> dict[str, str]:
    """Write every tag file; SHA-256 of each by its name."""
    total = sum(entry.bytes for entry in entries)
    fields = [(_one_line(label).replace(":", " "), _one_line(value)) for label, value in info]
    if not any(label == "Bagging-Date" for label, _ in fields):
        fields.append(("Bagging-Date", date.today().isoformat()))
    fields.append(("Payload-Oxum", f"{total}.{len(entries)}"))
    texts = {
        "bagit.txt": "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
        "bag-info.txt": "".join(f"{label}: {value}\n" for label, value in fields),
    }
    for name in algorithms:
        rows = sorted((encoded(entry.path), entry.digests[name]) for entry in entries)
        texts[f"manifest-{name}.txt"] = "".join(f"{digest}  {path}\n" for path, digest in rows)
    for name, text in texts.items():
        _write_flushed(work / name, text)
    hashed = {name: hash_file(work / name, algorithms).digests for name in texts}
    for algorithm in algorithms:
        text = "".join(f"{hashed[name][algorithm]}  {name}\n" for name in sorted(texts))
        _write_flushed(work / f"tagmanifest-{algorithm}.txt", text)
    return {name: digests["sha256"] for name, digests in hashed.items()}


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _write_flushed(path: Path, text: str) -> None:
    path.write_bytes(text.encode("utf-8"))
    flush_file(path)


def _flush_folders(folder: Path) -> None:
    for where, _, _ in os.walk(folder, topdown=False):
        flush_folder(Path(where))


def _put_in_place(work: Path, target: Path) -> None:
    """Rename the finished folder; an older package steps aside first and goes when the new one stands."""
    old = part_name(target)
    if target.exists():
        os.rename(target, old)
    try:
        os.rename(work, target)
    except OSError:
        if old.exists():
            os.rename(old, target)
        raise
    flush_folder(target.parent)
    if old.exists():
        discard_part_folder(old)
