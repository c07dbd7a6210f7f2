"""Pictures of labels: from this screen, or by a phone that scanned it; shown beside the original."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import quote

from takeup.errors import NotPossible
from takeup.files.label_photos import drop_photo
from takeup.lab.phone import box_of_leave, phone_leave
from takeup.lab.photos import add_photo, forget_photo, photo, photos_of
from takeup.lab.port import one
from takeup.lab.schema import BOX
from takeup.lab.settings import desk_secret
from takeup.pages.qr import qr_data
from takeup.tables.loader import load_rows
from takeup.tasks.box_items import Line, line_of, listed
from takeup.tasks.label_photo import keep_label_photo
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Served, Shown
from takeup.web.boxes import box_of, folder_of, settings_of
from takeup.web.items import item_page
from takeup.web.pages import form, page
from takeup.words.sentences import say

MOST_PHOTO_BODY = 26_000_000  # bytes: a picture and the form around it
ONLY_HERE = ("127.", "localhost", "[::1]")  # addresses that no phone reaches


@form("/boxes/{box}/items/{item}/photo", door="box", most=MOST_PHOTO_BODY)
def photographed(ask: Ask) -> Answer:
    """A picture of the label, from this screen."""
    row = box_of(ask)
    try:
        line = line_of(folder_of(ask, row), ask.parts["item"], settings_of(ask))
        take_photo(ask, row, line)
    except NotPossible as fault:
        return item_page(ask, row, status=400, sentence=say("faults", fault.key, ask.lang, fault.facts))
    return SeeOther(url=f"/boxes/{row['number']}/items/{quote(line.original.id)}#pictures")


def take_photo(ask: Ask, row: dict[str, Any], line: Line) -> None:
    """Keep the picture that came with a form.

    Raises
    ------
    NotPossible
        ``photo.*``: what it is instead, or there are enough.
    """
    sent = ask.files.get("photo")
    if sent is None:
        raise NotPossible("photo.not-a-picture")
    most = load_rows().value("intake.photo.most_of_item")
    with ask.desk.lab.reading() as db:
        if len(photos_of(db, row["id"], line.original.id)) >= most:
            raise NotPossible("photo.enough", item=line.original.id, most=most)
    path, sha256 = keep_label_photo(ask.desk.home, row["folder"], sent.path)
    who = ask.who.name if ask.who.kind == "staff" else "visitor"
    with ask.desk.lab.writing() as db:
        add_photo(db, row["id"], line.original.id, path, sha256, who)


@page("/boxes/{box}/photos/{photo}", door="box")
def picture(ask: Ask) -> Answer:
    """A label's picture."""
    row = box_of(ask)
    with ask.desk.lab.reading() as db:
        found = photo(db, row["id"], _number_of(ask))
    path = ask.desk.home / found["path"] if found else None
    if path is None or not path.is_file():
        raise Refused(ask.words("There is no such picture."), status=404)
    return Served(path=path, kind="image/jpeg")


@form("/boxes/{box}/photos/{photo}/away", door="box")
def picture_away(ask: Ask) -> Answer:
    """A picture taken away again."""
    row = box_of(ask)
    with ask.desk.lab.writing() as db:
        found = photo(db, row["id"], _number_of(ask))
        path = forget_photo(db, row["id"], found["id"]) if found else ""
    if path:
        drop_photo(ask.desk.home, path)
    item_page = f"/{quote(found['item'])}#pictures" if found else ""
    return SeeOther(url=f"/boxes/{row['number']}/items{item_page}")


def _number_of(ask: Ask) -> int:
    number = ask.parts["photo"]
    return int(number) if number.isascii() and number.isdigit() and len(number) < 12 else 0


@page("/boxes/{box}/phone", door="box")
def phone(ask: Ask) -> Answer:
    """A code for a phone to scan: it may then bring label pictures to this box for some minutes."""
    row, minutes = box_of(ask), float(load_rows().value("intake.phone.minutes"))
    origin = origin_of(ask)
    url = f"{origin}/phone/{phone_leave(desk_secret(ask.desk.lab), row['id'], minutes)}"
    until = (datetime.now(UTC) + timedelta(minutes=minutes)).isoformat(timespec="minutes")
    facts = {"box": row, "url": url, "qr": qr_data(url), "until": until, "minutes": minutes}
    return Shown(template="phone.html", facts=facts | {"only_here": any(f"//{name}" in origin for name in ONLY_HERE)})


@page("/phone/{leave}", door="all")
def by_phone(ask: Ask) -> Answer:
    """What the phone sees: the originals of that box by their ids, a picture for each; nothing else of the box."""
    return _phone_page(ask)


def _phone_page(ask: Ask, sentence: str = "", status: int = 200) -> Answer:
    row = _box_of_leave(ask)
    lines = listed(folder_of(ask, row), settings_of(ask))
    with ask.desk.lab.reading() as db:
        counts: dict[str, int] = {}
        for picture in photos_of(db, row["id"]):
            counts[picture["item"]] = counts.get(picture["item"], 0) + 1
    facts = {"box": row, "lines": lines, "counts": counts, "sentence": sentence, "leave": ask.parts["leave"]}
    return Shown(template="by-phone.html", facts=facts | {"took": ask.text("took", most=40)}, status=status)


def _box_of_leave(ask: Ask) -> dict[str, Any]:
    box_id = box_of_leave(desk_secret(ask.desk.lab), ask.parts["leave"])
    with ask.desk.lab.reading() as db:
        row = one(db, BOX, BOX.c.id == box_id, BOX.c.closed_at.is_(None)) if box_id else None
    if row is None:
        raise Refused(
            ask.words("The time for this phone is over. Scan the code on the librarian's screen once more."), status=403
        )
    return row


@form("/phone/{leave}", door="all", most=MOST_PHOTO_BODY)
def sent_by_phone(ask: Ask) -> Answer:
    """A picture from the phone."""
    row = _box_of_leave(ask)
    try:
        line = line_of(folder_of(ask, row), ask.text("item", most=40), settings_of(ask))
        take_photo(ask, row, line)
    except NotPossible as fault:
        return _phone_page(ask, say("faults", fault.key, ask.lang, fault.facts), 400)
    return SeeOther(url=f"/phone/{ask.parts['leave']}?took={quote(line.original.id)}#i-{quote(line.original.id)}")


def origin_of(ask: Ask) -> str:
    """How this screen reaches the desk, for addresses that others are to scan."""
    host = "".join(sign for sign in ask.headers.get("host", "") if sign.isalnum() or sign in ".:-[]")[:100]
    secure = ask.headers.get("referer", "").startswith(f"https://{host}/")
    return f"{'https' if secure else 'http'}://{host}"
