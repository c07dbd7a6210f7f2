"""The lab's own affairs: staff, hours and rules, stations, texts, what is kept how long, the kept database."""

from __future__ import annotations

from datetime import date
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from takeup.lab.backup import back_up, backups
from takeup.lab.forgetting import due_to_forget
from takeup.lab.people import ROLES, add_staff, all_staff, leave, new_first_password
from takeup.lab.places import add_station, change_station, set_down, stations, take_down_away
from takeup.lab.port import one, rows
from takeup.lab.schema import DOWN, STAFF, STATION
from takeup.lab.settings import keep_setting, setting
from takeup.lab.wordings import editions, keep_wording
from takeup.plan.opening_words import read_closures, read_hours, written_closures, written_hours
from takeup.tables.loader import load_rows
from takeup.tasks.forgetting import forget_due
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown
from takeup.web.pages import form, page
from takeup.web.speech import LANGUAGES

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
NUMBERS = {  # rule -> the least and the most it may be
    "step_minutes": (5, 120),
    "shortest_minutes": (5, 24 * 60),
    "longest_minutes": (5, 24 * 60),
    "per_visitor_per_day": (1, 24),
    "turn_round_minutes": (0, 240),
    "starts_per_step": (0, 50),
}
KEPT = {"person_days": (1, 3650), "code_hours": (1, 24 * 31)}
TEXTS = ("agreement", "release", "gift")
MOST_TEXT = 20_000


@page("/lab")
def lab(ask: Ask) -> Answer:
    return Shown(template="lab.html")


@page("/lab/staff", door="librarian")
def staff(ask: Ask) -> Answer:
    return _staff(ask)


def _staff(ask: Ask, *, told: dict[str, str] | None = None, sentence: str = "", status: int = 200) -> Answer:
    with ask.desk.lab.reading() as db:
        facts = {"accounts": all_staff(db), "roles": ROLES, "told": told, "sentence": sentence, "given": ask.given}
    return Shown(template="lab-staff.html", facts=facts, status=status)


@form("/lab/staff", door="librarian")
def staff_added(ask: Ask) -> Answer:
    """A new account; its one-time password is shown once, on the answer itself."""
    name, role = ask.text("name", most=80), ask.given.get("role", "")
    if not name or role not in ROLES:
        return _staff(ask, sentence=ask.words("Give a name and choose what this person may do."), status=400)
    with ask.desk.lab.writing() as db:
        if one(db, STAFF, STAFF.c.name_folded == name.casefold()):
            taken = True
        else:
            taken, password = False, add_staff(db, name, role)
    if taken:
        return _staff(ask, sentence=ask.words("Somebody here has or had that name. Choose another."), status=409)
    return _staff(ask, told={"name": name, "password": password})


@form("/lab/staff/password", door="librarian", once=False)
def staff_password(ask: Ask) -> Answer:
    """A new one-time password for somebody who lost theirs."""
    with ask.desk.lab.writing() as db:
        account = one(db, STAFF, STAFF.c.id == (ask.number("id") or 0), STAFF.c.left_at.is_(None))
        password = new_first_password(db, account["id"]) if account else ""
    if account is None:
        raise Refused(ask.words("There is no such account."), status=404)
    return _staff(ask, told={"name": account["name"], "password": password})


@form("/lab/staff/leave", door="librarian")
def staff_left(ask: Ask) -> Answer:
    number = ask.number("id") or 0
    with ask.desk.lab.writing() as db:
        account = one(db, STAFF, STAFF.c.id == number, STAFF.c.left_at.is_(None))
        others = [one_ for one_ in all_staff(db) if one_["role"] == "librarian" and one_["id"] != number]
        if account and others:
            leave(db, number, ask.version)
    if account is None:
        raise Refused(ask.words("There is no such account."), status=404)
    if not others:
        return _staff(ask, sentence=ask.words("The last librarian cannot leave: nobody could run the lab."), status=400)
    return SeeOther(url="/lab/staff")


@page("/lab/hours")
def hours(ask: Ask) -> Answer:
    return _hours(ask)


def _hours(ask: Ask, *, sentence: str = "", status: int = 200) -> Answer:
    with ask.desk.lab.reading() as db:
        opening, opening_version = setting(db, "opening")
        closed, closed_version = setting(db, "closed")
        rules, rules_version = setting(db, "rules")
        zone, zone_version = setting(db, "zone")
    facts = {
        "days": DAYS,
        "opening": {day: ask.given.get(day, written_hours(opening.get(day, []))) for day in DAYS},
        "closed": ask.given.get("closed", written_closures(closed)),
        "rules": {name: ask.given.get(name, rules.get(name)) for name in NUMBERS},
        "versions": {
            "opening": opening_version,
            "closed": closed_version,
            "rules": rules_version,
            "zone": zone_version,
        },
        "zone": ask.given.get("zone", zone),
    }
    return Shown(template="lab-hours.html", facts=facts | {"sentence": sentence}, status=status)


@form("/lab/hours", door="librarian")
def hours_kept(ask: Ask) -> Answer:
    """One of the page's forms: opening hours, closures, rules, the time zone."""
    what = ask.given.get("what", "")
    try:
        if what == "opening":
            value: Any = {day: read_hours(ask.text(day, most=200)) for day in DAYS}
        elif what == "closed":
            value = read_closures(ask.text("closed", most=MOST_TEXT))
        elif what == "zone":
            value = _zone(ask)
        elif what == "rules":
            value = {name: ask.number(name, low=low, high=high) for name, (low, high) in NUMBERS.items()}
            value["starts_per_step"] = value["starts_per_step"] or None
            _check_rules(ask, value)
        else:
            raise Refused(ask.words("There is no such form."))
    except ValueError as error:
        sentence = ask.words("This line is not understood: %(line)s. Nothing was changed.", line=str(error)[:100])
        return _hours(ask, sentence=sentence, status=400)
    except Refused as no:
        return _hours(ask, sentence=no.sentence, status=no.status)
    with ask.desk.lab.writing() as db:
        keep_setting(db, what, value, ask.version or 0)
    return SeeOther(url="/lab/hours")


def _zone(ask: Ask) -> str:
    name = ask.text("zone", most=60)
    try:
        if name:
            ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise Refused(
            ask.words("There is no time zone of that name; for example Europe/Berlin. Nothing was changed.")
        ) from None
    return name


def _check_rules(ask: Ask, rules: dict[str, Any]) -> None:
    step = rules["step_minutes"]
    if any(rules[name] is None for name in NUMBERS if name != "starts_per_step"):
        raise Refused(ask.words("Every rule but the last needs a number. Nothing was changed."))
    if rules["shortest_minutes"] > rules["longest_minutes"] or 24 * 60 % step:
        raise Refused(
            ask.words("The shortest visit must not be longer than the longest, and a day must hold whole steps.")
        )


@page("/lab/stations")
def lab_stations(ask: Ask) -> Answer:
    return _stations(ask)


def _stations(ask: Ask, *, sentence: str = "", status: int = 200) -> Answer:
    with ask.desk.lab.reading() as db:
        facts = {
            "places": stations(db),
            "down": rows(db, DOWN, DOWN.c.last >= date.today().isoformat(), order=DOWN.c.first),
        }
    kinds = _kinds()
    return Shown(template="lab-stations.html", facts=facts | {"kinds": kinds, "sentence": sentence, "given": ask.given},
                 status=status)  # fmt: skip


def _kinds() -> list[str]:
    known = load_rows()
    return sorted({known.section(f"carriers.{name}").get("station", "") for name in known.names("carriers")} - {""})


@form("/lab/stations", door="librarian")
def station_kept(ask: Ask) -> Answer:
    """A new station, or a changed one."""
    station_id = ask.text("id", most=40)
    about: dict[str, Any] = {
        "kind": ask.given.get("kind", ""),
        "name_en": ask.text("name_en", most=60),
        "name_zh": ask.text("name_zh", most=60) or ask.text("name_en", most=60),
        "screen_mm": ask.number("screen_mm", low=60, high=5000) or 530,
        "place": ask.number("place", low=0, high=999) or 0,
    }
    clean = station_id and all(sign.isascii() and (sign.isalnum() or sign == "-") for sign in station_id)
    if not clean or about["kind"] not in _kinds() or not about["name_en"]:
        sentence = ask.words(
            "A station needs a short name of letters, digits and dashes, its kind, and what it is called."
        )
        return _stations(ask, sentence=sentence, status=400)
    with ask.desk.lab.writing() as db:
        there = one(db, STATION, STATION.c.id == station_id)
        if there and ask.version is not None:
            change_station(db, station_id, ask.version, **about)
        elif not there:
            add_station(db, station_id, about["kind"], about["name_en"], about["name_zh"], place=about["place"])
            change_station(db, station_id, None, screen_mm=about["screen_mm"])
    if there and ask.version is None:
        return _stations(ask, sentence=ask.words("There is a station of that name already."), status=409)
    return SeeOther(url="/lab/stations")


@form("/lab/stations/down")
def station_down(ask: Ask) -> Answer:
    """A station is down from one day to another; its visits are for the page of visits to move."""
    first, last = ask.text("first", most=10), ask.text("last", most=10)
    try:
        days = (date.fromisoformat(first), date.fromisoformat(last or first))
    except ValueError:
        return _stations(ask, sentence=ask.words("Give the first day, and the last one if there are more."), status=400)
    with ask.desk.lab.writing() as db:
        there = one(db, STATION, STATION.c.id == ask.given.get("station", ""))
        if there and days[0] <= days[1]:
            set_down(db, there["id"], days[0].isoformat(), days[1].isoformat(), ask.text("why", most=200))
    if not there or days[0] > days[1]:
        return _stations(
            ask, sentence=ask.words("Choose a station, and a last day that is not before the first."), status=400
        )
    return SeeOther(url="/lab/stations")


@form("/lab/stations/up")
def station_up(ask: Ask) -> Answer:
    with ask.desk.lab.writing() as db:
        take_down_away(db, ask.number("down") or 0)
    return SeeOther(url="/lab/stations")


@page("/lab/texts")
def texts(ask: Ask) -> Answer:
    with ask.desk.lab.reading() as db:
        found = {key: {lang: editions(db, key, lang) for lang in LANGUAGES} for key in TEXTS}
    return Shown(template="lab-texts.html", facts={"texts": found})


@form("/lab/texts", door="librarian")
def text_kept(ask: Ask) -> Answer:
    key, lang = ask.given.get("key", ""), ask.given.get("text_lang", "")
    if key not in TEXTS or lang not in LANGUAGES:
        raise Refused(ask.words("There is no such text."))
    body = ask.text("body", most=MOST_TEXT)
    if not body:
        raise Refused(ask.words("An empty text is not kept. Nothing was changed."))
    with ask.desk.lab.writing() as db:
        keep_wording(db, key, lang, body, after=ask.version or 0, who=ask.who.name)
    return SeeOther(url="/lab/texts")


@page("/lab/keeping", door="librarian")
def keeping(ask: Ask) -> Answer:
    """How long people are known, and the kept databases."""
    with ask.desk.lab.reading() as db:
        (keep, keep_version), (age, age_version) = setting(db, "keep"), setting(db, "adult_age")
        due = due_to_forget(db, date.today().isoformat())
    facts = {"keep": keep, "keep_version": keep_version, "age": age, "age_version": age_version, "due": due}
    return Shown(template="lab-keeping.html", facts=facts | {"backups": backups(ask.desk.home)[:10]})


@form("/lab/keeping", door="librarian")
def keeping_kept(ask: Ask) -> Answer:
    if ask.given.get("what") == "age":
        age = ask.number("age", low=1, high=30)
        if age is None:
            raise Refused(ask.words("Give an age. Nothing was changed."))
        with ask.desk.lab.writing() as db:
            keep_setting(db, "adult_age", age, ask.version or 0)
        return SeeOther(url="/lab/keeping")
    value = {name: ask.number(name, low=low, high=high) for name, (low, high) in KEPT.items()}
    if None in value.values():
        raise Refused(ask.words("Both times need a number. Nothing was changed."))
    with ask.desk.lab.writing() as db:
        keep_setting(db, "keep", value, ask.version or 0)
    return SeeOther(url="/lab/keeping")


@form("/lab/keeping/forget", door="librarian")
def forgotten(ask: Ask) -> Answer:
    forget_due(ask.desk.lab, ask.desk.home, date.today().isoformat())
    return SeeOther(url="/lab/keeping")


@form("/lab/keeping/backup", door="librarian")
def backed_up(ask: Ask) -> Answer:
    back_up(ask.desk.lab)
    return SeeOther(url="/lab/keeping")
