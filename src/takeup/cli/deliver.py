"""``takeup deliver BOX DRIVE``."""

from __future__ import annotations

from pathlib import Path

import click

from takeup.cli.face import Face, faced


@click.command("deliver", help="Copy the parcel to a drive folder, read it back from there, write the receipt.")
@click.argument("box", type=click.Path(path_type=Path))
@click.argument("drive", type=click.Path(path_type=Path))
@faced
def command(face: Face, box: Path, drive: Path) -> None:
    from takeup.tables.loader import load_rows
    from takeup.tasks.deliver import deliver

    done = deliver(box, drive, rows=load_rows(), settings=face.settings, lang=face.lang, ears=face.ears)
    how = face.words(f"read-back.{done.how}")
    document = {
        "parcel": str(done.parcel),
        "drive": str(done.drive),
        "files": done.files,
        "bytes": done.bytes,
        "read_back": True,
        "read_back_how": how,
        "receipt": str(done.receipt),
        "copied": done.copied,
        "there_already": done.kept,
    }
    said = [
        face.words("deliver.done", parcel=document["parcel"], files=done.files, bytes=done.bytes, how=how),
        face.words("deliver.receipt", receipt=document["receipt"]),
        face.words("deliver.eject"),
    ]
    face.answer(document, said)
