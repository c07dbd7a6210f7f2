"""``takeup demo DIR``."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from takeup.cli.face import Face, faced

if TYPE_CHECKING:
    from takeup.tasks.demo import Shown


@click.command("demo", help="An invented family's box, with real and faulty media, through the whole job, in DIR.")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@faced
def command(face: Face, folder: Path) -> None:
    """Run the demo and tell what happened."""
    from takeup.tasks.demo import demo

    shown = demo(folder, face.settings, ears=face.ears)
    document = _document(face, shown)
    face.answer(document, _lines(face, shown, document))


def _document(face: Face, shown: Shown) -> dict[str, Any]:
    from takeup.tasks.reporting import box_answer

    checked = box_answer(shown.checked, face.lang)
    return {
        "folder": str(shown.folder),
        "box": str(shown.box),
        "page": str(shown.delivered.parcel / "data" / "open-me.html"),
        "receipt": str(shown.delivered.receipt),
        "intact": shown.intact,
        "captures": [
            {
                "file": file["file"],
                "item": file["item"],
                "verdict": file["verdict"],
                "findings": [finding["name"] for finding in file["findings"]],
                "why": [finding["why"] for finding in file["findings"] if finding["verdict"] == file["verdict"]],
            }
            for file in checked["files"]
        ],
        "unreadable": checked["unreadable"],
        "made": shown.made,
        "removed": shown.removed,
        "kept": shown.kept,
    }


def _lines(face: Face, shown: Shown, document: dict[str, Any]) -> Iterator[str]:
    captures = document["captures"]
    verdicts = Counter(capture["verdict"] for capture in captures)
    minutes = sum(visit.minutes for visit in shown.job.visits)
    yield face.words("demo.came", pieces=shown.pieces)
    yield face.words("demo.screened", **shown.outcomes)
    drive = shown.job.drive
    yield face.words("demo.planned", visits=len(shown.job.visits), hours=minutes / 60, bytes=drive.bytes)
    yield face.words("demo.taken", count=len(captures))
    yield face.words("demo.checked", **{name: verdicts[name] for name in ("good", "look", "redo")})
    yield face.words("demo.again")
    for capture in captures:
        if capture["verdict"] == "redo":
            yield face.words("demo.redo", file=Path(capture["file"]).name, why=capture["why"][0])
    yield face.words("demo.finished", made=shown.made, described=shown.described)
    delivered = shown.delivered
    yield face.words("demo.delivered", files=delivered.files, bytes=delivered.bytes, drive=str(delivered.drive))
    yield face.words("demo.intact" if shown.intact else "demo.not-intact", receipt=document["receipt"])
    yield face.words("demo.cleared", removed=document["removed"], kept=document["kept"])
    yield face.words("demo.show", box=document["box"])
    yield face.words("demo.open", page=document["page"])
