"""``takeup desk``: the lab in the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from takeup.cli.face import Face, faced


@click.command("desk", help="Serve the lab's pages on its own network.")
@click.option("--home", type=click.Path(path_type=Path), default=None, help="Folder with the lab's database and boxes.")
@click.option("--host", default="127.0.0.1", help="Address to listen on; 0.0.0.0 for the whole network.")
@click.option("--port", type=click.IntRange(0, 65535), default=8742, help="Port to listen on; 0 for any free one.")
@click.option("--demo", is_flag=True, help="Fill the home with an invented lab's week.")
@click.option(
    "--bring-back", type=click.Path(path_type=Path), default=None, help="First bring back this kept database."
)
@faced
def command(face: Face, home: Path | None, host: str, port: int, demo: bool, bring_back: Path | None) -> None:
    """Make ready, say where, serve until stopped."""
    from takeup.web.opening import make_ready
    from takeup.web.serve import serve

    desk, first = make_ready(home, face.settings, demo=demo, kept=bring_back)

    def ready(url: str) -> None:
        document: dict[str, Any] = {"url": url} | first
        if face.json:
            face.event(document)
            return
        lines = [face.words("desk.ready", url=url)]
        if staff := first.get("staff"):
            lines.append(face.words("desk.staff", **staff))
        if codes := first.get("visitor_codes"):
            lines.append(face.words("desk.codes", codes=", ".join(codes)))
        click.echo("  ".join(lines))

    serve(desk, host, port, ready)
