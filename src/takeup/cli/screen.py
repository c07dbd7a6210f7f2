"""``takeup screen``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from takeup.cli.face import Face, faced


@click.command("screen", help="Accept, prepare first, ask staff or refuse, item by item, with why and what to do.")
@click.argument("target", metavar="BOX|ITEMS.CSV", type=click.Path(path_type=Path))
@faced
def command(face: Face, target: Path) -> None:
    """Screen a box or an item list."""
    from takeup.tasks.screen import screen, worded

    items = [worded(screening, face.lang) for screening in screen(target, face.settings)]
    face.answer({"items": items}, _lines(face, items))


def _lines(face: Face, items: list[dict[str, Any]]) -> Iterator[str]:
    for item in items:
        yield f"{item['id']}: {face.words('outcome.' + item['outcome'])}"
        yield from (f"    {sentence}" for sentence in item["why"])
        yield from (f"    > {sentence}" for sentence in item["do"])
        if item["outcome"] != "accept":
            yield "    " + face.words("screen.source", source=item["source"])
    for caution in dict.fromkeys(caution for item in items for caution in item["cautions"]):
        yield face.words("screen.caution", caution=caution)
    counts = {name: sum(item["outcome"] == name for item in items) for name in ("accept", "prepare", "ask", "refuse")}
    yield face.words("screen.totals", **counts)
