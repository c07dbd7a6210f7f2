"""``takeup box new`` and ``takeup box show``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from takeup.cli.face import Face, faced

if TYPE_CHECKING:
    from takeup.tasks.box_new import Started

SIGNS = ("screened", "captured", "checked", "finished", "described", "packed", "delivered", "cleared")


@click.group("box", help="Start a box from an item list, or show where every item stands.")
def command() -> None:
    """The two commands on a whole box."""


@command.command("new", help="Start a box in the folder BOX from an item list, or bring its list up to date.")
@click.argument("box", type=click.Path(path_type=Path))
@click.option("--items", required=True, type=click.Path(path_type=Path), help="The item list (CSV, UTF-8).")
@click.option("--title", default="", help="What the letter calls the box; the folder's name unless told.")
@faced
def new(face: Face, box: Path, items: Path, title: str) -> None:
    """Start or update a box."""
    from takeup.tasks.box_new import box_new

    started = box_new(box, items, face.settings, title=title)
    document = {
        "box": str(started.box.folder),
        "new": started.new,
        "items": [original.id for original in started.box.originals()],
        "pieces": started.pieces,
        "added": list(started.added),
        "changed": list(started.changed),
        "unlisted": list(started.unlisted),
    }
    face.answer(document, _started_lines(face, started))


def _started_lines(face: Face, started: Started) -> Iterator[str]:
    path = str(started.box.folder)
    count = len(started.added) + len(started.changed) + len(started.same) + len(started.unlisted)
    facts = {"path": path, "items": count, "pieces": started.pieces}
    if started.new:
        yield face.words("box.started", **facts)
    else:
        yield face.words("box.updated", **facts, added=len(started.added), changed=len(started.changed))
    if started.unlisted:
        yield face.words("box.unlisted", items=list(started.unlisted))
    yield face.words("box.next-screen", path=path)


@command.command("show", help="Where every item of the box stands, what is next, what holds it up.")
@click.argument("box", type=click.Path(path_type=Path))
@faced
def show(face: Face, box: Path) -> None:
    """Show a box."""
    from takeup.tasks.box_show import box_show, show_answer

    folder, standing = box_show(box, face.settings)
    document = show_answer(folder, standing, face.lang)
    face.answer(document, _show_lines(face, document))


def _show_lines(face: Face, document: dict[str, Any]) -> Iterator[str]:
    items = document["items"]
    yield face.words("show.head", path=document["box"], items=len(items), pieces=document["pieces"])
    width = max((len(item["id"]) for item in items), default=2)
    for item in items:
        done = [face.words(f"step.{sign}") for sign in SIGNS if item[sign]]
        following = [face.words("show.item-next", step=face.words(f"next.{item['next']}"))] if item["next"] else []
        yield f"  {item['id']:<{width}}  " + " · ".join([*done, *following])
        for hold in item["held_up_by"]:
            yield f"  {'':<{width}}    {hold}"
    yield from document["held_up_by"]
    if document["next"] is None:
        yield face.words("show.all-done")
    elif document["next"] == "capture again":
        yield face.words("show.next", command=face.words("next.capture again"))
    else:
        yield face.words("show.next", command=f"takeup {document['next']} {document['box']}")
