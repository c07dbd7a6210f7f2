"""``takeup clear BOX``."""

from __future__ import annotations

from pathlib import Path

import click

from takeup.cli.face import Face, faced


@click.command("clear", help="Remove the station's files, only under a receipt for every one of them.")
@click.argument("box", type=click.Path(path_type=Path))
@faced
def command(face: Face, box: Path) -> None:
    from takeup.tasks.clear import clear

    done = clear(box, settings=face.settings, ears=face.ears)
    document = {
        "removed": [shown(path) for path in done.removed],
        "kept": [
            {"file": shown(one.file), "why": face.words(f"clear.kept.{one.why}", **one.facts)} for one in done.kept
        ],
    }
    said = [face.words("clear.removed", count=len(done.removed))]
    said += [f"{one['file']}: {one['why']}" for one in document["kept"]]
    face.answer(document, said)


def shown(path: Path) -> str:
    """A path as it can be printed: bytes that are no text become question marks."""
    return str(path).encode("utf-8", "surrogateescape").decode("utf-8", "replace")
