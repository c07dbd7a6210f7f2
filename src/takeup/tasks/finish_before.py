"""What earlier runs of finish made of an item, and whether it may stay as it is."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from takeup.box.arranged import is_cut_so
from takeup.box.folder import Box
from takeup.box.record import Fact
from takeup.files.hash import hash_file
from takeup.plan.arranging import found_pictures
from takeup.plan.scan_finishing import is_pages
from takeup.streams import Original
from takeup.tasks.ears import Ears
from takeup.tasks.finishing import Chosen, Made, Place, by_hand_of, bytes_to
from takeup.tasks.remembered import candidates_of, made_from


class Before:
    """One item's finished files, each read back at most once. ``recipe`` is the one in force now."""

    def __init__(self, box: Box, original: Original, ears: Ears) -> None:
        self.box, self.original, self.ears = box, original, ears
        facts = [fact for fact in box.record.latest("made", original.id) if not fact.facts.get("gone")]
        self.facts = {fact.key: fact for fact in facts}
        self.recipe = ""
        self.handed: list[Made] = []  # what stands and was handed back to the makers
        self._whole: dict[str, bool] = {}

    def stands(self, chosen: Sequence[Chosen], place: Place) -> bool:
        """Whether all that is wanted of these captures was made before and lies there whole."""
        for one in chosen:
            mine = [fact for fact in self.facts.values() if set(one.relative) & set(fact.facts["from"])]
            roles = {"master" if fact.facts["role"] == "master" else "copy" for fact in mine}
            if roles < {role for role in ("master", "copy") if place.wants(role)}:  # type: ignore[arg-type]
                return False
            if not all(self._is_whole(fact) and self._is_of(fact, one) for fact in mine):
                return False
            if not all(_is_cut_so(one, at, mine) for at in range(len(one.relative))):
                return False
        settings = [fact.facts["settings"] for fact in self.facts.values()]
        forms = {those["form"] for those in settings if "form" in those}
        pages = {those["page_form"] for those in settings if "page_form" in those}
        if forms - {place.form} or pages - {place.page_form}:
            return False
        if any(those["by_hand"] != by_hand_of(chosen) for those in settings if "by_hand" in those):
            return False
        if any(_is_mended_otherwise(fact, place) for fact in self.facts.values()):
            return False
        sides = sorted(relative for one in chosen for relative in one.relative)
        cassettes = [those for those in settings if "one_gain_for" in those]
        return all(
            those["one_gain_for"] == sides and those.get("mend_asked", []) == [*place.mend] for those in cassettes
        )

    def standing(self, path: Path, from_: tuple[Path, ...]) -> Made | None:
        """What lies whole at a path, made from just these captures with the recipe in force."""
        fact = self.facts.get(self.box.relative(path))
        if fact is None or [self.box.path(stored) for stored in fact.facts["from"]] != list(from_):
            return None
        hashes = {capture.stored: capture.sha256 for capture in candidates_of(self.box, self.original.id)}
        same = [hashes.get(stored) for stored in fact.facts["from"]] == fact.facts.get("from_sha256")
        if not same or fact.facts.get("recipe") != self.recipe or not self._is_whole(fact):
            return None
        self.handed.append(made_from(self.box, fact))
        return self.handed[-1]

    def _is_of(self, fact: Fact, one: Chosen) -> bool:
        own = dict(zip(one.relative, one.sha256))
        sources = dict(zip(fact.facts["from"], fact.facts.get("from_sha256", ())))
        return fact.facts.get("recipe") == self.recipe and all(
            own.get(name, hash_) == hash_ for name, hash_ in sources.items()
        )

    def _is_whole(self, fact: Fact) -> bool:
        """Whether a finished file lies there with the very bytes that were taken down."""
        if fact.key not in self._whole:
            path, size = self.box.path(fact.facts["path"]), fact.facts["bytes"]
            there = path.is_file() and path.stat().st_size == size
            hear = bytes_to(self.ears, f"{path.name}: read back", size)
            self._whole[fact.key] = there and hash_file(path, hear=hear).sha256 == fact.facts["sha256"]
        return self._whole[fact.key]


def _is_cut_so(one: Chosen, at: int, mine: list[Fact]) -> bool:
    """Whether a scan's pictures are cut as they are arranged now; as the check found them, where nobody did."""
    if not any(fact.facts["settings"].get("arranged") for fact in mine) and one.arranged[at] is None:
        return True
    if is_pages(one.original):
        return True  # pages are turned in their PDF, never cut
    arranged = one.arranged[at]
    pictures = found_pictures(one.reports[at]) if arranged is None else arranged
    return is_cut_so(pictures, one.relative[at], mine)


def _is_mended_otherwise(fact: Fact, place: Place) -> bool:
    """Whether a scan's copy was asked to mend other things than are asked now."""
    settings, name = fact.facts["settings"], name_of(fact.key)
    if fact.facts["role"] != "copy" or settings.get("format") != "jpeg":
        return False
    return tuple(settings.get("mend_asked", ())) != place.mend_at.get(name, place.mend)


def name_of(stored: str) -> str:
    """The last part of a path in the box."""
    return stored.rsplit("/", 1)[-1]
