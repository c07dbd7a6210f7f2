"""Coming in: staff by name and password, a visitor by the slip's code; going out; a password of one's own."""

from __future__ import annotations

from typing import Any

from takeup.lab.people import knows_password, note_wrong, set_password, staff_of, tried_too_often
from takeup.lab.port import one
from takeup.lab.schema import STAFF
from takeup.lab.sessions import begin_session, box_of_code, end_session
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown
from takeup.web.pages import form, page

SHORTEST_PASSWORD, LONGEST_PASSWORD = 10, 200


@page("/", door="all")
def front(ask: Ask) -> Answer:
    """To where the caller belongs."""
    if ask.who.kind == "staff":
        return SeeOther(url="/today")
    if ask.who.kind == "visitor":
        return SeeOther(url="/mine")
    if ask.who.kind == "screen":
        return SeeOther(url="/station")
    return SeeOther(url="/sign-in")


@page("/sign-in", door="all")
def sign_in(ask: Ask) -> Answer:
    return Shown(template="sign-in.html", facts={"next": _next(ask, "/today"), "sentence": "", "name": ""})


@form("/sign-in", door="all", once=False)
def signed_in(ask: Ask) -> Answer:
    name, password = ask.text("name", most=100), ask.given.get("password", "")[:LONGEST_PASSWORD]
    keys = [f"name:{name.casefold()}", f"address:{ask.address}"]
    with ask.desk.lab.reading() as db:
        shut, account = tried_too_often(db, keys), staff_of(db, name)
    again = {"next": _next(ask, "/today"), "name": name}
    if shut:
        return Shown(template="sign-in.html", facts=again | {"sentence": too_often(ask)}, status=429)
    if not knows_password(account, password) or account is None:
        with ask.desk.lab.writing() as db:
            note_wrong(db, keys)
        sentence = ask.words("That name and password do not belong together. Nothing was changed: try again.")
        return Shown(template="sign-in.html", facts=again | {"sentence": sentence}, status=403)
    with ask.desk.lab.writing() as db:
        token = begin_session(db, "staff", staff_id=account["id"])
    return SeeOther(url="/password" if account["must_change"] else again["next"], token=token)


@page("/code", door="all")
def code(ask: Ask) -> Answer:
    facts = {"next": _next(ask, "/mine"), "sentence": "", "code": ask.text("slip", most=20)}
    return Shown(template="code.html", facts=facts)


@form("/code", door="all", once=False)
def code_given(ask: Ask) -> Answer:
    facts = {"next": _next(ask, "/mine"), "code": ""}
    box, sentence, status = box_given(ask, ask.text("code", most=100))
    if box is None:
        return Shown(template="code.html", facts=facts | {"sentence": sentence}, status=status)
    with ask.desk.lab.writing() as db:
        token = begin_session(db, "visitor", box_id=box["id"], until=box["code_until"])
    return SeeOther(url=facts["next"], token=token)


def box_given(ask: Ask, typed: str) -> tuple[dict[str, Any] | None, str, int]:
    """The box that a slip's code opens, here or at a station; else None, what to say, and the status."""
    keys = code_keys(ask)
    with ask.desk.lab.reading() as db:
        shut, box = tried_too_often(db, keys), box_of_code(db, typed)
    if shut:
        return None, too_often(ask), 429
    if box is None:
        with ask.desk.lab.writing() as db:
            note_wrong(db, keys)
        sentence = ask.words(
            "This code opens nothing now. Look at the slip once more, or ask the librarian for a new one."
        )
        return None, sentence, 403
    return box, "", 200


def code_keys(ask: Ask) -> list[str]:
    """Under what wrong codes are counted."""
    return [f"code-address:{ask.address}"]


@form("/sign-out", door="all", once=False)
def signed_out(ask: Ask) -> Answer:
    if ask.who.session_id:
        with ask.desk.lab.writing() as db:
            end_session(db, ask.who.session_id)
    return SeeOther(url="/sign-in", forget=True)


@page("/password")
def password(ask: Ask) -> Answer:
    return Shown(template="password.html", facts={"sentence": "", "shortest": SHORTEST_PASSWORD})


@form("/password", once=False)
def password_changed(ask: Ask) -> Answer:
    old, new = ask.given.get("old", ""), ask.given.get("new", "")
    if not SHORTEST_PASSWORD <= len(new) <= LONGEST_PASSWORD:
        raise Refused(
            ask.words("A password here has %(low)d to %(high)d signs.", low=SHORTEST_PASSWORD, high=LONGEST_PASSWORD)
        )
    keys = [f"name:{ask.who.name.casefold()}", f"address:{ask.address}"]
    with ask.desk.lab.reading() as db:
        shut, account = tried_too_often(db, keys), one(db, STAFF, STAFF.c.id == ask.who.staff_id)
    if shut:
        raise Refused(too_often(ask), status=429)
    if account is None or not knows_password(account, old[:LONGEST_PASSWORD]):
        with ask.desk.lab.writing() as db:
            note_wrong(db, keys)
        raise Refused(ask.words("The present password is another one. Nothing was changed."), status=403)
    with ask.desk.lab.writing() as db:
        set_password(db, account["id"], new)
        token = begin_session(db, "staff", staff_id=account["id"])
    return SeeOther(url="/today", token=token)


def too_often(ask: Ask) -> str:
    """What a locked name or address is told, the right word included."""
    return ask.words(
        "This was tried too often. Wait ten minutes, then try again; until then even the right word is not taken."
    )


def _next(ask: Ask, fallback: str) -> str:
    wanted = ask.given.get("next", "")[:300]
    return wanted if wanted.startswith("/") and not wanted.startswith("//") and "\\" not in wanted else fallback
