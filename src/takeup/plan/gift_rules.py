"""What speaks against taking a gift into a collection, from what its donor said and how its items stand. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

SHARES = ("us", "family", "library")  # who an item is for
PEOPLE = ("nobody", "agree", "some", "not-asked")  # who is shown or heard, and whether they agree
MINORS = ("none", "adult-agrees", "not-asked")
PUBLISHED = ("no", "yes", "unknown")
LONGEST_EMBARGO_YEARS = 100  # a longer one is a slip of the finger

Weight = Literal["look", "stop"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Offered:
    """What the donor said. Words out of the lists above; ``rights`` a key of the rights table."""

    shares: Mapping[str, str]  # item -> who it is for
    rights: str
    people: str  # whom one sees or hears, in the donor's words
    people_agree: str
    minors: str
    published: str
    embargo_until: str  # YYYY-MM-DD or ""
    released: bool  # the words of the gift are signed
    interviews: Mapping[str, bool] = field(default_factory=dict)  # item -> every speaker signed the release

    @property
    def items(self) -> list[str]:
        """What the library would get."""
        return [item for item, share in self.shares.items() if share == "library"]


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """How one item stands in the box."""

    item: str
    there: bool = True
    captured: bool = False
    finished: bool = False
    described: bool = False
    commercial: bool = False  # a published, protected work, as its line says


@dataclass(frozen=True, slots=True, kw_only=True)
class Objection:
    """One thing that speaks against it: a key of ``words/gift/`` (``against.<key>``); ``stop`` weighs more."""

    key: str
    weight: Weight = "look"
    facts: Mapping[str, Any] = field(default_factory=dict)


def wanting(offered: Offered, today: date) -> list[str]:
    """What is missing before it can be offered at all: keys of ``words/gift/`` ``wants.<key>``."""
    found = []
    if not offered.items:
        found.append("items")
    if not offered.rights:
        found.append("rights")
    if offered.people_agree not in PEOPLE:
        found.append("people")
    if offered.minors not in MINORS:
        found.append("minors")
    if offered.published not in PUBLISHED:
        found.append("published")
    if offered.embargo_until:
        until = _day(offered.embargo_until)
        if until is None:
            found.append("embargo")
        elif until <= today:
            found.append("embargo-past")
        elif until.year > today.year + LONGEST_EMBARGO_YEARS:
            found.append("embargo-long")
    if not offered.released:
        found.append("release")
    return found


def objections(offered: Offered, states: Sequence[State], rights_stand: str, today: date) -> list[Objection]:
    """What speaks against taking it, the weightier first.

    Parameters
    ----------
    states : sequence of State
        The box's items; one that is not listed any more is said to be gone.
    rights_stand : str
        What the rights table says of the donor's answer: empty, ``look`` or ``stop``.
    """
    found: list[Objection] = []
    if rights_stand in ("look", "stop"):
        found.append(Objection(key=f"rights-{offered.rights}", weight="stop" if rights_stand == "stop" else "look"))
    if offered.people_agree == "some":
        found.append(Objection(key="people-some", weight="stop"))
    elif offered.people_agree == "not-asked":
        found.append(Objection(key="people-not-asked", weight="stop"))
    elif offered.people_agree == "agree" and not offered.people.strip():
        found.append(Objection(key="people-unnamed"))
    if offered.minors == "not-asked":
        found.append(Objection(key="minors", weight="stop"))
    if offered.published == "yes":
        found.append(Objection(key="published", weight="stop"))
    elif offered.published == "unknown":
        found.append(Objection(key="published-unknown"))
    until = _day(offered.embargo_until) if offered.embargo_until else None
    if offered.embargo_until and (until is None or until <= today):
        found.append(Objection(key="embargo-past", facts={"date": offered.embargo_until}))
    if not offered.released:
        found.append(Objection(key="release", weight="stop"))
    standing = {state.item: state for state in states}
    gift = [standing.get(item, State(item=item, there=False)) for item in offered.items]
    unsigned = [item for item in offered.items if offered.interviews.get(item) is False]
    for key, weight, items in (
        ("gone", "stop", [one.item for one in gift if not one.there]),
        ("commercial", "stop", [one.item for one in gift if one.there and one.commercial]),
        ("interview", "stop", unsigned),
        ("not-captured", "look", [one.item for one in gift if one.there and not one.captured]),
        ("not-finished", "look", [one.item for one in gift if one.captured and not one.finished]),
        ("not-described", "look", [one.item for one in gift if one.captured and not one.described]),
    ):
        if items:
            facts = {"items": ", ".join(items)}
            found.append(Objection(key=key, weight="stop" if weight == "stop" else "look", facts=facts))
    return sorted(found, key=lambda one: one.weight != "stop")


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
