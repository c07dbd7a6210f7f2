"""``takeup take``: captures come from a station into a box. A station's file is read and never touched.

For every file: is it a whole capture, whose is it, do we have it already; then copy, compare with the disk, rename, and
only then remember it. What is refused is said with its reason; the rest is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from takeup.box.folder import CAPTURES, Box, work_in
from takeup.box.record import Fact
from takeup.errors import NotPossible, Unreadable
from takeup.files.beside import beside, is_part
from takeup.files.copy import copy_file
from takeup.files.hash import hash_file
from takeup.files.matching import Match, match_item, part_told
from takeup.files.names import folded, numbered, safe_name, why_unsafe
from takeup.files.station import Seen, files_at, growing, head_of, look
from takeup.files.volume import room_at
from takeup.judge.again import other_side
from takeup.media.probe import family_of
from takeup.settings import Settings
from takeup.tables.rows import Rows
from takeup.tasks.ears import SILENT, Ears


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """One capture in the box. ``already``: it was there before."""

    file: Path
    item: str
    bytes: int
    sha256: str
    stored: Path
    already: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """One file that was not taken; ``why`` is a key of ``words/answers``: ``take.refused.<why>``."""

    file: Path
    why: str
    facts: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """Where a capture that lies at the desk comes from, and what it must be."""

    station: str  # empty: the desk reads the station's own disk, and the source is a path here too
    source: str  # the path there
    modified_ns: int  # there
    part: str
    sha256: str


@dataclass(slots=True)
class Answer:
    taken: list[Taken] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Wanted:
    seen: Seen
    item: str
    part: str
    source: str
    modified_ns: int
    station: str = ""
    sha256: str = ""  # what it must be; empty: whatever it is


class _NotTaken(Exception):
    def __init__(self, why: str, **facts: Any) -> None:
        super().__init__(why)
        self.why, self.facts = why, facts


class _Already(Exception):
    def __init__(self, fact: Fact) -> None:
        super().__init__(fact.key)
        self.fact = fact


def take(
    folder: Path,
    paths: Sequence[Path],
    *,
    rows: Rows,
    settings: Settings,
    item: str = "",
    origin: Origin | None = None,
    ears: Ears = SILENT,
) -> Answer:
    """Take captures into a box.

    Parameters
    ----------
    folder
        The box.
    paths
        Files, or folders whose files are taken.
    item
        Every file is of this item; empty: each file's name tells.
    origin
        For one file that came over from a station: where it lies there.

    Raises
    ------
    NotPossible
        ``capture.not-there``, ``take.unknown-item``, ``take.no-room`` (nothing was taken); ``disk.full`` or
        ``copy.differs`` on the way (what was taken before stays taken).
    """
    for path in paths:
        if not path.exists() and not path.is_symlink():
            raise Unreadable("capture.not-there", path=str(path))
    with work_in(folder, "take", settings) as box:
        ids = [original.id for original in box.originals()]
        if item:
            item = _known_item(item, ids)
        if not box.record.latest("agreed"):
            ears.note("take.no-agreement", box=box.name)
        answer = Answer()
        files = _files(box, paths, rows)
        wanted = _sort_out(box, files, ids, item, rows, answer, origin)
        new = [one for one in wanted if not _already(box, one, answer, ears)]
        _check_room(box, new, rows)
        total, done = sum(one.seen.bytes for one in new), 0
        for one in new:
            base = done

            def heard(count: int, one: _Wanted = one) -> None:
                nonlocal done
                done += count
                ears.progress(box.name, done, total, "bytes")

            try:
                answer.taken.append(_bring_in(box, one, heard, ears))
            except _Already as stop:
                answer.taken.append(_taken(box, one, stop.fact))
            except _NotTaken as stop:
                answer.refused.append(Refused(file=one.seen.path, why=stop.why, facts=stop.facts))
            done = base + one.seen.bytes
        return answer


def _known_item(wanted: str, ids: Sequence[str]) -> str:
    for known in ids:
        if known.casefold() == wanted.casefold():
            return known
    raise NotPossible("take.unknown-item", item=wanted, known=", ".join(ids[:12]))


def _files(box: Box, paths: Sequence[Path], rows: Rows) -> list[Path]:
    """Every file that is meant, once; the box itself is passed over in a folder that happens to hold it."""
    inside, files = box.folder.resolve(), {}
    for path in paths:
        meant_box = inside in (path.resolve(), *path.resolve().parents)
        for file in files_at(path.absolute(), rows):
            if meant_box or inside not in file.parents:
                files[file] = None
    return list(files)


def _sort_out(
    box: Box,
    files: Sequence[Path],
    ids: Sequence[str],
    item: str,
    rows: Rows,
    answer: Answer,
    origin: Origin | None,
) -> list[_Wanted]:
    """Those files that are whole captures of a known item; the others are refused."""
    inside = box.folder.resolve()
    wanted: list[_Wanted] = []
    for file in files:
        try:
            if inside in file.parents:
                raise _NotTaken("in-the-box")
            seen = _whole_capture(file)
            match = Match(item, part=_part_beside(file.name, item)) if item else match_item(file.name, ids)
            if match.item is None:
                raise _NotTaken(match.why, found=", ".join(match.found), known=", ".join(ids[:6]))
            wanted.append(_wanted(seen, match, origin))
        except _NotTaken as stop:
            answer.refused.append(Refused(file=file, why=stop.why, facts=stop.facts))
    still = growing([one.seen for one in wanted], rows)
    answer.refused += [Refused(file=one.seen.path, why="growing") for one in wanted if one.seen.path in still]
    return [one for one in wanted if one.seen.path not in still]


def _wanted(seen: Seen, match: Match, origin: Origin | None) -> _Wanted:
    item = match.item or ""
    if origin is None:
        return _Wanted(seen, item, match.part, str(seen.path), seen.modified_ns)
    part = origin.part or match.part
    return _Wanted(seen, item, part, origin.source, origin.modified_ns, origin.station, origin.sha256)


def _part_beside(name: str, item: str) -> str:
    match = match_item(name, [item])
    return match.part if match.item else part_told(name.rpartition(".")[0] or name)


def _whole_capture(file: Path) -> Seen:
    seen = look(file)
    if isinstance(seen, str):
        raise _NotTaken(seen)
    if is_part(file):
        raise _NotTaken("growing")
    if seen.bytes == 0:
        raise _NotTaken("empty")
    try:
        head = head_of(file)
    except Unreadable as error:
        raise _NotTaken("unreadable") from error
    except OSError as error:
        raise _NotTaken("unreadable") from error
    if family_of(head) is None:
        raise _NotTaken("no-capture")
    return seen


def _already(box: Box, one: _Wanted, answer: Answer, ears: Ears) -> bool:
    """Whether the item has this very content; told by the file's state, else by reading it."""
    alike = [fact for fact in _same_side(box, one) if fact.facts["bytes"] == one.seen.bytes and _is_whole(box, fact)]
    source = one.source
    for fact in alike:
        if _from(fact) == (one.station, source) and fact.facts["modified_ns"] == one.modified_ns:
            answer.taken.append(_taken(box, one, fact))
            return True
    if not alike:
        return False
    try:
        sha256 = hash_file(one.seen.path).sha256
    except OSError:
        answer.refused.append(Refused(file=one.seen.path, why="unreadable"))
        return True
    for fact in alike:
        if fact.facts["sha256"] == sha256:
            here = not one.station and not fact.facts.get("station")
            if here and not Path(fact.facts["source"]).exists():  # the folder was moved: remember where it lies now
                facts = fact.facts | {"source": source, "modified_ns": one.modified_ns}
                box.record.append("taken", facts, item=fact.item, key=fact.key)
            answer.taken.append(_taken(box, one, fact))
            return True
    return False


def _from(fact: Fact) -> tuple[str, str]:
    """Which station's disk, and the path there; no station: a path of this computer."""
    return fact.facts.get("station", ""), fact.facts["source"]


def _same_side(box: Box, one: _Wanted) -> list[Fact]:
    """What was taken of this item under no other side's name: side A called B is a slip that check tells."""
    taken = box.record.latest("taken", one.item)
    return [fact for fact in taken if not other_side(fact.facts["part"], one.part)]


def _is_whole(box: Box, fact: Fact) -> bool:
    stored = look(box.path(fact.facts["stored"]))
    return isinstance(stored, Seen) and stored.bytes == fact.facts["bytes"]


def _taken(box: Box, one: _Wanted, fact: Fact) -> Taken:
    return Taken(
        file=one.seen.path,
        item=fact.item,
        bytes=fact.facts["bytes"],
        sha256=fact.facts["sha256"],
        stored=box.path(fact.facts["stored"]),
        already=True,
    )


def _check_room(box: Box, wanted: Sequence[_Wanted], rows: Rows) -> None:
    needed = sum(one.seen.bytes for one in wanted)
    free = room_at(box.folder).free
    if wanted and needed + rows.value("drives.look.margin_bytes") > free:
        raise NotPossible("take.no-room", path=str(box.folder), needed_bytes=needed, free_bytes=free)


def _bring_in(box: Box, one: _Wanted, heard: Any, ears: Ears) -> Taken:
    """Copy one capture, compare it, give it its name, remember it."""
    source = one.seen.path
    folder = box.folder / CAPTURES / item_folder(one.item)
    if orphan := _left_behind(box, folder, one):
        return _remember(box, one, orphan, hash_file(orphan).sha256)
    target = folder / _free_name(box, folder, source.name, one)
    with beside(target) as part:
        copied = copy_file(source, part, hear=heard)
        if look(source) != one.seen or copied.bytes != one.seen.bytes:
            raise _NotTaken("growing")
        if one.sha256 and copied.sha256 != one.sha256:
            raise _NotTaken("other-bytes")
        for fact in _same_side(box, one):
            if fact.facts["sha256"] == copied.sha256 and _is_whole(box, fact):
                raise _Already(fact)
    for other in box.record.latest("taken"):
        if other.item != one.item and other.facts["sha256"] == copied.sha256:
            ears.note("take.same-as-other", file=source.name, item=one.item, other=other.item)
    return _remember(box, one, target, copied.sha256)


def _remember(box: Box, one: _Wanted, target: Path, sha256: str) -> Taken:
    file, stored = one.seen.path, box.relative(target)
    facts = {
        "file": file.name.encode("utf-8", "surrogateescape").decode("utf-8", "replace"),
        "source": one.source,
        "stored": stored,
        "bytes": one.seen.bytes,
        "sha256": sha256,
        "modified_ns": one.modified_ns,
        "part": one.part,
    } | ({"station": one.station} if one.station else {})
    box.record.append("taken", facts, item=one.item, key=stored)
    return Taken(file=file, item=one.item, bytes=one.seen.bytes, sha256=sha256, stored=target)


def _left_behind(box: Box, folder: Path, one: _Wanted) -> Path | None:
    """The whole copy of this file that a command made and was killed before it could remember it."""
    target = folder / safe_name(one.seen.path.name)
    there = look(target)
    if not isinstance(there, Seen) or there.bytes != one.seen.bytes:
        return None
    if any(box.path(fact.facts["stored"]) == target for fact in box.record.latest("taken")):
        return None
    return target if hash_file(target).sha256 == hash_file(one.seen.path).sha256 else None


def item_folder(item: str) -> str:
    """The name of an item's folder; an id that some system takes for a device gets a name of its own."""
    return item if why_unsafe(item) is None else f"{safe_name(item)}-item"


def _free_name(box: Box, folder: Path, name: str, one: _Wanted) -> str:
    """A safe name that no other capture of the item has; one whose copy was lost is filled again under its own name."""
    taken = {folded(path.name) for path in folder.iterdir()} if folder.is_dir() else set()
    remembered = {
        folded(fact.facts["stored"].rpartition("/")[2])
        for fact in box.record.latest("taken")
        if box.path(fact.facts["stored"]).parent == folder and _from(fact) != (one.station, one.source)
    }
    given = safe_name(name)
    return numbered(given, taken | remembered)
