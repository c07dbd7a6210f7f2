"""Gifts to local history: offered in plain words, reviewed with what speaks against them, decided by the librarian."""

from __future__ import annotations

from typing import Any

from takeup.lab import gifts as book
from takeup.lab.hours import here, zone_of
from takeup.lab.port import Stale, one
from takeup.lab.schema import BOX
from takeup.plan.gift_rules import MINORS, PEOPLE, PUBLISHED, SHARES, Offered, objections, wanting
from takeup.tables.loader import load_rows
from takeup.tasks.giving import interviews_signed, states_of
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown
from takeup.web.boxes import box_of, folder_of, settings_of
from takeup.web.pages import form, page
from takeup.words.sentences import say

DECISIONS = ("accepted", "declined", "withdrawn", "taken-down")
MOST_TEXT = 1000


# --- the visitor's side ----------------------------------------------------------------------------------------------
@page("/boxes/{box}/gift", door="box")
def gift(ask: Ask) -> Answer:
    return _form(ask, box_of(ask))


def _form(ask: Ask, row: dict[str, Any], *, sentences: tuple[str, ...] = (), status: int = 200) -> Answer:
    folder, settings = folder_of(ask, row), settings_of(ask)
    with ask.desk.lab.reading() as db:
        standing = book.gifts_of(db, row["id"])
        edition, paragraphs = book.text_in_force(db, "gift", ask.lang)
    waiting = next((one_ for one_ in standing if one_["state"] == "offered"), None)
    items = states_of(folder, settings)
    given = dict(ask.given) if sentences else _as_typed(waiting)
    taken = {item for one_ in standing if one_["state"] == "accepted" for item in _shared(one_, "library")}
    facts = {
        "box": row, "gifts": standing, "waiting": waiting, "items": items, "taken": taken, "given": given,
        "rights": load_rows().names("rights"), "people": PEOPLE, "minors": MINORS, "published": PUBLISHED,
        "shares": SHARES, "edition": edition, "paragraphs": paragraphs, "sentences": sentences,
        "said": lambda key: say("gift", key, ask.lang), "library": lambda one_: _shared(one_, "library"),
    }  # fmt: skip
    return Shown(template="gift.html", facts=facts, status=status)


def _shared(row: dict[str, Any], share: str) -> list[str]:
    return [item for item, chosen in row["items"].items() if chosen == share]


def _as_typed(row: dict[str, Any] | None) -> dict[str, str]:
    """A gift as the form's fields."""
    if row is None:
        return {}
    more = {name: row["facts"].get(name, "") for name in ("minors", "published", "maker", "named")}
    fields = {name: row[name] for name in ("rights", "people", "people_agree", "embargo_until")}
    return more | fields | {f"share-{item}": share for item, share in row["items"].items()}


@form("/boxes/{box}/gift", door="box")
def gift_offered(ask: Ask) -> Answer:
    """Offer it, or change what was offered and not decided yet."""
    row = box_of(ask)
    if row["closed_at"] is not None:
        return _form(ask, row, sentences=(say("handing", "closed", ask.lang),), status=409)
    folder, settings = folder_of(ask, row), settings_of(ask)
    items = [state.item for state, _, _ in states_of(folder, settings)]
    try:
        texts = {name: ask.text(name, most=MOST_TEXT) for name in ("people", "maker", "named")}
        until = ask.text("embargo_until", most=20)
        number = ask.number("gift")
    except Refused as no:
        return _form(ask, row, sentences=(no.sentence,), status=400)
    with ask.desk.lab.reading() as db:
        edition, _ = book.text_in_force(db, "gift", ask.lang)
        today, _ = here(zone_of(db))
        standing = book.gifts_of(db, row["id"])
    if next((one_["id"] for one_ in standing if one_["state"] == "offered"), None) != number:
        return _form(ask, row, sentences=(_meanwhile(ask),), status=409)
    taken = {item for one_ in standing if one_["state"] == "accepted" for item in _shared(one_, "library")}
    shares = {item: ask.given.get(f"share-{item}", "us") for item in items if item not in taken}
    shares = {item: share if share in SHARES else "us" for item, share in shares.items()}
    rights = ask.given.get("rights", "")
    offered = Offered(
        shares=shares, rights=rights if rights in load_rows().names("rights") else "", people=texts["people"],
        people_agree=ask.given.get("people_agree", ""), minors=ask.given.get("minors", ""),
        published=ask.given.get("published", ""), embargo_until=until,
        released=ask.given.get("release") == "yes" and ask.given.get("edition") == edition,
    )  # fmt: skip
    missing = [say("gift", f"wants.{key}", ask.lang) for key in wanting(offered, today)]
    if missing:
        return _form(ask, row, sentences=tuple(missing), status=400)
    interviews = interviews_signed(folder, settings)
    who = ask.who.name if ask.who.kind == "staff" else "visitor"
    facts = {
        "minors": offered.minors, "published": offered.published, "maker": texts["maker"], "named": texts["named"],
        "lang": ask.lang, "signed_on": today.isoformat(), "rights_uri": load_rows().value(f"rights.{rights}.uri"),
    }  # fmt: skip
    said = {
        "kind": "interview" if all(item in interviews for item in offered.items) else "originals",
        "items": shares, "rights": rights, "people": texts["people"], "people_agree": offered.people_agree,
        "embargo_until": until, "release": edition, "facts": facts,
    }  # fmt: skip
    try:
        with ask.desk.lab.writing() as db:
            book.offer(db, row["id"], number, ask.version, said, who)
    except Stale:
        return _form(ask, row, sentences=(_meanwhile(ask),), status=409)
    return SeeOther(url=f"/boxes/{row['number']}/gift#thanks")


@form("/boxes/{box}/gift/back", door="box")
def gift_back(ask: Ask) -> Answer:
    """The donor takes back what is not decided yet, or asks that what was accepted be taken down."""
    row = box_of(ask)
    who = ask.who.name if ask.who.kind == "staff" else "visitor"
    number, why = ask.number("gift") or 0, ask.text("why", most=500)
    with ask.desk.lab.writing() as db:
        found = book.gift(db, number)
        if found is None or found["box_id"] != row["id"]:
            raise Refused(ask.words("This box has no such gift."), status=404)
        if found["state"] == "accepted":
            book.ask_down(db, number, ask.version, why, who)
        else:
            book.decide(db, number, ask.version, "withdrawn", why, who)
    return SeeOther(url=f"/boxes/{row['number']}/gift")


@page("/boxes/{box}/gift/back", door="box")
def back_to_gift(ask: Ask) -> Answer:
    return SeeOther(url=f"/boxes/{box_of(ask)['number']}/gift")


# --- the library's side ----------------------------------------------------------------------------------------------
@page("/gifts")
def gifts(ask: Ask) -> Answer:
    """All of them, what waits first."""
    with ask.desk.lab.reading() as db:
        found = book.all_gifts(db)
    counts = {state: sum(row["state"] == state for row in found) for state in book.STATES}
    facts = {"gifts": found[:200], "counts": counts, "library": lambda row: _shared(row, "library")}
    return Shown(template="gifts.html", facts=facts | {"wants_down": book.wants_down})


@page("/gifts/{gift}")
def gift_review(ask: Ask) -> Answer:
    """One gift: what was said, what speaks against it, the decision."""
    return _review(ask, _gift_of(ask))


def _gift_of(ask: Ask) -> dict[str, Any]:
    text = ask.parts["gift"]
    with ask.desk.lab.reading() as db:
        row = book.gift(db, int(text)) if text.isascii() and text.isdigit() and len(text) < 10 else None
    if row is None:
        raise Refused(ask.words("There is no such gift."), status=404)
    return row


def _review(ask: Ask, row: dict[str, Any], sentence: str = "", status: int = 200) -> Answer:
    with ask.desk.lab.reading() as db:
        box = one(db, BOX, BOX.c.id == row["box_id"]) or {}
    folder, settings = folder_of(ask, box), settings_of(ask)
    items = states_of(folder, settings)
    facts = {
        "gift": row, "box": box, "against": _against(ask, row, box),
        "labels": {state.item: (carrier, label) for state, carrier, label in items},
        "said": lambda key: say("gift", key, ask.lang), "sentence": sentence, "given": ask.given if sentence else {},
        "library": _shared(row, "library"), "family": _shared(row, "family"), "wants_down": book.wants_down(row),
    }  # fmt: skip
    return Shown(template="gift-review.html", facts=facts, status=status)


def _against(ask: Ask, row: dict[str, Any], box: dict[str, Any]) -> list[tuple[str, str]]:
    """What speaks against it: weight and sentence."""
    folder, settings = folder_of(ask, box), settings_of(ask)
    with ask.desk.lab.reading() as db:
        today, _ = here(zone_of(db))
    offered = Offered(
        shares=row["items"], rights=row["rights"], people=row["people"], people_agree=row["people_agree"],
        minors=row["facts"].get("minors", ""), published=row["facts"].get("published", ""),
        embargo_until=row["embargo_until"], released=bool(row["release"]),
        interviews=interviews_signed(folder, settings),
    )  # fmt: skip
    rows = load_rows()
    stand = rows.value(f"rights.{row['rights']}.stands") if row["rights"] in rows.names("rights") else "stop"
    found = objections(offered, [state for state, _, _ in states_of(folder, settings)], stand, today)
    return [(one_.weight, say("gift", f"against.{one_.key}", ask.lang, one_.facts)) for one_ in found]


@form("/gifts/{gift}", door="librarian")
def gift_decided(ask: Ask) -> Answer:
    """Accept, decline with a reason, take back for the donor, take down later."""
    row = _gift_of(ask)
    state = ask.given.get("state", "")
    try:
        why = ask.text("why", most=MOST_TEXT)
        if state not in DECISIONS:
            raise Refused(ask.words("Choose what becomes of this gift."))
        if state in ("declined", "taken-down") and not why:
            raise Refused(ask.words("Please write the reason; the donor reads it."))
        with ask.desk.lab.reading() as db:
            box = one(db, BOX, BOX.c.id == row["box_id"]) or {}
        if state == "accepted" and not why and any(weight == "stop" for weight, _ in _against(ask, row, box)):
            raise Refused(ask.words("Something weighty speaks against it. Write why it is accepted all the same."))
    except Refused as no:
        return _review(ask, row, no.sentence, no.status)
    try:
        with ask.desk.lab.writing() as db:
            book.decide(db, row["id"], ask.version, state, why, ask.who.name)
    except Stale:
        return _review(ask, _gift_of(ask), _meanwhile(ask), 409)
    return SeeOther(url=f"/gifts/{row['id']}")


def _meanwhile(ask: Ask) -> str:
    return ask.words(
        "Somebody changed this while you had it open. Nothing was overwritten: what you typed is still here; look, "
        "then send it again."
    )
