"""Boxes of an invented lab: invented families with originals of many kinds, looked at, agreed, decided upon."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from pathlib import Path

from takeup.lab.agreements import agreement_text, note_agreement
from takeup.lab.port import Lab, add, change, now, one
from takeup.lab.schema import BOX, PERSON
from takeup.lab.settings import setting
from takeup.plan.quick_lines import read_line
from takeup.settings import Settings
from takeup.tables.loader import load_rows
from takeup.tasks.agree import agree
from takeup.tasks.box_items import enter
from takeup.tasks.box_new import box_start
from takeup.tasks.decide import decide
from takeup.tasks.screen import screen

WHO = "librarian"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Family:
    """One invented visitor with a box."""

    number: str
    name: str
    title: str
    lines: tuple[str, ...]  # as they are typed at the desk
    lang: str = "en"
    needs: str = ""
    minor: bool = False
    agreed: bool = True
    own_drive: str = "yes"
    counted: int = 0
    unseen: int = 0  # so many of the last lines nobody has looked at yet
    decided: dict[str, tuple[str, str]] = field(default_factory=dict)


FAMILIES = (
    _Family(
        number="0042", name="Wen Tan-Marlow", title="The Tan and Marlow family", counted=52, needs="large print",
        lines=(
            "k Aunt Wen, New Year 1983 90", "k grandfather tells about the harbour 60", "v wedding 1987 120",
            "v garden, first steps 1991 240 ep", "s birthday on the beach 50ft sound=none", "p 40 harbour street",
            "d 7 Norway 1974",
        ),
    ),
    _Family(
        number="0043", name="陈美兰", title="陈家的老录像", lang="zh-Hans", counted=4, own_drive="later",
        lines=("v 春节 1992 120", "v 奶奶八十大寿 180", "k 爷爷讲故事 60", "c 公园里的秋千 30"),
    ),
    _Family(
        number="0044", name="Ottoline Brackwater", title="The Brackwater boatyard", counted=11, needs="brings a helper",
        lines=(
            'e "launch of the Heron" 7in !vinegar', "e slipway 1961 3in", "m 2 yard ledgers 1931", "l 6 letters to Ida",
            "w regatta page 1938",
        ),
        decided={"e1": ("prepare", "strip read 0.5; staff wind it by hand")},
    ),
    _Family(
        number="0045", name="Jonah Pellgrove", title="Pellgrove, school band", agreed=False, minor=True, unseen=2,
        counted=3, own_drive="buys",
        lines=("v school concert 1999 90 !commercial", "k band practice 90", "k demo tape 46"),
    ),
    _Family(
        number="0046", name="Marigold Ashdown", title="Ashdown slides", counted=313, lines=(
            "d 280 round the lake 1958 to 1969", "n 24 strips from the tin", "p 8 portraits framed !framed",
            "o reel of wire",
        ),
    ),
    _Family(
        number="0047", name="Ezra Quillfeather", title="Quillfeather sisters", unseen=3, agreed=False, counted=0,
        lines=("k sisters singing 1979 90", "k letters from abroad 60", "c snow 1990 30 !mould?"),
    ),
)  # fmt: skip


def fill_boxes(lab: Lab, home: Path, settings: Settings) -> None:
    """Fill the boxes of an invented lab; the two that a demo's visitors hold codes for keep their codes."""
    quiet = replace(settings, who=WHO, wait_s=2.0)
    for family in FAMILIES:
        _fill(lab, home, quiet, family)


def _fill(lab: Lab, home: Path, settings: Settings, family: _Family) -> None:
    today = date.today()
    with lab.writing() as db:
        row = one(db, BOX, BOX.c.number == family.number)
        forget = (today + timedelta(days=setting(db, "keep")[0]["person_days"])).isoformat()
        about = {"name": family.name, "lang": family.lang, "needs": family.needs, "minor": family.minor}
        if row is None:
            person = add(db, PERSON, contact="", made_at=now(), forget_on=forget, **about)
            add(db, BOX, number=family.number, folder=family.number, person_id=person, opened_at=now())
            row = one(db, BOX, BOX.c.number == family.number) or {}
        else:
            change(db, PERSON, row["person_id"], None, forget_on=forget, **about)
        facts = {"own_drive": family.own_drive} if family.own_drive else {}
        change(db, BOX, row["id"], None, title=family.title, originals_in=family.counted, facts=facts)
        form, _ = agreement_text(db, family.lang)
        if family.agreed:
            note_agreement(db, row, form=form, lang=family.lang, adult_for_minor=family.minor, who=WHO)
    _fill_folder(home / "boxes" / row["folder"], settings, family, form)


def _fill_folder(folder: Path, settings: Settings, family: _Family, form: str) -> None:
    rows = load_rows()
    if box_start(folder, settings, title=family.title).originals():
        return
    entries = [entry for n, line in enumerate(family.lines, 1) for entry in read_line(line, rows, n)]
    added = enter(folder, entries, settings).added
    if not family.unseen:
        screen(folder, settings)
    for name in added[: len(added) - family.unseen] if family.unseen else ():
        screen(folder, settings, only=name)
    if family.agreed:
        agree(folder, form, family.lang, adult_for_minor=family.minor, settings=settings)
    for name, (outcome, why) in family.decided.items():
        decide(folder, name, outcome, why, settings)
