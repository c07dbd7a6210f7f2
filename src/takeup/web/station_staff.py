"""A station's screen and step lists, for staff: pairing the screen, how it looks and sounds, the lab's own steps."""

from __future__ import annotations

from functools import cache
from typing import Any

from takeup.lab.asked import answer, waiting
from takeup.lab.live import note_event
from takeup.lab.places import change_station, station
from takeup.lab.port import one
from takeup.lab.schema import ASKED
from takeup.lab.sittings import PAIRING_MINUTES, code_for_screen, part_with_screens, screens_of, sitting_now
from takeup.pages.drawings import DRAWINGS
from takeup.pages.guide import Step, carrier_name, guide_body, guide_style
from takeup.tables.loader import load_rows
from takeup.tasks.guide import MOST_STEPS, carriers_at, keep_steps, station_guide, steps_at
from takeup.web.ask import Answer, Ask, Document, Refused, SeeOther, Shown
from takeup.web.pages import form, page
from takeup.web.speech import LANGUAGES
from takeup.web.station_state import both, look_of, told

SPARE = 3  # empty rows at the end of a step list
LONGEST_STEP = 400


def _place(ask: Ask, db: Any) -> dict[str, Any]:
    row = station(db, ask.parts["station"])
    if row is None:
        raise Refused(ask.words("There is no such station."), status=404)
    return row


@page("/stations/{station}/screen")
def screen_page(ask: Ask) -> Answer:
    return _screen(ask)


def _screen(ask: Ask, *, code: str = "", sentence: str = "", status: int = 200) -> Answer:
    with ask.desk.lab.reading() as db:
        place = _place(ask, db)
        facts = {
            "place": place, "look": look_of(place), "screens": screens_of(db, place["id"]), "code": code,
            "minutes": PAIRING_MINUTES, "sitting": sitting_now(db, place["id"]), "sentence": sentence,
            "carriers": [(one, carrier_name(one, ask.lang)) for one in carriers_at(place["kind"])],
            "asked": [
                row | {"told": told(ask.lang, row["facts"].get("words") or {})}
                for row in waiting(db, ASKED.c.station_id == place["id"], ASKED.c.kind.in_(("bell", "finding")))
            ],
        }  # fmt: skip
    return Shown(template="station-screen.html", facts=facts | {"words": both(ask.lang)}, status=status)


@form("/stations/{station}/screen/code", once=False)
def new_code(ask: Ask) -> Answer:
    """A code for a screen, shown once on the answer itself."""
    with ask.desk.lab.writing() as db:
        code = code_for_screen(db, _place(ask, db)["id"])
    return _screen(ask, code=code)


@form("/stations/{station}/screen/part")
def parted(ask: Ask) -> Answer:
    with ask.desk.lab.writing() as db:
        part_with_screens(db, _place(ask, db)["id"])
    return SeeOther(url=f"/stations/{ask.parts['station']}/screen")


@form("/stations/{station}/screen/look")
def look_kept(ask: Ask) -> Answer:
    """Size, palette, volume of the cue."""
    width, px = ask.number("screen_mm", low=100, high=3000), ask.number("px", low=0, high=16_000)
    volume = ask.number("volume", high=100)
    kept = {"dim": ask.given.get("dim") == "on", "volume": 40 if volume is None else volume, "px": px or 0}
    with ask.desk.lab.writing() as db:
        place = _place(ask, db)
        change_station(
            db, place["id"], ask.version, screen_look=kept, **({"screen_mm": width} if width is not None else {})
        )  # fmt: skip
        seq = note_event(db, place["id"], "look", {})
    ask.desk.wire.tell(place["id"], "look", {}, seq)
    return SeeOther(url=f"/stations/{place['id']}/screen")


@form("/stations/{station}/answer")
def answered(ask: Ask) -> Answer:
    """Staff answer a bell or a finding that waits at the station; who and why is kept."""
    said, why = ask.text("said", most=20), ask.text("why", most=500)
    if said not in ("again", "go-on", "accept", "done"):
        raise Refused(ask.words("Choose one of the buttons."))
    with ask.desk.lab.writing() as db:
        place = _place(ask, db)
        row = one(db, ASKED, ASKED.c.id == (ask.number("asked") or 0), ASKED.c.station_id == place["id"])
        if row is None:
            raise Refused(ask.words("There is no such question at this station."), status=404)
        answer(db, row["id"], ask.version, said=said, who=ask.who.name, why=why)
        seq = note_event(db, place["id"], "answer", {"asked": row["id"], "said": said})
    ask.desk.wire.tell(place["id"], "answer", {"asked": row["id"], "said": said}, seq)
    return SeeOther(url=f"/stations/{place['id']}/screen")


@page("/stations/{station}/guide.css")
def guide_css(ask: Ask) -> Answer:
    return Document(body=guide_style(), kind="text/css; charset=utf-8")


@page("/stations/{station}/guide")
def guide(ask: Ask) -> Answer:
    """The step list and training sheet, to print."""
    with ask.desk.lab.reading() as db:
        made = station_guide(db, _place(ask, db), ask.lang, lab=ask.desk.settings.lab)
    return Shown(template="station-guide.html", facts={"body": guide_body(made), "name": made.station})


@page("/stations/{station}/steps")
def steps_page(ask: Ask) -> Answer:
    return _steps(ask, ask.text("carrier", most=40))


def _steps(ask: Ask, carrier: str, *, sentence: str = "", status: int = 200) -> Answer:
    with ask.desk.lab.reading() as db:
        place = _place(ask, db)
        here = carriers_at(place["kind"])
        if not here:
            raise Refused(ask.words("No step list is known for a station of this kind."), status=404)
        carrier = carrier if carrier in here else here[0]
        lists = {lang: steps_at(db, place["id"], carrier, lang) for lang in LANGUAGES}
    facts = {
        "place": place, "carrier": carrier, "carriers": [(one, carrier_name(one, ask.lang)) for one in here],
        "rows": _given(ask) if sentence else _standing(lists),
        "editions": {lang: lists[lang].edition for lang in LANGUAGES},
        "drawings": sorted(DRAWINGS), "cautions": _caution_keys(), "sentence": sentence, "most": MOST_STEPS,
    }  # fmt: skip
    return Shown(template="station-steps-edit.html", facts=facts, status=status)


def _standing(lists: dict[str, Any]) -> list[dict[str, Any]]:
    most = max(len(one.steps) for one in lists.values())
    found = []
    for at in range(most):
        step = next(one.steps[at] for one in lists.values() if at < len(one.steps))
        text = {lang: one.steps[at].text if at < len(one.steps) else "" for lang, one in lists.items()}
        found.append({"text": text, "picture": step.picture, "caution": step.caution})
    nothing = {"text": dict.fromkeys(LANGUAGES, ""), "picture": "", "caution": ""}
    return found + [nothing] * min(SPARE, max(0, MOST_STEPS - most))


def _given(ask: Ask) -> list[dict[str, Any]]:
    """The rows as they were typed, in the order of their numbers."""
    found = []
    for at in range(MOST_STEPS + SPARE):
        if f"en-{at}" not in ask.given and f"zh-Hans-{at}" not in ask.given:
            continue
        place = ask.given.get(f"place-{at}", "").strip()
        found.append(
            {
                "text": {lang: ask.given.get(f"{lang}-{at}", "")[: LONGEST_STEP * 4] for lang in LANGUAGES},
                "picture": ask.given.get(f"picture-{at}", "")[:60],
                "caution": ask.given.get(f"caution-{at}", "")[:60],
                "place": (float(place) if place.replace(".", "", 1).isdigit() and len(place) < 6 else at + 1, at),
            }
        )
    return sorted(found, key=lambda row: row["place"])


@cache
def _caution_keys() -> list[str]:
    rows = load_rows()
    keys = (rows.section(f"guides.{name}").get("caution") for name in rows.names("guides") if name.startswith("steps."))
    return sorted({key for key in keys if key})


@form("/stations/{station}/steps", door="librarian")
def steps_kept(ask: Ask) -> Answer:
    """A new edition in both languages; earlier ones stay."""
    carrier, kept = ask.text("carrier", most=40), []
    for row in _given(ask):
        text = {lang: " ".join(row["text"][lang].split()) for lang in LANGUAGES}
        if not any(text.values()):
            continue
        if not all(text.values()):
            return _steps(ask, carrier, sentence=ask.words("Each step is wanted in both languages."), status=400)
        if max(map(len, text.values())) > LONGEST_STEP:
            sentence = ask.words("A step has %(most)d signs at most: say one thing.", most=LONGEST_STEP)
            return _steps(ask, carrier, sentence=sentence, status=400)
        picture = row["picture"] if row["picture"] in DRAWINGS else ""
        caution = row["caution"] if row["caution"] in _caution_keys() else ""
        kept.append({lang: Step(text=text[lang], picture=picture, caution=caution) for lang in LANGUAGES})
    if not kept:
        return _steps(ask, carrier, sentence=ask.words("A step list holds at least one step."), status=400)
    after = {lang: ask.number(f"after-{lang}") or 0 for lang in LANGUAGES}
    with ask.desk.lab.writing() as db:
        place = _place(ask, db)
        if carrier not in carriers_at(place["kind"]):
            raise Refused(ask.words("This station does not play that."))
        steps = {lang: [row[lang] for row in kept[:MOST_STEPS]] for lang in LANGUAGES}
        keep_steps(db, place["id"], carrier, steps, after, ask.who.name)
        seq = note_event(db, place["id"], "look", {})
    ask.desk.wire.tell(place["id"], "look", {}, seq)
    return SeeOther(url=f"/stations/{place['id']}/steps?carrier={carrier}")
