"""Finish a box: choose the captures, have each medium make its files, remember them. Twice changes nothing."""

from __future__ import annotations

import importlib
import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from takeup.box.arranged import arranged_of
from takeup.box.choosing import Candidate, Choice, LeftOut, choose
from takeup.box.folder import COPIES, MASTERS, Box, work_in
from takeup.box.record import Fact
from takeup.errors import NotPossible, TakeupError, Unreadable
from takeup.files.hash import hash_file
from takeup.files.taking_back import take_back
from takeup.media.probe import look_at
from takeup.media.tag_files import CannotEdit
from takeup.plan.copies import LAB, plan_profile
from takeup.plan.mending import plan_asked, plan_mends
from takeup.plan.paging import plan_page_form
from takeup.plan.tagging import Told
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tables.rows import Rows
from takeup.tasks.chapters import marks_of, write_marks
from takeup.tasks.check import medium_of
from takeup.tasks.ears import SILENT, Ears
from takeup.tasks.finish_before import Before, name_of
from takeup.tasks.finishing import Chosen, Made, Place, bytes_to
from takeup.tasks.remembered import candidates_of
from takeup.tasks.tagged import scanned_of, tag_made, told_digest, told_of


@dataclass(frozen=True, slots=True)
class Skipped:
    """Something that was not finished: which item, and why: a key of ``words/whys``, or the fault that prevented it."""

    item: str
    why: str
    facts: Mapping[str, Any] = field(default_factory=dict)
    fault: TakeupError | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finished:
    """One finished file, as it now lies in the box."""

    item: str
    made: Made
    bytes: int
    sha256: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxFinished:
    """What one run made and what it left."""

    box: Path
    made: tuple[Finished, ...]
    skipped: tuple[Skipped, ...]


def finish_box(
    folder: Path, settings: Settings, *, item: str = "", even_redo: bool = False, mend: str | None = None,
    picture: str = "", copies: str | None = None, pages: str | None = None, ears: Ears = SILENT,
) -> BoxFinished:  # fmt: skip
    """Make masters and copies of every checked capture of a box that has none yet.

    Parameters
    ----------
    item : str
        Only this item.
    even_redo : bool
        Finish also what was judged ``redo``.
    mend : str, optional
        What is to be mended in the everyday copies: words of ``plan/mending.py``, ``none`` for nothing.
        Where nobody says, what was asked for before stays asked for, else the lab's setting holds.
    picture : str
        The id of a scanned picture that alone is meant by ``mend``; what was asked for the others stays.
    copies : str, optional
        The form of the everyday copies of videos (``plan/copies.py``), ``lab`` for the lab's own. Where nobody says,
        what was asked for before stays asked for, else the lab's setting holds.
    pages : str, optional
        The form of pages in PDFs (``plan/paging.py``), ``lab`` for the lab's own; where nobody says, as with copies.

    Raises
    ------
    NotPossible
        ``box.no-such-item``; ``finish.no-such-mend``; ``finish.no-such-picture``; ``finish.no-such-copies``;
        ``finish.no-such-pages``; ``finish.picture-alone``; ``disk.full`` and the like. What was made before stays made.
    """
    rows = load_rows()
    asked = None if mend is None else plan_asked(mend)
    wanted = plan_asked(settings.mend)
    lab = plan_profile(settings.video_copy, rows).name
    form = None if copies is None or copies.strip().lower() == LAB else plan_profile(copies, rows).name
    lab_pages = plan_page_form(settings.page_copy).word
    page_form = None if pages is None or pages.strip().lower() == LAB else plan_page_form(pages).word
    with work_in(folder, "finish", settings) as box:
        originals = box.originals()
        if item and item not in [original.id for original in originals]:
            known = ", ".join(original.id for original in originals)
            raise NotPossible("box.no-such-item", path=str(box.folder), item=item, known=known)
        if picture:
            item = _item_of(box, picture, mend)
        made: list[Finished] = []
        skipped: list[Skipped] = []
        told = told_of(box)
        for original in originals:
            if item in ("", original.id):
                one = _Item(box, original, rows, settings, told, ears)
                one.choose_mends(asked, wanted, picture)
                before = one.form_before() if copies is None else form
                one.form, one.form_asked = before or lab, before is not None
                before = one.form_before("page_form") if pages is None else page_form
                one.page_form, one.page_form_asked = before or lab_pages, before is not None
                made += one.finish(even_redo)
                skipped += one.skipped
        return BoxFinished(box=box.folder, made=tuple(made), skipped=tuple(skipped))


def _item_of(box: Box, picture: str, mend: str | None) -> str:
    """The item whose scan shows a picture that has an everyday copy."""
    if mend is None:
        raise NotPossible("finish.picture-alone", picture=picture)
    made = [fact for fact in box.record.latest("made") if fact.facts["role"] == "copy" and not fact.facts.get("gone")]
    items = {fact.facts.get("picture") or "": fact.item for fact in made}
    if picture not in items:
        known = ", ".join(sorted(name for name in items if name)) or "-"
        raise NotPossible("finish.no-such-picture", picture=picture, known=known)
    return items[picture]


class _Item:
    """One item's run."""

    def __init__(
        self, box: Box, original: Original, rows: Rows, settings: Settings, told: Mapping[str, Told], ears: Ears
    ) -> None:
        self.box, self.original, self.rows, self.settings = box, original, rows, settings
        self.told, self.ears = told, ears
        self.skipped: list[Skipped] = []
        self.before = Before(box, original, ears)
        self.mend: tuple[str, ...] = ()
        self.mend_at: dict[str, tuple[str, ...]] = {}
        self.form, self.form_asked = "", False
        self.page_form, self.page_form_asked = "", False

    def choose_mends(self, asked: tuple[str, ...] | None, lab: tuple[str, ...], picture: str) -> None:
        """What is to be mended in this item's copies: as asked now, else as asked before, else as the lab does.

        Of a scan each copy keeps what was asked for it, because one picture may want what the next does not.
        """
        if not self.box.record.latest("taken", self.original.id):
            return  # nothing of it was captured, and some things that people bring never can be
        made = [fact for fact in self.before.facts.values() if "mend_asked" in fact.facts["settings"]]
        before = {name_of(fact.key): tuple(fact.facts["settings"]["mend_asked"]) for fact in made}
        only = {name_of(fact.key) for fact in made if fact.facts["picture"] == picture} if picture else None
        medium = medium_of(self.original.carrier, self.rows)
        self.mend, self.mend_at = plan_mends(
            medium, self.original.carrier, asked=asked, lab=lab, before=before, only=only
        )

    def form_before(self, name: str = "form") -> str | None:
        """The form that an earlier run was asked for, of this item's copies; None where it was the lab's."""
        made = [fact.facts["settings"] for fact in self.before.facts.values()]
        return next((those[name] for those in made if those.get(f"{name}_asked")), None)

    def finish(self, even_redo: bool) -> list[Finished]:
        taken = self.box.record.latest("taken", self.original.id)
        if not taken:
            self._skip("finish.not-captured")
            return []
        medium = medium_of(self.original.carrier, self.rows)
        choices, left = choose(candidates_of(self.box, self.original.id), joined=medium == "film")
        for entry in left:
            self._skip("finish.better-try", file=name_of(entry.stored), better=name_of(entry.better))
        ready = [choice for choice in choices if self._is_ready(choice, even_redo)]
        if not ready:
            return []
        self.before.recipe = recipe_of(self.original, medium, self.rows)
        chosen = [self._chosen(choice, taken) for choice in ready]
        if self.before.stands(chosen, self._place()):
            self._skip("finish.already")
            return []
        return self._made(medium, chosen, left)

    def _is_ready(self, choice: Choice, even_redo: bool) -> bool:
        names = ", ".join(name_of(capture.stored) for capture in choice.captures)
        if lost := [capture.stored for capture in choice.captures if not self.box.path(capture.stored).is_file()]:
            self._skip("finish.capture-lost", file=", ".join(lost))
            return False
        if not choice.checked:
            fault = next((fault for capture in choice.captures if (fault := self._fault_of(capture))), None)
            self._skip("finish.not-checked", fault, file=names, box=str(self.box.folder))
            return False
        if choice.verdict == "redo" and not even_redo:
            self._skip("finish.redo", file=names)
            return False
        return True

    def _fault_of(self, capture: Candidate) -> TakeupError | None:
        """Why a capture without a report can never have one, where that is so."""
        if capture.report is not None:
            return None
        try:
            path = self.box.path(capture.stored)
            seen = look_at(path)
            if seen.image is not None and medium_of(self.original.carrier, self.rows) == "scan":
                from takeup.tasks.scan_looks import refuse_claims

                refuse_claims(path, seen, self.rows)
        except Unreadable as error:
            return error
        return None

    def _chosen(self, choice: Choice, taken: list[Fact]) -> Chosen:
        arranged = self.box.record.latest("arranged", self.original.id)
        moments = {fact.facts["stored"]: fact.facts.get("modified_ns") for fact in taken}
        return Chosen(
            original=self.original,
            part=choice.part,
            stored=tuple(self.box.path(capture.stored) for capture in choice.captures),
            relative=tuple(capture.stored for capture in choice.captures),
            reports=tuple(capture.report for capture in choice.captures),
            sha256=tuple(capture.sha256 for capture in choice.captures),
            dates=tuple(_moment(moments.get(capture.stored)) for capture in choice.captures),
            verdict=choice.verdict,
            told=self.told.get(self.original.id),
            arranged=tuple(arranged_of(arranged, capture.stored, capture.sha256) for capture in choice.captures),
        )

    def _place(self) -> Place:
        return Place(
            masters=self.box.folder / MASTERS / self.original.id,
            copies=self.box.folder / COPIES / self.original.id,
            keep=self.original.keep,
            standing=self.before.standing,
            told=self.told,
            mend=self.mend,
            mend_at=self.mend_at,
            form=self.form,
            form_asked=self.form_asked,
            page_form=self.page_form,
            page_form_asked=self.page_form_asked,
        )

    def _made(self, medium: str, chosen: list[Chosen], left: list[LeftOut]) -> list[Finished]:
        make: Callable[..., list[Made]]
        make = getattr(importlib.import_module(f"takeup.tasks.finish_{medium}"), f"finish_{medium}")
        try:
            results = make(chosen, self._place(), self.rows, self.settings, self.ears)
        except NotPossible as fault:
            if fault.key.startswith("disk."):
                raise  # the next item would find no room either
            self._skip("finish.fault", fault)
            return []
        fresh: list[Finished] = []
        for made in results:
            if any(made is standing for standing in self.before.handed):
                continue
            if not made.tagged:
                known = scanned_of(self.box, made, self.original)
                made = tag_made(made, self.original, self.told, self.rows, scanned=known)
            made = self._chaptered(made)
            fresh.append(self._remembered(made, chosen))
        self._withdraw({self.box.relative(made.path) for made in results}, chosen, left)
        return fresh

    def _chaptered(self, made: Made) -> Made:
        """With the chapters that people described before it was made, or made again."""
        try:
            write_marks(made.path, marks_of(self.box, made))
        except CannotEdit:
            note = ("finish.no-place-for-words", {"file": made.path.name})
            return replace(made, notes=(*made.notes, note))
        return made

    def _remembered(self, made: Made, chosen: list[Chosen]) -> Finished:
        size = made.path.stat().st_size
        digest = hash_file(made.path, hear=bytes_to(self.ears, f"{made.path.name}: checksum", size)).sha256
        hashes = {path: hash_ for one in chosen for path, hash_ in zip(one.stored, one.sha256)}
        facts = {
            "role": made.role,
            "path": self.box.relative(made.path),
            "bytes": size,
            "sha256": digest,
            "from": [self.box.relative(path) for path in made.from_],
            "from_sha256": [hashes.get(path, "") for path in made.from_],
            "settings": dict(made.settings),
            "picture": made.picture,
            "size": list(made.size) if made.size else None,
            "seconds": made.seconds,
            "title": made.title,
            "part": made.part,
            "notes": [[key, dict(facts)] for key, facts in made.notes],
            "recipe": self.before.recipe,
            "told": told_digest(made, self.original, self.told, marks_of(self.box, made)),
            "words_in": made.tagged,
        }
        facts = json.loads(json.dumps(facts, default=str))
        self.box.record.append("made", facts, item=self.original.id, key=facts["path"])
        return Finished(item=self.original.id, made=made, bytes=size, sha256=digest)

    def _withdraw(self, paths: set[str], chosen: list[Chosen], left: list[LeftOut]) -> None:
        """Take back what an earlier run made of these captures, or of a try now replaced, and this one did not.

        It is only finished work and can be made again; captures are never touched.
        """
        replaced = {relative for one in chosen for relative in one.relative} | {entry.stored for entry in left}
        for key, fact in self.before.facts.items():
            if key not in paths and set(fact.facts["from"]) <= replaced:
                self.box.record.append("made", dict(fact.facts) | {"gone": True}, item=self.original.id, key=key)
                take_back(self.box.folder, key)

    def _skip(self, why: str, fault: TakeupError | None = None, **facts: Any) -> None:
        self.skipped.append(Skipped(self.original.id, why, facts, fault))


def recipe_of(original: Original, medium: str, rows: Rows) -> str:
    """A short name for the settings in force: when it changes, what was made before is made anew."""
    known = {name: value for name, value in asdict(original).items() if name not in ("label", "notes", "condition")}
    settings = {
        name: rows.section(name)
        for name in (
            f"formats.{medium}",
            "formats.sound",
            f"{medium}.master",
            f"{medium}.copy",
            f"{medium}.page",
            f"{medium}.{original.carrier}",
        )
    }
    return sha256(json.dumps([known, settings], sort_keys=True, default=str).encode()).hexdigest()[:16]


def _moment(modified_ns: int | None) -> str:
    return datetime.fromtimestamp(modified_ns / 1e9, UTC).isoformat(timespec="seconds") if modified_ns else ""
