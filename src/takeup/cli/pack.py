"""``takeup pack``."""

from __future__ import annotations

from pathlib import Path

import click

from takeup.cli.face import Face, faced


@click.command("pack", help="Build the parcel to take home: masters, everyday copies, and a page to open.")
@click.argument("box", type=click.Path(path_type=Path))
@click.option("--only", type=click.Choice(["copies"]), default=None, help="Leave the masters out.")
@faced
def command(face: Face, box: Path, only: str | None) -> None:
    """Build the parcel."""
    from takeup.tasks.pack import pack

    packed = pack(box, face.settings, only_copies=only == "copies", ears=face.ears)
    facts = {"parcel": packed.parcel, "files": packed.files, "bytes": packed.bytes, "page": packed.parcel / "data"}
    lines = [face.words("pack.already" if packed.already else "pack.done", **facts)]
    if packed.missing:
        lines.append(face.words("pack.missing", items=packed.missing))
    lines.append(face.words("pack.next", page=packed.parcel / "data" / "open-me.html", box=box))
    face.answer(packed.answer(), lines)
