"""``takeup verify PARCEL``."""

from __future__ import annotations

from pathlib import Path

import click

from takeup.cli.face import Face, faced


@click.command("verify", help="Read a parcel back and say what is missing, changed, extra or unsafe.")
@click.argument("parcel", type=click.Path(path_type=Path))
@faced
def command(face: Face, parcel: Path) -> None:
    from takeup.tasks.verify import verify, verify_document

    document = verify_document(verify(parcel, face.ears), face.lang)
    face.answer(document, lines(face, document))


def lines(face: Face, document: dict) -> list[str]:
    """The answer for people."""
    key = "verify.intact" if document["intact"] else "verify.not-intact"
    said = [face.words(key, parcel=document["parcel"], files=document["files"], bytes=document["bytes"])]
    said += [f"  {entry['path']}: {entry['why']}" for entry in document["problems"]]
    said += [f"  {entry['path']}: {entry['why']}" for entry in document["warnings"]]
    return said
