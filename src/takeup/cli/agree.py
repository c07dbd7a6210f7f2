"""``takeup agree``."""

from __future__ import annotations

from pathlib import Path

import click

from takeup.cli.face import Face, faced


@click.command("agree", help="Note that the agreement was signed: version, language, date; nothing else of the person.")
@click.argument("box", type=click.Path(path_type=Path))
@click.option("--form", required=True, help="The version printed on the form.")
@click.option("--adult-for-minor", is_flag=True, help="An adult signed for a minor.")
@faced
def command(face: Face, box: Path, form: str, adult_for_minor: bool) -> None:
    """Note a signed agreement."""
    from takeup.tasks.agree import agree

    noted = agree(box, form, face.lang, adult_for_minor=adult_for_minor, settings=face.settings)
    adult = face.words("agree.yes" if noted["adult_for_minor"] else "agree.no")
    face.answer(noted, [face.words("agree.already" if noted.get("already") else "agree.noted", adult=adult, **noted)])
