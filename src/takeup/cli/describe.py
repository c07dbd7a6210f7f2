"""``takeup describe``: who, when, where; written into the finished files too."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from takeup.cli.face import Face, faced
from takeup.words.dates import said_of
from takeup.words.sentences import say

if TYPE_CHECKING:
    from takeup.tasks.describe import BoxDescribed, Described


@click.command("describe", help="Say who, when and where; it is written into the finished files too.")
@click.argument("box", type=click.Path(path_type=Path))
@click.option(
    "--csv", "csv_path", type=click.Path(path_type=Path), default=None,
    help="A list with the columns id,title,description,people,date,place,keywords,creator,rights,event.",
)  # fmt: skip
@faced
def command(face: Face, box: Path, csv_path: Path | None) -> None:
    """Hand the words to the task and print its answer."""
    from takeup.tasks.describe import describe_box

    answer = describe_box(box, face.settings, csv=csv_path, ears=face.ears)
    left = [{"id": one.id, "why": say("whys", one.why, face.lang, one.facts)} for one in answer.left]
    document = {
        "box": str(answer.box),
        "described": [described_answer(one, face.lang) for one in answer.described],
        "left": left,
        "ignored_columns": list(answer.ignored),
    }
    face.answer(document, _lines(face, answer, left))


def described_answer(one: Described, lang: str) -> dict[str, Any]:
    """One described item or picture as the contract tells it."""
    answer: dict[str, Any] = {"id": one.id, "files": [str(path) for path in one.files], "date": one.told.date}
    answer["said"] = date_said(one, lang)
    answer |= {"date_read": one.date_read, "in_date_fields": one.date_sure, "title": one.told.title}
    if one.not_in:
        answer["not_in"] = [str(path) for path in one.not_in]
    return answer


def date_said(one: Described, lang: str) -> str:
    """The date as people say it; a date nobody can read is said to be so."""
    if not one.told.date:
        return say("answers", "describe.no-date", lang)
    if not one.date_read:
        return say("answers", "describe.date-unread", lang, {"date": one.told.date})
    return said_of(one.told.date, lang)


def _lines(face: Face, answer: BoxDescribed, left: list[dict[str, str]]) -> Iterator[str]:
    for one in answer.described:
        facts = {"id": one.id, "title": one.told.title, "date": date_said(one, face.lang), "files": len(one.files)}
        yield face.words("describe.done" if one.files else "describe.done-no-files", **facts)
        if one.not_in:
            yield "  " + face.words("describe.not-in", files=", ".join(path.name for path in one.not_in))
    for entry in left:
        yield face.words("describe.left", id=entry["id"], why=entry["why"])
    if answer.ignored:
        yield face.words("describe.ignored", columns=", ".join(answer.ignored))
