"""Screening at the desk: three questions with pictures for each original, the outcome, what staff decide upon it."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from takeup.box.folder import look_into
from takeup.errors import NotPossible
from takeup.judge.screening import NOT_CONDITIONS, judge_original
from takeup.tables.loader import load_rows
from takeup.tasks.box_items import Line, add_conditions, line_of, listed
from takeup.tasks.box_show import box_show
from takeup.tasks.decide import DECISIONS, decide, decision_of
from takeup.tasks.screen import screen, worded
from takeup.web.answers import STATIC
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown
from takeup.web.boxes import box_of, folder_of, settings_of
from takeup.web.pages import form, page
from takeup.words.sentences import say

ANSWERS = ("no", "yes", "unsure")
FIGURES = ("shrunk", "acid")


@page("/boxes/{box}/screening", door="box")
def screening(ask: Ask) -> Answer:
    """Which originals have been looked at, and what was said of them."""
    row = box_of(ask)
    folder = folder_of(ask, row)
    _, standing = box_show(folder, settings_of(ask))
    unseen = [one.original.id for one in standing.items if not one.outcome]
    return Shown(template="screening.html", facts={"box": row, "items": standing.items, "unseen": unseen})


@page("/boxes/{box}/screening/{item}", door="box")
def questions(ask: Ask) -> Answer:
    return _shown(ask, box_of(ask))


def _shown(ask: Ask, row: dict[str, Any], *, sentence: str = "", status: int = 200) -> Answer:
    folder, settings = folder_of(ask, row), settings_of(ask)
    line = _line(ask, folder)
    box = look_into(folder, settings)
    rows = load_rows()
    kind = str(rows.value(f"screening.kinds.{line.original.carrier}"))
    asked = _asked_of(kind)
    seen = box.record.latest("screened", line.original.id)
    told = worded(judge_original(line.original, rows), ask.lang) if seen else None
    facts = {
        "box": row,
        "line": line,
        "questions": [_question(word, kind, line, ask, bool(seen)) for word in asked],
        "others": _others(kind, asked, line),
        "figures": {name: _figure(line, name) for name in FIGURES if f"screening.{name}.{kind}" in rows},
        "told": told,
        "decision": decision_of(box, line.original.id),
        "decisions": DECISIONS,
        "next": _next(listed(folder, settings), {fact.item for fact in box.record.latest("screened")}, line),
        "sentence": sentence,
        "given": ask.given if sentence else {},
    }
    return Shown(template="screening-item.html", facts=facts, status=status)


def _asked_of(kind: str) -> list[str]:
    """The condition words that are asked about; none of what is born here and has no body to look at."""
    row = load_rows().get(f"intake.question.{kind}")
    return list(row.value) if row else []


def _line(ask: Ask, folder: Any) -> Line:
    try:
        return line_of(folder, ask.parts["item"], settings_of(ask))
    except NotPossible as fault:
        raise Refused(say("faults", fault.key, ask.lang, fault.facts), status=404) from fault


def _question(word: str, kind: str, line: Line, ask: Ask, seen: bool) -> dict[str, str]:
    key = f"{word}.{kind}"
    named = next(
        name for name in (f"look-{word}-{kind}", f"look-{word}") if (STATIC / "drawn" / f"{name}.svg").is_file()
    )
    answer = ask.given.get(f"q_{word}", "") or _standing(word, line, seen)
    return {
        "word": word,
        "picture": f"/static/drawn/{named}.svg",
        "text": say("questions", key, ask.lang),
        "do": say("questions", key, ask.lang, part="do"),
        "answer": answer if answer in ANSWERS else "",
    }


def _standing(word: str, line: Line, seen: bool) -> str:
    """The answer that the list holds already."""
    if word in line.original.condition:
        return "yes"
    if f"{word}?" in line.original.condition:
        return "unsure"
    return "no" if seen else ""


def _others(kind: str, asked: list[str], line: Line) -> list[tuple[str, bool]]:
    """The other conditions that screening knows for this kind, and whether they are noted."""
    rows = load_rows()
    words = [key.split(".")[1] for key in rows if key.startswith("screening.") and key.endswith(f".{kind}")]
    known = [word for word in dict.fromkeys(words) if word not in (*asked, *FIGURES, *NOT_CONDITIONS)]
    return [(word, word in line.original.condition) for word in known]


def _figure(line: Line, name: str) -> str:
    return next((word.partition("=")[2] for word in line.original.condition if word.startswith(f"{name}=")), "")


def _next(lines: list[Line], seen: set[str], line: Line) -> str:
    """The next original that nobody looked at yet, after this one and round."""
    names = [one.original.id for one in lines]
    place = names.index(line.original.id) if line.original.id in names else 0
    return next((name for name in names[place + 1 :] + names[:place] if name not in seen), "")


@form("/boxes/{box}/screening/{item}", door="box")
def looked_at(ask: Ask) -> Answer:
    """The answers noted, the original screened; the page then says what is done with it."""
    row = box_of(ask)
    folder, settings, rows = folder_of(ask, row), settings_of(ask), load_rows()
    line = _line(ask, folder)
    kind = str(rows.value(f"screening.kinds.{line.original.carrier}"))
    asked = _asked_of(kind)
    answers = {word: ask.given.get(f"q_{word}", "") for word in asked}
    if any(answer not in ANSWERS for answer in answers.values()):
        sentence = ask.words("Please answer each of the three questions; “not sure” is an answer.")
        return _shown(ask, row, sentence=sentence, status=400)
    known = [word for word, _ in _others(kind, asked, line)]
    noted = [word for word in ask.lists.get("other", []) if word in known]
    words = [word if answer == "yes" else f"{word}?" for word, answer in answers.items() if answer != "no"]
    figures = [name for name in FIGURES if f"screening.{name}.{kind}" in rows]
    try:
        words += [f"{name}={value}" for name in figures if (value := ask.text(name, most=20))]
        add_conditions(folder, line.original.id, [*words, *noted], [*asked, *known, *figures], settings)
        screen(folder, settings, only=line.original.id)
    except Refused as no:
        return _shown(ask, row, sentence=no.sentence, status=400)
    except NotPossible as fault:
        sentence = say("faults", fault.key, ask.lang, fault.facts)
        return _shown(ask, row, sentence=sentence, status=409 if fault.key == "items.changed-meanwhile" else 400)
    return SeeOther(url=f"/boxes/{row['number']}/screening/{quote(line.original.id)}#outcome")


@page("/boxes/{box}/screening/{item}/decide")
def back_to_questions(ask: Ask) -> Answer:
    """An address of a form, opened by hand or by a change of language: to the page that has the form."""
    return SeeOther(url=f"/boxes/{box_of(ask)['number']}/screening/{quote(ask.parts['item'])}")


@form("/boxes/{box}/screening/{item}/decide", door="staff")
def decided(ask: Ask) -> Answer:
    """Staff decide; who, what and why is kept in the box."""
    row = box_of(ask)
    folder = folder_of(ask, row)
    line = _line(ask, folder)
    try:
        decide(folder, line.original.id, ask.given.get("outcome", ""), ask.text("why", most=300), settings_of(ask))
    except Refused as no:
        return _shown(ask, row, sentence=no.sentence, status=400)
    except NotPossible as fault:
        return _shown(ask, row, sentence=say("faults", fault.key, ask.lang, fault.facts), status=400)
    return SeeOther(url=f"/boxes/{row['number']}/screening/{quote(line.original.id)}#decision")
