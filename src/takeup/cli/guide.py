"""``takeup guide``."""

from __future__ import annotations

import os
from pathlib import Path

import click

from takeup.cli.face import Face, faced


@click.command("guide", help="The step list and training sheet of a station, as a page to print.")
@click.argument("station", metavar="STATION")
@click.option("--to", "target", type=click.Path(path_type=Path), help="Write it to this .html or .pdf file.")
@click.option("--home", type=click.Path(path_type=Path), help="The desk's folder, for the lab's own stations.")
@faced
def command(face: Face, station: str, target: Path | None, home: Path | None) -> None:
    """Print a guide: to a file, else the page itself on standard output."""
    from takeup.pages.guide import guide_page
    from takeup.settings import default_home
    from takeup.tasks.guide import guide_answer, guide_for, write_guide

    fallback = Path(face.settings.home).expanduser() if face.settings.home else default_home(os.environ)
    guide = guide_for(station, face.settings, face.lang, home or fallback)
    written = write_guide(guide, target).absolute() if target else None
    document = guide_answer(guide) | ({"file": str(written)} if written else {})
    face.answer(document, [str(written)] if written else guide_page(guide).splitlines())
