"""``takeup finish``: masters and everyday copies of a box."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from takeup.cli.face import Face, faced
from takeup.words.sentences import say
from takeup.words.units import size

if TYPE_CHECKING:
    from takeup.tasks.finish import BoxFinished, Finished, Skipped
    from takeup.tasks.side_by_side import Compared


@click.command("finish", help="Make masters and everyday copies of a box's checked captures.")
@click.argument("box", type=click.Path(path_type=Path))
@click.option("--item", default="", help="Only this item.")
@click.option("--even-redo", is_flag=True, help="Finish also captures that were judged to be done again.")
@click.option(
    "--mend",
    default=None,
    metavar="WORDS",
    help="Put right in everyday copies, with commas between: azimuth, hum, speed (cassettes), positive, fading, "
    "show-through, dust (scans); or none.",
)
@click.option("--picture", default="", metavar="ID", help="Mend this one picture of a scan only, as in b1-2.")
@click.option(
    "--side-by-side",
    type=click.Path(path_type=Path),
    default=None,
    metavar="FOLDER",
    help="Only draw what --mend would change in scans, before and after, into this folder; the box stays as it is.",
)
@click.option(
    "--copies",
    default=None,
    metavar="FORM",
    help="Form of the everyday copies of videos: as-taped, lines and rate as in 720p30, or lab for the lab's own.",
)
@click.option(
    "--pages",
    default=None,
    metavar="FORM",
    help="Form of pages in PDFs: colour, grey or bitonal; without-blanks leaves blank ones out; lab for the lab's own.",
)
@faced
def command(
    face: Face, box: Path, item: str, even_redo: bool, mend: str | None, picture: str, copies: str | None,
    pages: str | None, side_by_side: Path | None,
) -> None:  # fmt: skip
    """Hand the words to the task and print its answer."""
    if side_by_side is not None:
        _compare(face, box, side_by_side, item=item, picture=picture, mend=mend or "")
        return
    from takeup.tasks.finish import finish_box

    finished = finish_box(
        box, face.settings, item=item, even_redo=even_redo, mend=mend, picture=picture, copies=copies, pages=pages,
        ears=face.ears,
    )  # fmt: skip
    document = {
        "box": str(finished.box),
        "made": [made_answer(one, face.lang) for one in finished.made],
        "skipped": [{"item": one.item, "why": why_of(one, face.lang)} for one in finished.skipped],
    }
    face.answer(document, _lines(face, finished))


def _compare(face: Face, box: Path, folder: Path, *, item: str, picture: str, mend: str) -> None:
    from takeup.tasks.side_by_side import compare

    drawn = compare(box, face.settings, folder, mend=mend, item=item, picture=picture, ears=face.ears)
    compared = [
        {
            "item": one.item,
            "picture": one.picture,
            "path": str(one.path),
            "mended": [dict(mend) for mend in one.mended],
            "notes": [say("notes", key, face.lang, facts) for key, facts in one.notes],
        }
        for one in drawn
    ]
    face.answer({"box": str(box), "compared": compared}, _compared_lines(face, drawn))


def _compared_lines(face: Face, drawn: Iterable[Compared]) -> Iterator[str]:
    for one in drawn:
        yield face.words("finish.compared", picture=one.picture, path=str(one.path))
        for key, facts in one.notes:
            yield f"  {say('notes', key, face.lang, facts)}"


def made_answer(one: Finished, lang: str) -> dict[str, Any]:
    """One finished file as the contract tells it."""
    made = one.made
    answer: dict[str, Any] = {"item": one.item, "role": made.role, "path": str(made.path), "bytes": one.bytes}
    answer |= {"sha256": one.sha256, "from": [str(path) for path in made.from_], "settings": dict(made.settings)}
    if made.picture:
        answer["picture"] = made.picture
    if made.notes:
        answer["notes"] = [say("notes", key, lang, facts) for key, facts in made.notes]
    return answer


def why_of(one: Skipped, lang: str) -> str:
    """Why something was not finished."""
    if one.fault is not None:
        return say("faults", one.fault.key, lang, one.fault.facts)
    return say("whys", one.why, lang, one.facts)


def _lines(face: Face, finished: BoxFinished) -> Iterator[str]:
    for one in finished.made:
        kind = face.words(f"finish.role.{one.made.role}")
        yield face.words("finish.made", item=one.item, role=kind, path=str(one.made.path), size=size(one.bytes))
        for key, facts in one.made.notes:
            yield "  " + say("notes", key, face.lang, facts)
    for skipped in finished.skipped:
        yield face.words("finish.skipped", item=skipped.item, why=why_of(skipped, face.lang))
    if not finished.made and not finished.skipped:
        yield face.words("finish.nothing")
