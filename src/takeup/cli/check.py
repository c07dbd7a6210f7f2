"""``takeup check``: one capture, a whole box, or a file that is still growing."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from takeup.cli.face import Face, faced

MOST_TIMES = 12  # of like findings in the lines for people; the JSON holds all

if TYPE_CHECKING:
    from takeup.streams import Finding, Original
    from takeup.tasks.checking import Asked


@click.command("check", help="Measure and judge a capture, or every capture of a box.")
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--carrier", default="", help="What the capture was made from (vhs, cassette, super8, print ...).")
@click.option("--item", default="", help="In a box: only this item.")
@click.option("--follow", is_flag=True, help="The file is still growing: one JSON line per event.")
@click.option(
    "--idle", type=click.FloatRange(min=0.2), default=None, help="With --follow: whole after so many quiet seconds."
)
@click.option(
    "--picture", type=click.Path(path_type=Path), default=None, help="Also draw the capture (SVG or PNG by the name)."
)
@click.option("--mains", type=click.Choice(["50", "60"]), default=None, help="The lab's own mains frequency.")
@click.option("--recorded-mains", type=click.Choice(["50", "60"]), default=None, help="Where the tape was recorded.")
@click.option("--anew", is_flag=True, help="In a box: check again what was checked before.")
@faced
def command(
    face: Face,
    path: Path,
    carrier: str,
    item: str,
    follow: bool,
    idle: float | None,
    picture: Path | None,
    mains: str | None,
    recorded_mains: str | None,
    anew: bool,
) -> None:
    """Hand the words to one of the three tasks and print its answer."""

    def ask(original: Original) -> Asked:
        from takeup.tasks.checking import Asked

        return Asked(
            original=original,
            mains_hz=int(mains or face.settings.mains),
            recorded_mains_hz=int(recorded_mains) if recorded_mains else None,
            stills=24 if picture else 0,
        )

    if os.path.isdir(path) and not follow:  # unlike Path.is_dir, it takes any name
        _box(face, path, item=item, anew=anew, picture=picture, ask=ask)
        return
    from takeup.errors import NotPossible
    from takeup.streams import Original
    from takeup.tables.loader import load_rows

    if not carrier:
        rows = load_rows()
        known = [name for name in rows.names("carriers") if rows.section(f"carriers.{name}").get("medium")]
        raise NotPossible("carrier.missing", path=str(path), known=", ".join(known))
    original = Original(id=item or path.stem, carrier=carrier)
    if follow:
        _follow(face, path, ask(original), idle or face.settings.idle_s, picture)
    else:
        _file(face, path, ask(original), picture)


def _file(face: Face, path: Path, asked: Asked, picture: Path | None) -> None:
    from takeup.tasks.check import check_file
    from takeup.tasks.reporting import answer_from

    if picture:
        from takeup.tasks.picture import check_name

        check_name(picture)
    capture, report = check_file(path, asked)
    answer = answer_from(report, file=str(path), carrier=asked.original.carrier, capture=capture, lang=face.lang)
    if picture:
        answer["picture"] = _draw(face, report, asked.original, picture, path, capture=capture)
    face.answer(answer, _report_lines(face, answer))


def _box(face: Face, folder: Path, *, item: str, anew: bool, picture: Path | None, ask: Any) -> None:
    from takeup.errors import NotPossible
    from takeup.tasks.check import check_box
    from takeup.tasks.reporting import box_answer

    if picture:
        raise NotPossible("picture.needs-file", path=str(folder))
    checked = check_box(folder, face.settings, item=item, anew=anew, ask=ask, ears=face.ears)
    answer = box_answer(checked, face.lang)
    face.answer(answer, _box_lines(face, answer))


def _follow(face: Face, path: Path, asked: Asked, idle_s: float, picture: Path | None) -> None:
    from takeup.tasks.follow import follow
    from takeup.tasks.reporting import event_answer, finding_answer

    def emit(event: str, facts: dict[str, Any], finding: Finding | None) -> None:
        told = finding_answer(finding, face.lang) if finding else event_answer(facts, face.lang)
        face.event({"event": event} | told)

    if picture:
        from takeup.tasks.picture import check_name

        check_name(picture)
    report = follow(path, asked, idle_s, emit)
    if picture:
        _draw(face, report, asked.original, picture, path)


def _draw(face: Face, report: Any, original: Original, picture: Path, path: Path, *, capture: Any = None) -> str:
    from takeup.tasks.picture import draw

    draw(report, original, picture, face.lang, file=path.name, capture=capture, source=path)
    return str(picture.absolute())


def _report_lines(face: Face, answer: dict[str, Any]) -> Iterator[str]:
    yield face.words(f"check.verdict.{answer['verdict']}", file=answer["file"])
    yield from _finding_lines(face, answer["findings"])
    yield face.words("check.measures")
    for name, measure in answer["measures"].items():
        value = measure["value"]
        shown = measure.get("why", "-") if value is None else f"{_plain(value)} {measure['unit']}".strip()
        yield f"  {name}: {shown}"


def _finding_lines(face: Face, findings: list[dict[str, Any]]) -> Iterator[str]:
    """Each kind of finding once, with its sentence for the first place and the times of the others."""
    from takeup.words.units import clock

    kinds: dict[tuple[str, ...], list[dict[str, Any]]] = {}
    for finding in findings:
        kinds.setdefault((finding["name"], finding["verdict"], finding["do"]), []).append(finding)
    for alike in kinds.values():
        yield _finding_line(face, alike[0])
        others = [clock(finding["from_s"]) for finding in alike[1:] if finding.get("from_s") is not None]
        if others:
            more = "" if len(others) <= MOST_TIMES else " ..."
            yield "    " + face.words("check.also", count=len(others), times=", ".join(others[:MOST_TIMES]) + more)
        yield f"    {alike[0]['do']}"


def _finding_line(face: Face, finding: dict[str, Any]) -> str:
    from takeup.words.units import clock

    at = clock(finding["from_s"]) if finding.get("from_s") is not None else ""
    at = f"{at} " if at and at not in finding["why"] else ""  # some sentences say when themselves
    return f"  {face.words('check.word.' + finding['verdict'])}: {at}{finding['why']}"


def _box_lines(face: Face, answer: dict[str, Any]) -> Iterator[str]:
    for entry in answer["files"]:
        name = Path(entry["file"]).name
        yield f"{entry['item']}  {name}: {face.words('check.word.' + entry['verdict'])}"
        yield from _finding_lines(face, entry["findings"])
    for finding in answer["box_findings"]:
        yield _finding_line(face, finding)
    for refused in answer["unreadable"]:
        yield f"{refused['item']}  {refused['why']}"
    if not answer["files"] and not answer["unreadable"]:
        yield face.words("check.nothing", box=answer["box"])


def _plain(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, list):
        return str(len(value))
    if isinstance(value, dict):
        return ", ".join(f"{name} {_plain(part)}" for name, part in value.items())
    return str(value)


__all__ = ["command"]
