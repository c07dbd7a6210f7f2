"""``takeup drive DRIVE``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from takeup.cli.face import Face, faced


@click.command("drive", help="Try a visitor's drive before any capture; leaves nothing on it.")
@click.argument("drive", type=click.Path(path_type=Path))
@click.option("--needed", "needed_bytes", type=int, default=None, help="Bytes that the parcel will need (see plan).")
@faced
def command(face: Face, drive: Path, needed_bytes: int | None) -> None:
    from takeup.tables.loader import load_rows
    from takeup.tasks.drive import drive_document, try_drive

    rows = load_rows()
    document = drive_document(try_drive(drive, rows, needed_bytes=needed_bytes, ears=face.ears), rows, face.lang)
    face.answer(document, lines(face, document))


def lines(face: Face, document: dict[str, Any]) -> list[str]:
    """The answer for people."""
    said = [
        face.words(
            "drive.head", drive=document["drive"], filesystem=document["filesystem"], free=document["free_bytes"],
            total=document["total_bytes"],
        )
    ]  # fmt: skip
    if document["write_bytes_per_second"]:
        said.append(
            face.words(
                "drive.tried", tried=document["tried_bytes"], over=document["tried_over_bytes"],
                write=document["write_bytes_per_second"], read=document["read_bytes_per_second"],
                how=document["read_back_how"],
            )
        )  # fmt: skip
    return said + document["why"] + [document["do"]]
