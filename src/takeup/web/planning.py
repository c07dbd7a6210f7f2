"""The plan of a box at the desk: this long, this much space, this drive, these visits, each with a link to book it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from urllib.parse import urlencode

from takeup.errors import NotPossible
from takeup.lab.agreements import person_of_box
from takeup.lab.places import stations
from takeup.lab.settings import setting
from takeup.plan.drives import enough_drive
from takeup.tables.loader import load_rows
from takeup.tasks.plan import plan, plan_answer
from takeup.web.ask import Answer, Ask, Shown
from takeup.web.boxes import box_of, folder_of, settings_of
from takeup.web.pages import page
from takeup.words.sentences import say


@page("/boxes/{box}/plan", door="box")
def plan_page(ask: Ask) -> Answer:
    """What the originals will take, honestly: the likely time and the nine-in-ten one."""
    row = box_of(ask)
    settings = settings_of(ask)
    folder = folder_of(ask, row)
    with ask.desk.lab.reading() as db:
        form = setting(db, "copies")[0].get("video")
    settings = settings if form is None else replace(settings, video_copy=form)
    try:
        made = plan(folder, settings)
        answer = plan_answer(made, ask.lang)
    except NotPossible as fault:
        sentence = say("faults", fault.key, ask.lang, fault.facts)
        return Shown(template="plan.html", facts={"box": row, "plan": None, "sentence": sentence}, status=400)
    carriers = {one.id: one.carrier for one in made.originals}
    with ask.desk.lab.reading() as db:
        kinds = [place["kind"] for place in stations(db)]
        person = person_of_box(db, row)
        own_drives = setting(db, "drives")[0]
    for visit in answer["visits"]:
        visit["kind"] = kind_for(carriers[visit["items"][0]], kinds)
        asked = {
            "kind": visit["kind"],
            "minutes": visit["minutes"],
            "brings": f"{row['number']}: {', '.join(visit['items'][:12])}",
            "person": person["id"] if person else "",
            "name": person["name"] if person else "",
        }
        visit["book"] = f"/visits/new?{urlencode(asked)}"
    planned = [one for one in answer["items"] if one["minutes_safe"]]
    likely = sum(one["minutes_likely"] for one in planned)
    safe = sum(visit["minutes"] for visit in answer["visits"])
    drive = enough_drive(own_drives, answer["drive"]["bytes"], fill_share=load_rows().value("storage.drive.fill_share"))
    facts = {
        "box": row,
        "own_drive": drive,
        "own_drives": bool(own_drives),
        "plan": answer,
        "sentence": "",
        "likely": likely,
        "safe": safe,
        "planned": planned,
    }
    return Shown(template="plan.html", facts=facts)


def kind_for(carrier: str, kinds: Sequence[str]) -> str:
    """The kind of station in this lab that plays a carrier; the plan's own word for it when the lab has none."""
    plays = load_rows().section("guides.stations")
    own = str(load_rows().value(f"carriers.{carrier}.station"))
    return next((kind for kind in kinds if kind == own or carrier in plays.get(kind, ())), own)
