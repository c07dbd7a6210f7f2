"""Pack a box: its finished files and the letter, as one package to take home. The same thing twice changes nothing."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from takeup import __version__
from takeup.box.folder import PARCEL, Box, work_in
from takeup.errors import NotPossible, TakeupError
from takeup.files.beside import write_bytes
from takeup.files.hash import hash_file
from takeup.files.names import safe_name
from takeup.files.package import PAYLOAD, Package, Payload, make_package
from takeup.media.postcards import moving_postcards, page_postcard, picture_postcard
from takeup.pages.contents import Contents, Held
from takeup.pages.letter import letter_page
from takeup.plan.parcel import LETTER, SMALL, Finished, Placed, plain, plan_parcel, shown_of
from takeup.settings import Settings
from takeup.tables.loader import load_rows
from takeup.tasks.ears import SILENT, Ears
from takeup.tasks.letter_contents import PAPERS, Smalls, Told, contents_of
from takeup.words.sentences import LANGUAGES, say

DRAFTS = "letter"  # in the box: the letter and its small pictures, made once and kept
EDGE_PX, POSTER_PX = 480, 960  # longest side of a small picture, and of a still that a player shows
ALGORITHMS = ("sha256",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """A parcel as it stands. ``already``: it stood there before, just like this."""

    parcel: Path
    files: int
    bytes: int
    algorithms: tuple[str, ...]
    missing: tuple[str, ...]  # originals with nothing in it
    already: bool = False

    def answer(self) -> dict[str, Any]:
        """As ``pack --json`` tells it."""
        answer: dict[str, Any] = {"parcel": str(self.parcel), "files": self.files, "bytes": self.bytes}
        answer |= {"algorithms": list(self.algorithms), "missing": list(self.missing)}
        return answer | ({"already": True} if self.already else {})


def pack(folder: Path, settings: Settings, *, only_copies: bool = False, ears: Ears = SILENT) -> Packed:
    """Build the parcel of a box, or find that it stands.

    Parameters
    ----------
    only_copies : bool
        Leave the masters out.

    Raises
    ------
    NotPossible
        ``pack.nothing-made``, ``pack.no-copies``: there is nothing to pack. ``package.source-changed``,
        ``package.source-gone``: a finished file is not what the record says; ``finish`` makes it again.
    """
    with work_in(folder, "pack", settings) as box:
        finished = _finished(box)
        if not finished:
            raise NotPossible("pack.nothing-made", path=str(box.folder))
        told = Told(box, load_rows())
        titles = {original.id: told.title(original) for original in box.originals()}
        placed = plan_parcel(box.originals(), finished, titles, only_copies=only_copies, safe_name=safe_name)
        if not placed:
            raise NotPossible("pack.no-copies", path=str(box.folder))
        _look_for(box, placed)
        smalls, sources = _smalls(box, placed)
        contents = contents_of(box, told, placed, smalls, settings, only_copies=only_copies)
        print_of = _fingerprint(contents, placed)
        hear = _hearing(box, ears, sum(file.finished.bytes for file in placed))
        standing = _standing(box, print_of, placed, hear)
        if standing is not None:
            return standing
        return _build(box, contents, placed, sources, print_of, settings, hear)


def _finished(box: Box) -> list[Finished]:
    """Every finished file that stands in the record, in the order in which they were first made."""
    facts = [(fact.item, fact.facts) for fact in box.record.latest("made") if not fact.facts.get("gone")]
    return [
        Finished(
            item=item,
            role=made["role"],
            path=made["path"],
            bytes=made["bytes"],
            sha256=made["sha256"],
            from_=tuple(made.get("from") or ()),
            picture=made.get("picture") or "",
            part=made.get("part") or "",
            size=tuple(made["size"]) if made.get("size") else None,
            notes=tuple((key, filled) for key, filled in made.get("notes") or ()),
        )
        for item, made in facts
    ]


def _look_for(box: Box, placed: Sequence[Placed]) -> None:
    """Before any long work: every file is there, as long as the record says."""
    for file in placed:
        path = box.path(file.finished.path)
        if not path.is_file():
            raise NotPossible("package.source-gone", path=str(path))
        if path.stat().st_size != file.finished.bytes:
            raise NotPossible("package.source-changed", path=str(path))


def _smalls(box: Box, placed: Sequence[Placed]) -> tuple[Smalls, list[Payload]]:
    """Small pictures of what the letter shows; made once per content and kept. What cannot be read has none."""
    smalls: dict[str, tuple[Held, Held | None]] = {}
    sources: list[Payload] = []
    taken: set[str] = set()
    for item in dict.fromkeys(file.finished.item for file in placed):
        for file in shown_of([file for file in placed if file.finished.item == item]):
            drafts = _drafts(box, file)
            if not drafts:
                continue
            stem = safe_name(file.href.rsplit("/", 1)[-1].rsplit(".", 1)[0])
            stem = stem if stem.casefold() not in taken else f"{stem}-{len(taken)}"
            taken.add(stem.casefold())
            held = []
            for path, name in zip(drafts, (f"{stem}.jpg", f"{stem}-moments.jpg")):
                href = f"{SMALL}/{name}"
                held.append(
                    Held(href=href, role="small", bytes=path.stat().st_size, kind="picture", size=_size_of(path))
                )
                sources.append(Payload(path, href))
            smalls[file.href] = (held[0], held[1] if len(held) > 1 else None)
    return smalls, sources


def _drafts(box: Box, file: Placed) -> list[Path]:
    """The small pictures of one finished file, by its content; nothing when it has no picture."""
    path = box.path(file.finished.path)
    stem = box.folder / DRAFTS / file.finished.sha256[:32]
    moving = file.kind == "moving"
    names = [Path(f"{stem}.jpg"), Path(f"{stem}-moments.jpg")] if moving else [Path(f"{stem}.jpg")]
    if file.kind in ("sound", "text"):
        return []
    if not all(name.is_file() for name in names):
        try:
            if moving:
                cards = moving_postcards(path, POSTER_PX)
            elif file.kind == "document":
                cards = (page_postcard(path, EDGE_PX),)
            else:
                cards = (picture_postcard(path, EDGE_PX),)
        except TakeupError:
            return []
        for name, card in zip(names, cards):
            write_bytes(name, card.jpeg)
    return names


def _size_of(path: Path) -> tuple[int, int]:
    from PIL import Image

    with Image.open(path) as image:
        return image.size


def _fingerprint(contents: Contents, placed: Sequence[Placed]) -> str:
    """What a parcel would tell and hold, but for the day: the same fingerprint is the same parcel."""
    holds = [[file.href, file.finished.sha256] for file in placed]
    return hashlib.sha256(json.dumps([__version__, letter_page(contents), holds]).encode()).hexdigest()


def _hearing(box: Box, ears: Ears, total: int) -> Callable[[int], None]:
    done = 0

    def hear(count: int) -> None:
        nonlocal done
        done += count
        ears.progress(box.name, min(done, total), total, "bytes")

    return hear


def _parcel_of(box: Box) -> Path:
    return box.folder / PARCEL / safe_name(plain(box.name, letters=60) or "parcel")


def _standing(box: Box, print_of: str, placed: Sequence[Placed], hear: Callable[[int], None]) -> Packed | None:
    """The parcel that was packed last, if it was just this one and lies there whole."""
    facts = box.record.latest("packed")
    if not facts or facts[-1].facts.get("fingerprint") != print_of:
        return None
    last = facts[-1].facts
    parcel = box.path(last["parcel"])
    listed = [(parcel.joinpath(*entry["path"].split("/")), entry) for entry in last["contents"]]
    if any(not path.is_file() or path.stat().st_size != entry["bytes"] for path, entry in listed):
        return None
    present = {path for path in (parcel / PAYLOAD).rglob("*") if not path.is_dir()}
    if present != {path for path, _ in listed}:
        return None
    if not all((parcel / name).is_file() for name in PAPERS):
        return None
    if _sha256(parcel / "manifest-sha256.txt") != last["manifest_sha256"]:
        return None
    if any(hash_file(path, hear=hear).sha256 != entry["sha256"] for path, entry in listed):
        return None
    _look_at_sources(box, placed, parcel)
    missing = tuple(last.get("missing", ()))
    return Packed(
        parcel=parcel,
        files=last["files"],
        bytes=last["bytes"],
        algorithms=tuple(last["algorithms"]),
        missing=missing,
        already=True,
    )


def _look_at_sources(box: Box, placed: Sequence[Placed], parcel: Path) -> None:
    """The box's own files are what they were too: those that are not the parcel's very files are read."""
    for file in placed:
        source = box.path(file.finished.path)
        inside = parcel.joinpath(PAYLOAD, *file.href.split("/"))
        if not source.samefile(inside) and _sha256(source) != file.finished.sha256:
            raise NotPossible("package.source-changed", path=str(source))


def _build(
    box: Box,
    contents: Contents,
    placed: Sequence[Placed],
    smalls: Sequence[Payload],
    print_of: str,
    settings: Settings,
    hear: Callable[[int], None],
) -> Packed:
    today = date.today().isoformat()
    letter = box.folder / DRAFTS / LETTER
    write_bytes(letter, letter_page(replace(contents, packed=today)).encode())
    payload = [Payload(box.path(file.finished.path), file.href, file.finished.sha256) for file in placed]
    payload += [*smalls, Payload(letter, LETTER)]
    package = make_package(_parcel_of(box), payload, _info(box, settings, today), algorithms=ALGORITHMS, hear=hear)
    missing = tuple(original.id for original in contents.missing)
    facts = {
        "parcel": box.relative(package.folder),
        "files": package.files,
        "bytes": package.bytes,
        "algorithms": list(package.algorithms),
        "manifest_sha256": package.manifest_sha256,
        "contents": _told_contents(package, placed),
        "missing": list(missing),
        "fingerprint": print_of,
    }
    box.record.append("packed", facts)
    return Packed(
        parcel=package.folder,
        files=package.files,
        bytes=package.bytes,
        algorithms=package.algorithms,
        missing=missing,
    )


def _told_contents(package: Package, placed: Sequence[Placed]) -> list[dict[str, Any]]:
    """Every file of the payload, with what it was made from, as the record keeps it."""
    known = {f"{PAYLOAD}/{file.href}": file.finished for file in placed}
    told = []
    for entry in package.entries:
        made = known.get(entry.path)
        told.append(
            {
                "path": entry.path,
                "sha256": entry.digests["sha256"],
                "bytes": entry.bytes,
                "item": made.item if made else "",
                "role": made.role if made else "letter",
                "from": list(made.from_) if made else [],
            }
        )
    return told


def _info(box: Box, settings: Settings, today: str) -> list[tuple[str, str]]:
    """The fields of ``bag-info.txt``: what this is, and how anybody can check it, in words of both languages."""
    fields = [
        ("Source-Organization", settings.lab),
        ("External-Identifier", box.name),
        ("Bagging-Date", today),
        ("Bag-Software-Agent", f"takeup {__version__}"),
    ]
    for label, key in (("External-Description", "what"), ("How-To-Open", "open"), ("How-To-Check", "check")):
        fields += [(label, say("letter", f"info.{key}", lang)) for lang in LANGUAGES]
    return fields


def _sha256(path: Path) -> str:
    try:
        return hash_file(path).sha256
    except OSError:
        return ""
