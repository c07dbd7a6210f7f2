"""Set the pictures of a scan right: corners, quarter turns, backs, some added, some taken away; each can be undone."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

from takeup.errors import NotPossible
from takeup.measure.scan.pairs import Pair
from takeup.measure.scan.way_up import WayUp
from takeup.plan.arranging import Placed, middle_box, next_number
from takeup.plan.scan_finishing import PlannedPicture, plan_pictures
from takeup.tasks import excerpt, looking
from takeup.tasks.arrange import Arrangement, arrange, arrangement_of, undo
from takeup.tasks.backs import proposed_backs
from takeup.tasks.finishing import part_name
from takeup.tasks.looking import Look
from takeup.tasks.turns_read import proposed_turns
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Served, Shown
from takeup.web.boxes import folder_of, settings_of
from takeup.web.captures import look_of
from takeup.web.pages import form, page
from takeup.words.sentences import say

STEPS = {"left": 3, "right": 1}  # quarter turns clockwise
NO_TURNS: Mapping[int, WayUp] = {}


@page("/boxes/{box}/captures/{n}/pictures", door="box")
def pictures(ask: Ask) -> Answer:
    row, look = look_of(ask)
    stands = _stands(ask, row, look)
    sentence = _found_backs(ask, stands) if ask.given.get("backs") else _found_turns(ask, stands)
    return _shown(ask, row, look, stands, sentence=sentence)


def _found_backs(ask: Ask, stands: Arrangement) -> str:
    """What stands after backs were sought, so that somebody looks it over."""
    backs = [
        f"{stands.names[one.number]}: {ask.words('Back of %(id)s', id=one.back_of)}"
        for one in stands.standing
        if one.back_of
    ]
    return ask.words(
        "Backs found: %(backs)s. They are chosen below under “Front or back”; where one is wrong, choose by hand or "
        "take the last change back.",
        backs=", ".join(backs),
    ) if backs else ""  # fmt: skip


def _found_turns(ask: Ask, stands: Arrangement) -> str:
    """Which pictures were turned just now, and by what."""
    read, like = (
        ", ".join(stands.names[one.number] for one in stands.standing if str(one.number) in numbers)
        for numbers in (ask.given.get(name, "").split() for name in ("read", "like"))
    )
    if not read:
        return ""
    told = [ask.words("Turned by what is written in them: %(pictures)s.", pictures=read)]
    if like:
        told.append(ask.words("Turned like their neighbours: %(pictures)s.", pictures=like))
    told.append(ask.words("Where one is wrong, turn it by hand or take the last change back."))
    return " ".join(told)


def _stands(ask: Ask, row: dict[str, Any], look: Look) -> Arrangement:
    if look.medium != "scan" or not look.path.is_file():
        raise Refused(ask.words("Only a scan has pictures to set right, while its file is there."), status=404)
    return arrangement_of(looking.box_at(folder_of(ask, row), settings_of(ask)), look.original.id, look.stored)


def _shown(
    ask: Ask, row: dict[str, Any], look: Look, stands: Arrangement, *, typed: Sequence[Placed] | None = None,
    sentence: str = "", status: int = 200,
) -> Answer:  # fmt: skip
    placed = list(stands.pictures if typed is None else typed)
    names = stands.names | {
        one.number: f"{part_name(look.original.id, look.part)}-{one.number}"
        for one in placed
        if one.number not in stands.names
    }
    facts = {
        "box": row, "look": look, "stands": stands, "pictures": [one for one in placed if not one.gone],
        "gone": [one for one in placed if one.gone], "names": names, "sentence": sentence,
        "fronts": _fronts(ask, row, look, stands), "handle": max(stands.size) / 70,
        "marks": {plan.id or look.original.id: plan.mark for plan in _plan(look, placed)},
    }  # fmt: skip
    return Shown(template="pictures.html", facts=facts, status=status)


def _fronts(ask: Ask, row: dict[str, Any], look: Look, stands: Arrangement) -> list[str]:
    """Ids that a back may belong to: the fronts of this scan and of the original's other scans."""
    box = looking.box_at(folder_of(ask, row), settings_of(ask))
    fronts = [stands.names[one.number] for one in stands.standing if not one.back_of]
    for other in looking.looks(folder_of(ask, row), settings_of(ask)):
        if other.original.id == look.original.id and other.stored != look.stored and other.path.is_file():
            beside = arrangement_of(box, other.original.id, other.stored)
            fronts += [beside.names[one.number] for one in beside.standing if not one.back_of]
    return list(dict.fromkeys(fronts))


def _plan(look: Look, placed: Sequence[Placed]) -> tuple[PlannedPicture, ...]:
    return plan_pictures(
        part_name(look.original.id, look.part), look.report, item=look.original.id, arranged=placed
    ).pictures


@page("/boxes/{box}/captures/{n}/glass.jpg", door="box")
def glass(ask: Ask) -> Answer:
    """The whole scan, small, as its pixels lie."""
    row, look = look_of(ask)
    _stands(ask, row, look)
    return Served(path=excerpt.glass_of(ask.desk.home, row["number"], look.path, look.sha256), kind="image/jpeg")


@page("/boxes/{box}/captures/{n}/cut/{number}", door="box")
def cut(ask: Ask) -> Answer:
    """One picture as it will be cut, small."""
    row, look = look_of(ask)
    stands = _stands(ask, row, look)
    standing = [str(one.number) for one in stands.standing]
    if ask.parts["number"] not in standing:
        raise Refused(ask.words("There is no such picture on this scan."), status=404)
    planned = _plan(look, stands.pictures)[standing.index(ask.parts["number"])]
    made = excerpt.cut_of(ask.desk.home, row["number"], look.path, look.sha256, planned)
    return Served(path=made, kind="image/jpeg")


@form("/boxes/{box}/captures/{n}/pictures", door="box")
def arranged(ask: Ask) -> Answer:
    """Keep what the page shows, after what its button does to it; or take the last change back."""
    row, look = look_of(ask)
    stands = _stands(ask, row, look)
    who = ask.who.name if ask.who.kind == "staff" else "visitor"
    about: dict[str, Any] = {"item": look.original.id, "stored": look.stored, "version": ask.version, "who": who}
    here = f"/boxes/{row['number']}/captures/{look.number}/pictures"
    doing, _, about_number = ask.given.get("do", "keep").partition(":")
    if doing == "undo":
        undo(folder_of(ask, row), settings_of(ask), **about)
        return SeeOther(url=here)
    typed: list[Placed] = list(stands.pictures)
    try:
        wrong: list[str] = []
        typed = [_typed(ask, one, wrong) for one in stands.pictures]
        if wrong:
            typed_wrong = ", ".join(wrong)
            raise Refused(
                ask.words("A corner's place is a number of pixels. Nothing was changed: %(typed)s", typed=typed_wrong)
            )
        backs = _backs(ask, row, look, stands) if doing == "backs" else ()
        turns = _turns(ask, row, stands) if doing == "turns" else {}
        typed = _after(doing, about_number, typed, stands, backs, turns)
        arrange(folder_of(ask, row), settings_of(ask), pictures=typed, **about)
    except (NotPossible, Refused) as no:
        told = no.sentence if isinstance(no, Refused) else say("faults", no.key, ask.lang, no.facts)
        return _shown(ask, row, look, stands, typed=typed, sentence=told, status=400)
    if doing == "backs":
        return SeeOther(url=f"{here}?backs=found")
    if doing == "turns":
        read, like = (
            " ".join(str(number) for number, way in turns.items() if way.turn and bool(way.words) is told)
            for told in (True, False)
        )
        return SeeOther(url=f"{here}?{urlencode({'read': read, 'like': like})}")
    chosen = str(next_number(stands.pictures)) if doing == "add" else about_number
    return SeeOther(url=here + (f"?chosen={chosen}#p{chosen}" if chosen.isdigit() else ""))


def _backs(ask: Ask, row: dict[str, Any], look: Look, stands: Arrangement) -> tuple[Pair, ...]:
    """Which pictures of this scan may be backs of which fronts."""
    box = looking.box_at(folder_of(ask, row), settings_of(ask))
    own = set(stands.names.values())
    found = tuple(pair for pair in proposed_backs(box, look.original.id, look.stored) if pair.back in own)
    if not found:
        raise Refused(
            ask.words("Nothing tells for certain which picture here is the back of which. Please choose it by hand.")
        )
    return found


def _turns(ask: Ask, row: dict[str, Any], stands: Arrangement) -> Mapping[int, WayUp]:
    """Which pictures of this scan are to be turned, where that can be told."""
    found = proposed_turns(looking.box_at(folder_of(ask, row), settings_of(ask)), stands, settings_of(ask))
    if not any(way.turn for way in found.values()):
        raise Refused(
            ask.words("Nothing that can be read in these pictures tells another way up. Please turn them by hand.")
        )
    return found


def _after(
    doing: str, number: str, typed: list[Placed], stands: Arrangement, backs: Sequence[Pair] = (),
    turns: Mapping[int, WayUp] = NO_TURNS,
) -> list[Placed]:  # fmt: skip
    if doing == "add":
        return [*typed, Placed(number=next_number(typed), corners=middle_box(stands.size))]
    if doing in STEPS:
        return [replace(one, turn=(one.turn + STEPS[doing]) % 4) if str(one.number) == number else one for one in typed]
    if doing == "backs":
        fronts = {pair.back: pair.front for pair in backs}
        return [
            one if one.back_of or one.gone else replace(one, back_of=fronts.get(stands.names.get(one.number, ""), ""))
            for one in typed
        ]
    if doing == "turns":
        return [replace(one, turn=turns[one.number].turn) if one.number in turns else one for one in typed]
    if doing in ("remove", "bring"):
        return [replace(one, gone=doing == "remove") if str(one.number) == number else one for one in typed]
    return typed


def _typed(ask: Ask, one: Placed, wrong: list[str]) -> Placed:
    """A picture as its fields say; what a form does not bring stays as it was."""
    number = one.number
    corners = tuple(
        (
            _edge(ask, f"x{number}_{at}", one.corners[at][0], wrong),
            _edge(ask, f"y{number}_{at}", one.corners[at][1], wrong),
        )
        for at in range(4)
    )
    turn = ask.number(f"turn{number}", high=3)
    back = ask.text(f"back{number}", most=60) if f"back{number}" in ask.given else one.back_of
    return replace(one, corners=corners, turn=one.turn if turn is None else turn, back_of=back)


def _edge(ask: Ask, name: str, before: float, wrong: list[str]) -> float:
    text = ask.text(name, most=20).replace(",", ".")
    if not text:
        return before
    try:
        edge = float(text)
    except ValueError:
        edge = math.nan
    if not math.isfinite(edge) or abs(edge) > 1e7:
        wrong.append(text)
        return before
    return before if abs(edge - before) <= 0.05 else edge
