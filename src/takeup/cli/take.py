"""``takeup take BOX PATH...``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from takeup.cli.face import Face, faced
from takeup.words.sentences import say

if TYPE_CHECKING:
    from takeup.tasks.take import Answer


@click.command(
    "take", help="Take captures into a box: files, or a station's folder. The station's files stay as they are."
)
@click.argument("box", type=click.Path(path_type=Path))
@click.argument("paths", metavar="PATH...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--item", default="", help="The item of all these files; otherwise each file's name tells.")
@faced
def command(face: Face, box: Path, paths: tuple[Path, ...], item: str) -> None:
    from takeup.tables.loader import load_rows
    from takeup.tasks.take import take

    answer = take(box, paths, rows=load_rows(), settings=face.settings, item=item, ears=face.ears)
    document = take_document(answer, face.lang)
    face.answer(document, lines(face, document))


def take_document(answer: Answer, lang: str) -> dict[str, Any]:
    """The contract's answer."""
    return {
        "taken": [
            {"file": shown(one.file), "item": one.item, "bytes": one.bytes, "sha256": one.sha256}
            | {"stored": shown(one.stored)}
            | ({"already": True} if one.already else {})
            for one in answer.taken
        ],
        "refused": [
            {"file": shown(one.file), "why": say("answers", f"take.refused.{one.why}", lang, one.facts)}
            for one in answer.refused
        ],
    }


def shown(path: Path) -> str:
    """A path as it can be printed: bytes that are no text become question marks."""
    return str(path).encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def lines(face: Face, document: dict[str, Any]) -> list[str]:
    """The answer for people."""
    said = []
    for one in document["taken"]:
        key = "take.already" if one.get("already") else "take.taken"
        said.append(face.words(key, file=Path(one["file"]).name, item=one["item"], bytes=one["bytes"]))
    said += [f"{Path(one['file']).name}: {one['why']}" for one in document["refused"]]
    return said or [face.words("take.nothing")]
