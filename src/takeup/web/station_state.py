"""What a station's screen shows now, read anew each time: a screen that slept or lost the network is right at once."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from markupsafe import Markup

from takeup.lab.live import findings_of
from takeup.lab.places import station
from takeup.lab.sittings import (
    WARN_MINUTES,
    captures_since,
    last_event,
    minutes_left,
    newest_capture,
    sitting_now,
    waiting_for_others,
    waiting_here,
)
from takeup.pages.drawings import drawing
from takeup.pages.guide import Stepped, carrier_name
from takeup.pages.live_thread import live_thread
from takeup.pages.reels import reel_for, reels
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.arriving import can_be_played, outline_of_report
from takeup.tasks.at_station import BEFORE_S, expected, originals_here, parts_of
from takeup.tasks.guide import steps_at, told_caution
from takeup.web.ask import Ask
from takeup.web.coming import come_of
from takeup.web.speech import LANGUAGES, speaker
from takeup.words.units import clock

MOST_SHOWN = 6  # findings told in words; the rest are knots on the thread and a count
FIRST_SENTENCE = re.compile(r"^.*?(?:[.](?=\s+[A-Z])|。|[.]$)", re.S)
FRESH_S = 180.0  # what is worth a look is the screen's one sentence for so long, then a knot and a line below
VOLUME = 40  # per cent, until staff set another


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """Sentences of one thing in both languages: the first one large, the rest folded, what to do."""

    first: Markup
    rest: Markup
    do: Markup


def both(lang: str) -> Callable[..., Markup]:
    """``words("English %(x)s", x=1)`` in both languages, the chosen one first: for screens that show both at once."""
    tongues = [(name, speaker(name)) for name in sorted(LANGUAGES, key=lambda name: name != lang)]

    def words(text: str, **facts: object) -> Markup:
        return pair(lang, {name: say(text, **facts) for name, say in tongues})

    return words


def pair(lang: str, texts: Mapping[str, str]) -> Markup:
    """The same in both languages as two runs, each marked with its own."""
    own = Markup('<span class="own" lang="{}">{}</span>').format(lang, texts.get(lang, ""))
    others = [
        Markup(' <span class="other" lang="{}">{}</span>').format(name, text)
        for name, text in texts.items()
        if name != lang and text
    ]
    return own + Markup("").join(others)


def told(lang: str, words: Mapping[str, Any]) -> Told:
    """A finding's or notice's sentences, cut after the first."""
    why = {name: str((words.get(name) or {}).get("why") or "") for name in LANGUAGES}
    do = {name: str((words.get(name) or {}).get("do") or "") for name in LANGUAGES}
    heads = {name: (match[0] if (match := FIRST_SENTENCE.match(text)) else text) for name, text in why.items()}
    rest = {name: why[name][len(heads[name]) :].strip() for name in why}
    return Told(first=pair(lang, heads), rest=pair(lang, rest) if any(rest.values()) else Markup(""), do=pair(lang, do))


def look_of(place: Mapping[str, Any]) -> dict[str, Any]:
    """How the screen looks and sounds, as staff set it for this station."""
    kept = place["screen_look"] or {}
    return {"dim": bool(kept.get("dim")), "volume": int(kept.get("volume", VOLUME)), "px": int(kept.get("px") or 0)}


def state_of(ask: Ask) -> dict[str, Any]:
    """Everything the screen's templates need."""
    station_id = ask.who.station_id or ""
    with ask.desk.lab.reading() as db:
        place = station(db, station_id)
        if place is None:
            return {"place": None}
        sitting = sitting_now(db, station_id)
        box_id = sitting["box_id"] if sitting else None
        waiting = waiting_here(db, station_id, box_id)
        others = waiting_for_others(db, station_id, box_id)
        capture = newest_capture(db, station_id, sitting) if sitting else None
        found = findings_of(db, capture["id"]) if capture else []
        seq = last_event(db, station_id)
        scans = captures_since(db, sitting) if sitting else 0
        originals = _originals(ask, sitting, place)
        original = next((one for one in originals if sitting and one.id == sitting["item"]), None)
        tongues = {name: steps_at(db, station_id, original.carrier, name) for name in LANGUAGES} if original else {}
    if capture and not _is_shown(capture, sitting):
        capture, found = None, []
    left_min = minutes_left(sitting) if sitting else 0.0
    facts = {
        "ending": max(1, round(left_min)) if sitting and left_min <= WARN_MINUTES else 0,
        "scans": scans, "place": place, "name": place["name_zh" if ask.lang == "zh-Hans" else "name_en"] or place["id"],
        "look": look_of(place), "sitting": sitting, "others": others, "seq": seq, "original": original,
        "originals": [_choice(one, ask.lang) for one in originals], "words": both(ask.lang),
        "bell": next((row for row in waiting if row["kind"] == "bell"), None),
        "redo": [_question(row, ask.lang) for row in waiting if row["kind"] == "finding"],
    }  # fmt: skip
    if original is not None:
        facts |= {"carrier": carrier_name(original.carrier, ask.lang), "parts": parts_of(original)}
    facts["view"] = _view(ask, facts, capture, tongues.get(ask.lang))
    facts |= _steps_facts(tongues, sitting, ask.lang) | _live_facts(ask, capture, found, original, facts["redo"])
    return facts


def _originals(ask: Ask, sitting: Mapping[str, Any] | None, place: Mapping[str, Any]) -> list[Original]:
    folder = ask.desk.boxes / sitting["folder"] if sitting else None
    if folder is None or not folder.is_dir():
        return []
    return originals_here(folder, place["kind"], ask.desk.settings)


def _choice(original: Original, lang: str) -> dict[str, Any]:
    return {
        "id": original.id, "label": original.label, "parts": parts_of(original),
        "carrier": carrier_name(original.carrier, lang),
    }  # fmt: skip


def _is_shown(capture: Mapping[str, Any], sitting: Mapping[str, Any] | None) -> bool:
    """Whether the newest capture is the one in hand: it grows now, or it began after this original was chosen."""
    return capture["state"] == "growing" or (
        sitting is not None
        and capture["begun_at"] >= sitting["chosen_at"]
        and capture["item"] in ("", sitting["item"])
        and capture["part"] in ("", sitting["part"])
    )


def _view(ask: Ask, facts: Mapping[str, Any], capture: Any, steps: Stepped | None) -> str:
    """Which page: a question that waits comes before everything else."""
    if not facts["sitting"]:
        return "begin"
    if facts["redo"]:
        return "live"
    wanted = ask.given.get("view", "")
    if wanted == "choose" or facts["original"] is None:
        return "choose"
    if wanted == "steps" and steps and steps.steps:
        return "steps"
    if capture is not None or steps is None or facts["sitting"]["step"] >= len(steps.steps):
        return "live"
    return "steps"


def _steps_facts(tongues: Mapping[str, Stepped], sitting: Any, lang: str) -> dict[str, Any]:
    """The step in hand, in both languages; the chosen one alone where the other has another number of steps."""
    steps = tongues.get(lang)
    if steps is None or not steps.steps:
        return {"step": None, "steps": 0}
    at = min(max(sitting["step"], 0), len(steps.steps) - 1)
    here = {name: one.steps[at] for name, one in tongues.items() if len(one.steps) == len(steps.steps)}
    cautions = {name: told_caution(step.caution, name) for name, step in here.items()}
    return {
        "step": steps.steps[at],
        "at": at,
        "steps": len(steps.steps),
        "step_said": pair(lang, {name: step.text for name, step in here.items()}),
        "drawn": Markup(drawing(steps.steps[at].picture)) if steps.steps[at].picture else "",
        "caution": pair(lang, cautions) if cautions[lang] else "",
    }


def _question(row: Mapping[str, Any], lang: str) -> dict[str, Any]:
    facts = row["facts"] or {}
    finding = facts.get("finding") or {}
    at_s = finding.get("from_s")
    return {
        "id": row["id"], "key": row["key"], "version": row["version"], "at_s": at_s,
        "capture": row["capture_id"], "from": clock(max(0.0, at_s - BEFORE_S)) if at_s is not None else "",
        "told": told(lang, facts.get("words") or {}), "drawn": drawn_for(str(finding.get("name") or "")),
    }  # fmt: skip


@cache
def drawn_for(finding: str) -> Markup:
    """The drawing of the step that keeps such a finding away; nothing when no step does."""
    rows = load_rows()
    for name in rows.names("guides"):
        if name.startswith("steps.") and finding in rows.section(f"guides.{name}").get("finds", ()):
            return Markup(drawing(rows.value(f"guides.{name}.picture")))
    return Markup("")


def _live_facts(
    ask: Ask, capture: Any, found: list[dict[str, Any]], original: Original | None, asked: list[dict[str, Any]]
) -> dict[str, Any]:
    """The capture in hand: reels, thread, times, what was found."""
    outlines = getattr(ask.desk.wire, "outlines", None)
    step_s, heights, heard_s = outlines.of(capture["id"]) if capture and outlines else (0.5, [], 0.0)
    if capture and not heights and (kept := capture["facts"].get("outline")):
        step_s, heights = kept["step_s"], kept["heights"]
    if capture and not heights and (ended := outline_of_report(capture)):
        step_s, heights = ended.step_s, ended.heights
    seconds = max(float(capture["seconds"] or 0.0), heard_s) if capture else 0.0
    whole_s, assumed = expected(original) if original else (0.0, True)
    grave = [one for one in found if one["finding"]["verdict"] in ("look", "redo")]
    first = {one["key"] for one in asked[:1]}  # it stands above, large
    order = sorted(
        [one for one in grave if one.get("key") not in first],
        key=lambda one: (one["finding"]["verdict"] != "redo", -_place_s(one)),
    )
    news = [one for one in order if one["finding"]["verdict"] == "look" and _place_s(one) > seconds - FRESH_S]
    reel = reel_for(original.carrier, whole_s, load_rows()) if original and whole_s else None
    come = come_of(ask, capture) if capture and not capture["stored"] else None
    knots = [(one["finding"]["verdict"], _place_s(one)) for one in grave]
    moving = bool(whole_s)
    return {
        "capture": capture, "seconds": seconds, "whole_s": whole_s, "assumed": assumed, "moving": moving,
        "left_min": max(0, round((whole_s - seconds) / 60)), "clock_now": clock(seconds),
        "growing": bool(capture) and capture["state"] == "growing",
        "levels": _levels(ask, capture),
        "reels": Markup(reels(reel, seconds, whole_s)) if reel else "",
        "thread": Markup(
            live_thread(seconds=seconds, whole_s=whole_s, knots=knots, heights=heights, step_s=step_s)
        ) if moving else "",
        "fresh": _found(news[0], ask.lang) if news else None,
        "found": [_found(one, ask.lang) for one in order[:MOST_SHOWN]],
        "playable": lambda at_s: bool(capture and capture["stored"]) or can_be_played(come, at_s),
        "more": max(0, len(order) - MOST_SHOWN), "grave": len(grave),
        "medium": load_rows().value(f"carriers.{original.carrier}.medium") if original else "",
    }  # fmt: skip


def _place_s(one: Mapping[str, Any]) -> float:
    return float(one["finding"].get("from_s") or 0.0)


def _levels(ask: Ask, capture: Any) -> Mapping[str, Any]:
    """The last meters told of this capture."""
    last = ask.desk.wire.levels.get(ask.who.station_id or "") or {}
    if capture and last.get("capture", capture["id"]) == capture["id"] and last.get("levels"):
        return dict(last["levels"])
    return dict((capture["facts"] if capture else {}).get("levels") or {})


def _found(one: Mapping[str, Any], lang: str) -> dict[str, Any]:
    finding = one["finding"]
    at_s = finding.get("from_s")
    return {
        "verdict": finding["verdict"], "at": clock(at_s) if at_s is not None else "", "at_s": at_s,
        "told": told(lang, one.get("words") or {}), "drawn": drawn_for(finding["name"]),
    }  # fmt: skip
