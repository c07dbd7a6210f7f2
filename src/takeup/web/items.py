"""The originals of a box: entered a line at a time, in rows, or pasted; changed, taken off again."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from takeup.errors import NotPossible
from takeup.lab.photos import photos_of, rename_photos
from takeup.plan.quick_lines import COLUMNS, Entry, carrier_of, read_line, read_paste
from takeup.tables.loader import load_rows
from takeup.tasks.box_items import Line, bring_back, change_item, enter, line_of, listed, withdraw
from takeup.web.ask import Answer, Ask, Refused, SeeOther, Shown, Told
from takeup.web.boxes import box_of, folder_of, settings_of
from takeup.web.pages import form, page
from takeup.words.sentences import say

FIRST, MORE = COLUMNS[:8], COLUMNS[8:]  # in the rows of the page; behind "more"
ROWS = 4
MOST_PASTE = 400_000  # signs
CHOICES = {
    "sides": ("1", "2"),
    "system": ("ntsc", "pal", "secam"),
    "sound": ("hifi", "linear", "stripe", "optical", "none"),
    "frame": ("35", "half", "126", "110", "120"),
    "keep": ("both", "copy", "master"),
}


@page("/boxes/{box}/items", door="box")
def items(ask: Ask) -> Answer:
    return _shown(ask, box_of(ask))


def _shown(ask: Ask, row: dict[str, Any], *, status: int = 200, **kept: Any) -> Answer:
    """The list and its forms; ``kept``: what was typed and not taken."""
    folder = folder_of(ask, row)
    lines = listed(folder, settings_of(ask))
    with ask.desk.lab.reading() as db:
        pictures: dict[str, int] = {}
        for picture in photos_of(db, row["id"]):
            pictures[picture["item"]] = picture["id"]
    names = {line.original.id for line in lines}
    added = [name for name in ask.text("added", most=500).split(",") if name in names] if not kept else []
    facts = {
        "box": row,
        "lines": lines,
        "pictures": pictures,
        "letters": load_rows().section("intake.letter"),
        "first": FIRST,
        "added": [line for line in lines if line.original.id in added],
        "off": _taken_off(ask, folder),
        "as_": ask.text("as", most=20) if not kept else kept.get("as_", ""),
        "line": "",
        "paste": "",
        "rows": [],
        "wrong": [],
        "sentence": "",
        "blank_rows": ROWS,
    }
    return Shown(template="items.html", facts=facts | kept, status=status)


def _taken_off(ask: Ask, folder: Any) -> str:
    """The id of the line that was taken off a moment ago, so that it can be brought back."""
    name = ask.text("off", most=40)
    off = listed(folder, ask.desk.settings, withdrawn=True) if name else []
    return name if any(line.original.id == name for line in off) else ""


@form("/boxes/{box}/items", door="box")
def entered(ask: Ask) -> Answer:
    """Lines put on the list: all of them, or none and what is wrong with which."""
    row = box_of(ask)
    kept = {"as_": ask.given.get("carrier_as", "")[:20]}
    try:
        entries, typed = _entries(ask)
    except Refused as no:
        return _shown(ask, row, status=400, sentence=no.sentence, **_typed(ask), **kept)
    if not entries:
        sentence = ask.words("There is nothing to enter yet. Type a line, for example: v wedding 1987 120")
        return _shown(ask, row, status=400, sentence=sentence, **typed, **kept)
    done = enter(folder_of(ask, row), entries, settings_of(ask))
    if done.wrong:
        wrong = [(one.typed[:120], say("faults", one.fault.key, ask.lang, one.fault.facts)) for one in done.wrong]
        sentence = ask.words("Nothing was entered yet: mend what is named here, then send it again.")
        return _shown(ask, row, status=400, sentence=sentence, wrong=wrong, **typed, **kept)
    shown = quote(",".join(done.added[:40]))
    chosen = f"&as={quote(kept['as_'])}" if carrier_of(kept["as_"], load_rows()) else ""
    return SeeOther(url=f"/boxes/{row['number']}/items?added={shown}{chosen}")


def _typed(ask: Ask) -> dict[str, Any]:
    """Everything that was typed, as the form shows it again."""
    paste = ask.given.get("paste", "")[:MOST_PASTE]
    return {"line": ask.given.get("line", "")[:2000], "paste": paste, "rows": _rows(ask)}


def _rows(ask: Ask) -> list[dict[str, str]]:
    columns = {name: ask.lists.get(f"row_{name}", []) for name in FIRST}
    count = min(200, max((len(values) for values in columns.values()), default=0))
    whole = {name: [*values, *[""] * (count - len(values))] for name, values in columns.items()}
    return [{name: _plain(values[n])[:600] for name, values in whole.items()} for n in range(count)]


def _plain(text: str) -> str:
    """As typed, without what cannot be seen; tabs and line ends are kept: a spreadsheet's cells stand between them."""
    return "".join(sign for sign in text if sign.isprintable() or sign in "\n\t\u200c\u200d").strip("\n ")


def _entries(ask: Ask) -> tuple[list[Entry], dict[str, Any]]:
    """The lines of whichever form was sent, and what was typed."""
    rows = load_rows()
    how, typed = ask.given.get("how", "line"), _typed(ask)
    if how == "paste":
        if len(ask.given.get("paste", "")) > MOST_PASTE:
            raise Refused(ask.words("This is more than one box holds. Paste it in parts."))
        return list(read_paste(_plain(typed["paste"]), rows).lines), typed
    if how == "rows":
        filled = [(n, row) for n, row in enumerate(typed["rows"], 1) if any(row.values())]
        return [_row_entry(n, row) for n, row in filled], typed
    line = ask.text("line", most=1000)
    if "\n" in line or "\t" in line:  # a spreadsheet pasted into the line
        return list(read_paste(line, rows).lines), typed | {"line": "", "paste": line}
    chosen = carrier_of(ask.given.get("carrier_as", ""), rows)
    return read_line(f"{chosen} {line}" if chosen else line, rows), typed


def _row_entry(n: int, row: dict[str, str]) -> Entry:
    shown = " ".join(value for value in row.values() if value)
    columns = {name: value for name, value in row.items() if value}
    found = carrier_of(columns.get("carrier", ""), load_rows())
    return Entry(columns=columns | ({"carrier": found} if found else {}), line=n, typed=shown)


@page("/boxes/{box}/read-line", door="box")
def read(ask: Ask) -> Answer:
    """How a line would be read, while it is being typed."""
    rows = load_rows()
    line, chosen = ask.text("line", most=1000), carrier_of(ask.text("as", most=20), rows)
    found = read_line(f"{chosen} {line}" if chosen else line, rows) if line or chosen else []
    if not found:
        return Told(facts={"said": ""})
    columns = found[0].columns
    carrier = columns.get("carrier", "")
    if not carrier_of(carrier, rows):
        said = ask.words("Begin with a letter or choose a picture; for anything else begin with o.")
        return Told(facts={"said": said})
    parts = [say("terms", f"carrier.{carrier}", ask.lang)]
    parts += [f"“{columns['label']}”"] if "label" in columns else []
    parts += [f"{_named(ask)[name]}: {value}" for name, value in columns.items() if name not in ("carrier", "label")]
    many = [f"{len(found)} ×"] if len(found) > 1 else []
    return Told(facts={"said": " · ".join([*many, *parts])})


def _named(ask: Ask) -> dict[str, str]:
    """The columns as people call them."""
    return {
        "id": ask.words("Id"),
        "carrier": ask.words("What it is"),
        "label": ask.words("Written on it"),
        "minutes": ask.words("Minutes, all sides"),
        "feet": ask.words("Feet (or 7in)"),
        "count": ask.words("Pieces"),
        "condition": ask.words("Condition"),
        "notes": ask.words("Notes"),
        "sides": ask.words("Sides"),
        "speed": ask.words("Speed"),
        "system": ask.words("Colour system"),
        "sound": ask.words("Sound"),
        "frame": ask.words("Frame"),
        "reduction": ask.words("Reduction"),
        "keep": ask.words("To keep"),
    }


@page("/boxes/{box}/items/{item}", door="box")
def item(ask: Ask) -> Answer:
    return item_page(ask, box_of(ask))


def item_page(ask: Ask, row: dict[str, Any], *, status: int = 200, sentence: str = "", typed: Any = None) -> Answer:
    try:
        line = line_of(folder_of(ask, row), ask.parts["item"], settings_of(ask))
    except NotPossible as fault:
        raise Refused(say("faults", fault.key, ask.lang, fault.facts), status=404) from fault
    with ask.desk.lab.reading() as db:
        pictures = photos_of(db, row["id"], line.original.id)
    facts = {
        "box": row,
        "line": line,
        "values": typed if typed is not None else dict(line.columns),
        "named": _named(ask),
        "first": FIRST,
        "more": MORE,
        "choices": CHOICES,
        "more_open": bool(sentence) or any(line.columns[name] not in ("", "both") for name in MORE),
        "own": [name for name in line.columns if name not in COLUMNS],
        "letters": load_rows().section("intake.letter"),
        "pictures": pictures,
        "sentence": sentence,
        "differs": _differs(line, typed),
        "saved": ask.given.get("saved", "") == "yes" and typed is None,
    }
    return Shown(template="item.html", facts=facts, status=status)


def _differs(line: Line, typed: Any) -> dict[str, str]:
    """What stands now, where it is not what was typed."""
    return {name: value for name, value in line.columns.items() if typed is not None and typed.get(name, "") != value}


@form("/boxes/{box}/items/{item}", door="box")
def changed(ask: Ask) -> Answer:
    """A line changed; nothing is overwritten when somebody else changed it meanwhile."""
    row = box_of(ask)
    folder = folder_of(ask, row)
    own = [name.removeprefix("own_") for name in ask.given if name.startswith("own_")][:40]
    typed = {name: _plain(ask.given.get(name, ""))[:2000] for name in COLUMNS}
    typed |= {name: _plain(ask.given.get(f"own_{name}", ""))[:2000] for name in own}
    known = carrier_of(typed["carrier"], load_rows())
    columns = typed | ({"carrier": known} if known else {})
    try:
        old = line_of(folder, ask.parts["item"], settings_of(ask)).original.id
        new = change_item(folder, old, ask.version or 0, columns, settings_of(ask))
    except NotPossible as fault:
        stale = fault.key == "items.changed-meanwhile"
        if fault.key == "items.no-such-item":
            raise Refused(say("faults", fault.key, ask.lang, fault.facts), status=404) from fault
        said = say("faults", fault.key, ask.lang, fault.facts)
        return item_page(ask, row, status=409 if stale else 400, sentence=said, typed=typed)
    if new != old:
        with ask.desk.lab.writing() as db:
            rename_photos(db, row["id"], old, new)
    return SeeOther(url=f"/boxes/{row['number']}/items/{quote(new)}?saved=yes")


@page("/boxes/{box}/items/{item}/off", door="box")
@page("/boxes/{box}/items/{item}/photo", door="box")
def back_to_item(ask: Ask) -> Answer:
    """An address of a form, opened by hand or by a change of language: to the page that has the form."""
    return SeeOther(url=f"/boxes/{box_of(ask)['number']}/items/{quote(ask.parts['item'])}")


@form("/boxes/{box}/items/{item}/off", door="box")
def taken_off(ask: Ask) -> Answer:
    """A line taken off the list again; it can be brought back."""
    row, name = box_of(ask), ask.parts["item"]
    try:
        withdraw(folder_of(ask, row), name, ask.version or 0, settings_of(ask))
    except NotPossible as fault:
        status = 409 if fault.key == "items.changed-meanwhile" else 400
        return item_page(ask, row, status=status, sentence=say("faults", fault.key, ask.lang, fault.facts))
    return SeeOther(url=f"/boxes/{row['number']}/items?off={quote(name)}")


@form("/boxes/{box}/items/{item}/back", door="box")
def brought_back(ask: Ask) -> Answer:
    row, name = box_of(ask), ask.parts["item"]
    bring_back(folder_of(ask, row), name, settings_of(ask))
    return SeeOther(url=f"/boxes/{row['number']}/items?added={quote(name)}")
