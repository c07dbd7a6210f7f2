"""Read a package's tag files: declaration, manifests, fetch list, bag-info. Faults are noted and end nothing."""

from __future__ import annotations

import codecs
import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from takeup.files.hash import known_algorithm
from takeup.files.package_paths import decoded, leaves, tidied
from takeup.tables.loader import load_rows

What = Literal["missing", "changed", "extra", "unsafe", "malformed"]


@dataclass(frozen=True, slots=True)
class Noted:
    """A problem or warning. ``key`` words it: ``words/answers`` ``verify.<key>``. ``what`` is "" for a warning."""

    path: str
    what: What | Literal[""]
    key: str
    facts: dict[str, object] = field(default_factory=dict)


@dataclass(slots=True)
class Notes:
    """Problems and warnings as they are found."""

    problems: list[Noted] = field(default_factory=list)
    warnings: list[Noted] = field(default_factory=list)

    def problem(self, path: str, what: What, key: str, /, **facts: object) -> None:
        self.problems.append(Noted(path, what, key, facts))

    def warn(self, path: str, key: str, /, **facts: object) -> None:
        self.warnings.append(Noted(path, "", key, facts))


@dataclass(frozen=True, slots=True)
class Declaration:
    """What ``bagit.txt`` says; where it says nothing usable, the newest version and UTF-8 stand in."""

    version: str = "1.0"
    encoding: str = "utf-8"


def read_declaration(path: Path, notes: Notes) -> Declaration:
    """``bagit.txt``: two lines, UTF-8 without a byte-order mark."""
    name = path.name
    data = path.read_bytes()[:10_000]
    if data.startswith(codecs.BOM_UTF8):
        notes.problem(name, "malformed", "byte-order-mark")
        data = data.removeprefix(codecs.BOM_UTF8)
    try:
        lines = [line for line in re.split(r"\r\n|\r|\n", data.decode("utf-8")) if line.strip()]
    except UnicodeDecodeError:
        notes.problem(name, "malformed", "not-text", encoding="UTF-8")
        return Declaration()
    found = dict(re.split(r"\s*:\s*", line.strip(), maxsplit=1) for line in lines if ":" in line)
    version, encoding = found.get("BagIt-Version"), found.get("Tag-File-Character-Encoding")
    if not version or not re.fullmatch(r"\d+\.\d+", version):
        notes.problem(name, "malformed", "no-version")
        version = "1.0"
    elif version not in load_rows().value("drives.manifest.versions"):
        if float(version) > 1.0:
            notes.problem(name, "malformed", "later-version", version=version)
        else:
            notes.warn(name, "unknown-version", version=version)
    if not encoding or not _is_text_encoding(encoding):
        notes.problem(name, "malformed", "no-encoding", encoding=encoding or "?")
        encoding = "utf-8"
    if len(lines) > 2:
        notes.warn(name, "more-lines")
    return Declaration(version, encoding)


def _is_text_encoding(name: str) -> bool:
    try:
        return bool(codecs.lookup(name)._is_text_encoding)
    except (LookupError, ValueError):
        return False


def read_lines(path: Path, encoding: str, notes: Notes) -> Iterator[tuple[int, str]]:
    """The lines of a tag file with their numbers; lines that are none of text, or endless, are noted once."""
    limit = load_rows().value("drives.manifest.line_signs")
    try:
        with path.open("r", encoding=encoding, newline=None) as file:
            for number in range(1, 1 << 60):
                line = file.readline(limit)
                if not line:
                    return
                if len(line) >= limit:
                    notes.problem(path.name, "malformed", "endless-line", line=number)
                    return
                if number == 1 and line.startswith("\ufeff"):
                    notes.warn(path.name, "byte-order-mark")
                    line = line[1:]
                if line.strip():
                    yield number, line.rstrip("\n")
    except (UnicodeError, ValueError):
        notes.problem(path.name, "malformed", "not-text", encoding=encoding)


@dataclass(slots=True)
class Manifest:
    """One manifest: path -> checksum as listed. ``algorithm`` None: this computer does not know it."""

    name: str
    algorithm: str | None
    listed: dict[str, str] = field(default_factory=dict)


def read_manifest(path: Path, said: Declaration, notes: Notes) -> Manifest:
    """``manifest-<algorithm>.txt`` or ``tagmanifest-<algorithm>.txt``."""
    spelled = path.stem.partition("-")[2]
    manifest = Manifest(path.name, known_algorithm(spelled))
    length = 2 * hashlib.new(manifest.algorithm).digest_size if manifest.algorithm else None
    of_payload = path.name.startswith("manifest-")
    for number, line in read_lines(path, said.encoding, notes):
        digest, listed = (line.split(None, 1) + [""])[:2]
        if listed.startswith("*"):
            notes.warn(path.name, "star", listed=listed[1:])
            listed = listed[1:]
        if not listed or not re.fullmatch(r"[0-9a-fA-F]+", digest) or (length and len(digest) != length):
            notes.problem(path.name, "malformed", "bad-line", line=number)
            continue
        inside = _listed_path(listed, path.name, said, notes)
        if inside is None:
            continue
        if of_payload and not inside.startswith("data/"):
            notes.problem(inside, "malformed", "not-payload", list=path.name)
            continue
        if inside not in manifest.listed:
            manifest.listed[inside] = digest.lower()
        elif manifest.listed[inside] == digest.lower():
            notes.warn(inside, "listed-twice", list=path.name)
        else:
            notes.problem(inside, "malformed", "listed-twice-differently", list=path.name)
    return manifest


def _listed_path(listed: str, name: str, said: Declaration, notes: Notes) -> str | None:
    for form in (listed, decoded(listed, said.version)):
        if why := leaves(form):
            notes.problem(listed, "unsafe", f"leaves.{why}", list=name)
            return None
    if listed.startswith("./"):
        notes.warn(tidied(listed), "leading-dot", list=name)
    return tidied(decoded(listed, said.version))


def read_fetch(path: Path, said: Declaration, notes: Notes) -> list[str]:
    """``fetch.txt``: the paths of files that somebody else holds. Nothing is ever fetched."""
    wanted = []
    for number, line in read_lines(path, said.encoding, notes):
        parts = line.split(None, 2)
        if len(parts) < 3 or not re.fullmatch(r"\d+|-", parts[1]):
            notes.problem(path.name, "malformed", "bad-line", line=number)
            continue
        inside = _listed_path(parts[2], path.name, said, notes)
        if inside is not None and not inside.startswith("data/"):
            notes.problem(inside, "malformed", "not-payload", list=path.name)
        elif inside is not None:
            wanted.append(inside)
    return wanted


def read_info(path: Path, said: Declaration, notes: Notes) -> list[tuple[str, str]]:
    """``bag-info.txt`` (``package-info.txt`` up to 0.95): labels and values, continued lines joined."""
    fields: list[tuple[str, str]] = []
    for number, line in read_lines(path, said.encoding, notes):
        if line[0] in " \t" and fields:
            label, value = fields[-1]
            fields[-1] = (label, f"{value} {line.strip()}")
        elif ":" in line:
            label, _, value = line.partition(":")
            fields.append((label.strip(), value.strip()))
        else:
            notes.warn(path.name, "bad-line", line=number)
    return fields
