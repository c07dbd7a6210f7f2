"""Gifts and a hand-over of an invented lab: one gift waits, one is accepted, one declined; one box is on its drive."""

from __future__ import annotations

import hashlib
import os
import time
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from takeup.box.folder import COPIES, MASTERS, look_into
from takeup.box.record import Record
from takeup.lab.gifts import decide, gift, offer, text_in_force
from takeup.lab.port import Lab, add, change, now, one
from takeup.lab.schema import BOX, GIFT, PERSON
from takeup.plan.quick_lines import read_line
from takeup.settings import Settings
from takeup.tables.loader import load_rows
from takeup.tasks.agree import agree
from takeup.tasks.box_items import enter
from takeup.tasks.box_new import box_start
from takeup.tasks.deliver import deliver
from takeup.tasks.describe import note_descriptions
from takeup.tasks.interviews import interviews, keep_interview
from takeup.tasks.pack import pack
from takeup.tasks.take import take

WHO = "librarian"
OFFERS: tuple[dict[str, Any], ...] = (
    {
        "box": "0042", "items": {"k1": "family", "k2": "library", "p1": "us"}, "rights": "family",
        "people": "Grandfather Tan-Marlow and two of his crew", "people_agree": "agree", "minors": "none",
        "published": "no", "named": "the Tan and Marlow family", "embargo_days": 0, "state": "offered", "why": "",
    },
    {
        "box": "0044", "items": {"m1": "library", "l1": "library", "i1": "library"}, "rights": "mine",
        "people": "the yard's men, named in the ledgers", "people_agree": "agree", "minors": "none",
        "published": "no", "named": "Ottoline Brackwater", "embargo_days": 0, "state": "accepted",
        "why": "The only ledgers of the yard that are left.",
    },
    {
        "box": "0045", "items": {"v1": "library"}, "rights": "unknown", "people": "the whole school",
        "people_agree": "not-asked", "minors": "not-asked", "published": "yes", "named": "", "embargo_days": 400,
        "state": "declined",
        "why": "The concert plays bought music, and nobody has asked the pupils. The tape stays yours.",
    },
)  # fmt: skip
INTERVIEW = {
    "title": "The launch of the Heron, told by who riveted her", "language": "English", "place": "the lab",
    "date": "", "interviewer": "librarian", "levels": True, "silence": True,
}  # fmt: skip
SPEAKERS = ("Ansel Brackwater", "Ottoline Brackwater")
HANDED, DRIVE, STATION = "0052", "demo-drive", "demo-station"


def fill_gifts(lab: Lab, home: Path, settings: Settings) -> None:
    """Fill them in once the boxes are there."""
    quiet = replace(settings, who=WHO, wait_s=2.0)
    _interview(lab, home, quiet)
    for told in OFFERS:
        _offer(lab, told)
    _hand_over(lab, home, quiet)


def _interview(lab: Lab, home: Path, settings: Settings) -> None:
    with lab.reading() as db:
        row = one(db, BOX, BOX.c.number == "0044")
        edition, _ = text_in_force(db, "release", "en")
    if row is None or interviews(home / "boxes" / row["folder"], settings):
        return
    day = date.today().isoformat()
    speakers = [{"name": name, "signed": edition, "lang": "en", "on": day} for name in SPEAKERS]
    told = INTERVIEW | {"date": day, "speakers": speakers}
    keep_interview(home / "boxes" / row["folder"], settings, "", 0, told)


def _offer(lab: Lab, told: dict[str, Any]) -> None:
    rows = load_rows()
    with lab.writing() as db:
        box = one(db, BOX, BOX.c.number == told["box"])
        if box is None or one(db, GIFT, GIFT.c.box_id == box["id"]):
            return
        edition, _ = text_in_force(db, "gift", "en")
        days = told["embargo_days"]
        until = (date.today() + timedelta(days=days)).isoformat() if days else ""
        facts = {
            "minors": told["minors"], "published": told["published"], "maker": "", "named": told["named"],
            "lang": "en", "signed_on": date.today().isoformat(),
            "rights_uri": rows.value(f"rights.{told['rights']}.uri"),
        }  # fmt: skip
        said = {name: told[name] for name in ("items", "rights", "people", "people_agree")}
        said |= {"kind": "originals", "embargo_until": until, "release": edition, "facts": facts}
        number = offer(db, box["id"], None, None, said, "visitor")
        if told["state"] != "offered":
            decide(db, number, (gift(db, number) or {})["version"], told["state"], told["why"], WHO)


def _hand_over(lab: Lab, home: Path, settings: Settings) -> None:
    """A box with one picture, packed and delivered to a folder that stands for a drive; its station not cleared yet."""
    with lab.writing() as db:
        if one(db, BOX, BOX.c.number == HANDED):
            return
        about = {"name": "Lotte Fennimore", "contact": "", "lang": "en", "needs": "", "forget_on": ""}
        person = add(db, PERSON, made_at=now(), **about)
        add(db, BOX, number=HANDED, folder=HANDED, person_id=person, title="Fennimore, one picture", opened_at=now())
        row = one(db, BOX, BOX.c.number == HANDED) or {}
        change(db, BOX, row["id"], None, originals_in=1, originals_out=1)
    folder, rows = home / "boxes" / HANDED, load_rows()
    box_start(folder, settings, title=row["title"])
    enter(folder, read_line("p grandmother's house by the mill", rows), settings)
    agree(folder, "agreement-0", "en", adult_for_minor=False, settings=settings)
    station, drive = home / STATION, home / DRIVE
    station.mkdir(exist_ok=True)
    drive.mkdir(exist_ok=True)
    scan = station / "p1.tif"
    _picture().save(scan, dpi=(600, 600))
    os.utime(scan, (time.time() - 3600,) * 2)  # a station's file is taken when it has rested
    take(folder, [station], rows=rows, settings=settings, item="p1")
    _made(folder, settings)
    note_descriptions(folder, settings, {"p1": {"title": "Grandmother's house by the mill", "date": "1961~"}})
    pack(folder, settings)
    deliver(folder, drive, rows=rows, settings=settings)


def _made(folder: Path, settings: Settings) -> None:
    """A master and a copy as ``finish`` would remember them."""
    record = Record(folder, settings.who)
    box = look_into(folder, settings)
    stored = record.latest("taken")[-1].facts["stored"]
    for role, below, ending in (("master", MASTERS, "tif"), ("copy", COPIES, "jpg")):
        path = folder / below / "p1" / f"p1.{ending}"
        path.parent.mkdir(parents=True, exist_ok=True)
        picture = _picture()
        picture.save(path)
        facts = {
            "role": role, "path": box.relative(path), "bytes": path.stat().st_size, "from": [stored], "settings": {},
            "sha256": hashlib.sha256(path.read_bytes()).hexdigest(), "size": list(picture.size),
        }  # fmt: skip
        record.append("made", facts, item="p1", key=facts["path"])


def _picture() -> Any:
    """A house by a mill, drawn."""
    from PIL import Image, ImageDraw

    image = Image.new("RGB", (900, 600), (214, 204, 178))
    draw = ImageDraw.Draw(image)
    draw.rectangle((0, 400, 900, 600), fill=(134, 126, 92))
    draw.rectangle((260, 260, 560, 460), fill=(190, 170, 140), outline=(80, 64, 50), width=4)
    draw.polygon(((240, 260), (410, 140), (580, 260)), fill=(120, 70, 60))
    draw.ellipse((600, 300, 780, 480), outline=(80, 64, 50), width=10)
    draw.line((690, 300, 690, 480), fill=(80, 64, 50), width=6)
    draw.line((600, 390, 780, 390), fill=(80, 64, 50), width=6)
    return image
