"""Describe a box: remember who, when, where, and write it into the finished files too. Captures are never touched."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from takeup.box.descriptions import Row, read_descriptions
from takeup.box.folder import Box, look_into, work_in
from takeup.box.record import Fact
from takeup.errors import NotPossible
from takeup.files.hash import hash_file
from takeup.media.tag_files import CannotEdit
from takeup.plan.tagging import Told
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tables.rows import Rows
from takeup.tasks.chapters import chaptered, marks_of, write_marks
from takeup.tasks.ears import SILENT, Ears
from takeup.tasks.finishing import bytes_to
from takeup.tasks.remembered import made_from
from takeup.tasks.tagged import scanned_of, tag_made, told_digest, told_of
from takeup.words.edtf import read_date, sure_part

LARGEST_LIST_BYTES = 50_000_000
PICTURE = re.compile(r"^(?P<item>.+)-(?P<number>[1-9]\d*)$")  # an id of a picture cut from a scan


@dataclass(frozen=True, slots=True, kw_only=True)
class Described:
    """One item or picture that somebody has described.

    ``date_read`` is False for a date nobody can read: it is kept as text. ``date_sure`` is what went into date fields.
    """

    id: str
    told: Told
    files: tuple[Path, ...]
    not_in: tuple[Path, ...] = ()  # finished files of a kind that has no place for words
    date_read: bool = True
    date_sure: str = ""


@dataclass(frozen=True, slots=True)
class Left:
    """An id that was not described, and why: a key of ``words/whys``."""

    id: str
    why: str
    facts: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxDescribed:
    """What a run described and left."""

    box: Path
    described: tuple[Described, ...]
    left: tuple[Left, ...]
    ignored: tuple[str, ...] = ()  # columns of the list that no description has


def describe_box(folder: Path, settings: Settings, *, csv: Path | None = None, ears: Ears = SILENT) -> BoxDescribed:
    """Take in a list of descriptions, or without one say what is described and what is not.

    Raises
    ------
    NotPossible
        ``describe.*`` when the list cannot be read; nothing of it is taken then.
    """
    if csv is None:
        return _standing(look_into(folder, settings))
    look_into(folder, settings)
    listed = read_descriptions(read_text(csv))
    with work_in(folder, "describe", settings) as box:
        known = _Known(box)
        taken: list[str] = []
        left: list[Left] = []
        for row in listed.rows:
            id_, why = known.find(row, taken)
            if why is None and id_:
                taken.append(id_)
                _remember(box, id_, row)
            elif why is not None:
                left.append(why)
        described, lost = _write(box, taken, load_rows(), ears)
        return BoxDescribed(box=box.folder, described=tuple(described), left=(*left, *lost), ignored=listed.ignored)


def note_descriptions(folder: Path, settings: Settings, told: Mapping[str, Mapping[str, Any]]) -> list[str]:
    """Remember who, when, where by id, at once; the files have it when ``write_descriptions`` has run.

    Fields that are not given stay as they were. Ids that the box does not know are left; those taken come back.
    """
    box = look_into(folder, settings)
    known = _Known(box)
    taken: list[str] = []
    for line, (id_, fields_) in enumerate(told.items(), 1):
        row = Row(id=id_, line=line, told=dict(fields_))
        found, why = known.find(row, taken)
        if why is None and found:
            taken.append(found)
            _remember(box, found, row)
    return taken


def write_descriptions(
    folder: Path, settings: Settings, ids: Sequence[str] = (), *, ears: Ears = SILENT
) -> tuple[list[Described], list[Left]]:
    """Write what is remembered into the finished files: of some ids, or of all that are described."""
    with work_in(folder, "describe", settings) as box:
        told = told_of(box)
        known = dict.fromkeys((*told, *chaptered(box)))
        wanted = [id_ for id_ in (ids or known) if id_ in known]
        return _write(box, wanted, load_rows(), ears)


def read_text(path: Path) -> str:
    """A list's text: UTF-8, or UTF-16 that says so by its first bytes. Other encodings are not guessed at.

    Raises
    ------
    NotPossible
        ``describe.not-there``, ``describe.cannot-open``, ``describe.not-text``.
    """
    if not path.is_file():
        raise NotPossible("describe.not-there", path=str(path))
    try:
        if path.stat().st_size > LARGEST_LIST_BYTES:
            raise NotPossible("describe.not-text", path=str(path))
        data = path.read_bytes()
    except OSError as error:
        raise NotPossible("describe.cannot-open", path=str(path), error=error.strerror or str(error)) from error
    try:
        text = data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError:
        raise NotPossible("describe.not-text", path=str(path)) from None
    if "\0" in text:
        raise NotPossible("describe.not-text", path=str(path))
    return text


class _Known:
    """The ids that a box knows, found without regard to case."""

    def __init__(self, box: Box) -> None:
        self.items = {original.id.casefold(): original.id for original in box.originals()}
        made = [fact for fact in box.record.latest("made") if not fact.facts.get("gone")]
        self.pictures = {
            fact.facts["picture"].casefold(): fact.facts["picture"] for fact in made if fact.facts.get("picture")
        }
        self.cut = {fact.item.casefold() for fact in made if fact.facts.get("picture")}
        self.finished = {fact.item.casefold() for fact in made}
        self.before = told_of(box)

    def find(self, row: Row, taken: list[str]) -> tuple[str, Left | None]:
        """The id a line speaks of, or why the line is left."""
        name = row.id.casefold()
        if not name:
            return "", Left("", "describe.no-id", {"line": row.line})
        id_ = self.items.get(name) or self.pictures.get(name) or self._picture_to_come(row.id)
        if id_ is None:
            return "", self._unknown(row)
        if id_ in taken:
            return "", Left(row.id, "describe.twice", {"line": row.line})
        if not any(row.told.values()) and id_ not in self.before:
            return "", Left(id_, "describe.nothing-told")
        return id_, None

    def _picture_to_come(self, id_: str) -> str | None:
        """A picture may be described before its scan is cut, as long as nobody knows how many there are."""
        match = PICTURE.match(id_)
        item = self.items.get(match["item"].casefold()) if match else None
        if match is None or item is None or item.casefold() in self.finished:
            return None
        return f"{item}-{match['number']}"

    def _unknown(self, row: Row) -> Left:
        match = PICTURE.match(row.id)
        item = match["item"].casefold() if match else ""
        if item in self.cut:
            own = [id_ for name, id_ in self.pictures.items() if name.rpartition("-")[0] == item]
            return Left(row.id, "describe.no-such-picture", {"known": ", ".join(own)})
        return Left(row.id, "describe.no-such-item", {"id": row.id, "known": ", ".join(self.items.values())})


def _remember(box: Box, id_: str, row: Row) -> None:
    """Take down a line: its columns replace what was known, columns it does not have stay."""
    before = next((fact.facts for fact in box.record.latest("described", id_)), {})
    told = {
        name.name: before.get(name.name, [] if name.name in ("people", "keywords") else "") for name in fields(Told)
    }
    told |= row.told
    if dict(before) != told:
        box.record.append("described", told, item=id_)


def _write(box: Box, ids: list[str], rows: Rows, ears: Ears) -> tuple[list[Described], list[Left]]:
    told = told_of(box)
    originals = {original.id: original for original in box.originals()}
    described, lost = [], []
    for id_ in ids:
        files, not_in = [], []
        for fact, place_in in _files_of(box, id_, told):
            done = _rewritten(box, fact, originals[fact.item], told, rows, place_in, ears)
            if done is None:
                lost.append(Left(id_, "describe.file-changed", {"path": str(box.path(fact.key))}))
            else:
                (files if done else not_in).append(box.path(fact.key))
        described.append(_described(id_, told.get(id_, Told()), files, not_in))
    return described, lost


def _described(id_: str, told: Told, files: list[Path], not_in: list[Path]) -> Described:
    written = read_date(told.date)
    sure = sure_part(written)
    return Described(
        id=id_,
        told=told,
        files=tuple(files),
        not_in=tuple(not_in),
        date_read=written is not None or not told.date,
        date_sure=sure.text() if sure else "",
    )


def _files_of(box: Box, id_: str, told: Mapping[str, Told]) -> Iterator[tuple[Fact, tuple[int, int]]]:
    """Finished files that take their words from this id: its own, those of its pictures that nobody described, and the
    backs of what it names."""
    made = [fact for fact in box.record.latest("made") if not fact.facts.get("gone")]
    for fact in made:
        picture = fact.facts.get("picture", "")
        owners = {picture if picture in told else fact.item}
        if front := fact.facts["settings"].get("back_of"):
            owners |= {front if front in told else fact.item}
        if id_ not in owners or fact.facts["role"] == "text":
            continue
        beside = [other for other in made if other.item == fact.item and other.facts["role"] == fact.facts["role"]]
        sides = sorted({other.facts.get("part", "") for other in beside if not other.facts.get("picture")})
        part = fact.facts.get("part", "")
        yield fact, (sides.index(part) + 1, len(sides)) if part in sides and not picture else (0, 0)


def _rewritten(
    box: Box,
    fact: Fact,
    original: Original,
    told: Mapping[str, Told],
    rows: Rows,
    place_in: tuple[int, int],
    ears: Ears,
) -> bool | None:
    """Write the words into one finished file, unless it has them.

    False when its kind has no place for them, None when the file is not what the record says.
    """
    path, facts = box.path(fact.facts["path"]), fact.facts
    made = made_from(box, fact)
    marks = marks_of(box, made)
    digest = told_digest(made, original, told, marks)
    if not path.is_file() or path.stat().st_size != facts["bytes"]:
        return None
    if facts.get("told") == digest:
        return facts.get("words_in", True)
    if hash_file(path, hear=bytes_to(ears, f"{path.name}: read back", facts["bytes"])).sha256 != facts["sha256"]:
        return None
    done = tag_made(made, original, told, rows, place_in, scanned_of(box, made, original))
    try:
        write_marks(path, marks)
    except CannotEdit:
        done = replace(done, tagged=False)
    size = path.stat().st_size
    sha256 = hash_file(path, hear=bytes_to(ears, f"{path.name}: checksum", size)).sha256
    new = dict(facts) | {"bytes": size, "sha256": sha256, "told": digest, "words_in": done.tagged}
    box.record.append("made", new, item=fact.item, key=fact.key)
    return done.tagged


def _standing(box: Box) -> BoxDescribed:
    """What is described and what is not, without changing anything."""
    told = told_of(box)
    made = [fact for fact in box.record.latest("made") if not fact.facts.get("gone")]
    ids = [original.id for original in box.originals()]
    ids += [id_ for id_ in dict.fromkeys(fact.facts.get("picture", "") for fact in made) if id_]
    ids += [id_ for id_ in told if id_ not in ids]
    described, left = [], []
    for id_ in ids:
        if id_ not in told or not any(asdict(told[id_]).values()):
            left.append(Left(id_, "describe.nothing-told"))
            continue
        facts = [fact for fact, _ in _files_of(box, id_, told)]
        inside = [box.path(fact.key) for fact in facts if fact.facts.get("words_in", True)]
        described.append(
            _described(id_, told[id_], inside, [box.path(f.key) for f in facts if not f.facts.get("words_in", True)])
        )
    return BoxDescribed(box=box.folder, described=tuple(described), left=tuple(left))
