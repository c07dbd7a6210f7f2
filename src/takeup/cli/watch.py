"""``takeup watch FOLDER --station S``: beside a station, alone or with the desk."""

from __future__ import annotations

import signal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from takeup.cli.face import Face, faced

if TYPE_CHECKING:
    from takeup.tasks.watch_capture import Capture, Outlet
    from takeup.tasks.watch_spool import Spool


@click.command(
    "watch", help="Follow every file that begins to grow in a station's folder; take it in when it is whole."
)
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--station", default="", help="Which station this is, by the lab's name for it.")
@click.option("--box", type=click.Path(path_type=Path), default=None, help="Take whole captures into this box.")
@click.option("--carrier", default="", help="What is captured here when nothing else tells (vhs, cassette ...).")
@click.option("--idle", type=click.FloatRange(min=0.5), default=None, help="Whole after so many quiet seconds.")
@click.option("--desk", default="", help="Address of the desk that hears of it and takes captures in.")
@click.option("--key", envvar="TAKEUP_STATION_KEY", default="", help="The station's key, when it is kept elsewhere.")
@click.option("--pair", "code", default="", help="The code that staff see on the desk; once, the first time.")
@click.option(
    "--spool", type=click.Path(path_type=Path), default=None, help="Folder for what the desk must still hear."
)
@faced
def command(
    face: Face,
    folder: Path,
    station: str,
    box: Path | None,
    carrier: str,
    idle: float | None,
    desk: str,
    key: str,
    code: str,
    spool: Path | None,
) -> None:
    """Set up where news go, then watch until told to stop."""
    import os

    from takeup.errors import NotPossible
    from takeup.tasks.watch import Watch
    from takeup.tasks.watch_spool import Spool

    if not station.strip():
        raise NotPossible("watch.needs-station")
    if desk and box is not None:
        raise NotPossible("watch.box-or-desk")
    folder = Path(os.path.abspath(folder))
    kept = Spool(spool or _spool_of(station, folder))
    try:
        outlet = _outlet(face, kept, station, box, carrier, desk, key, code)
        watch = Watch(folder, kept, outlet, idle or face.settings.idle_s)
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda *_: watch.stop())
        watch.run()
    finally:
        kept.close()


def _spool_of(station: str, folder: Path) -> Path:
    """One for each station and folder, beside other programs' data."""
    import hashlib
    import os

    from takeup.files.names import safe_name
    from takeup.settings import default_home

    mark = hashlib.sha256(os.fsencode(folder)).hexdigest()[:8]
    return default_home(os.environ).parent / "watch" / f"{safe_name(station)[:40]}-{mark}"


def _outlet(
    face: Face, spool: Spool, station: str, box: Path | None, carrier: str, desk: str, key: str, code: str
) -> Outlet:
    printer = Printer(face, station)
    if not desk:
        from takeup.tasks.watch_box import BoxOutlet

        return BoxOutlet(box, carrier, face.settings, printer.tell)
    from takeup.tasks.watch_desk import DeskOutlet, key_for

    return DeskOutlet(
        desk, key_for(desk, station, spool.folder, key, code), spool, carrier, face.settings, printer.tell
    )


class Printer:
    """Says what happens: a JSON object a line, or a sentence a line without meters. Called from several threads."""

    def __init__(self, face: Face, station: str) -> None:
        import threading

        self.face, self.station = face, station
        self.guard = threading.Lock()

    def tell(self, kind: str, capture: Capture | None, facts: dict[str, Any]) -> None:
        from takeup.tasks.watch_words import worded

        told = worded(kind, facts, self.face.lang)
        name = str(capture.path) if capture else ""
        with self.guard:
            if self.face.json:
                about = {"file": name, "capture": capture.id} if capture else {}
                self.face.event({"event": kind} | about | told)
                return
            line = self._line(kind, capture.path.name if capture else "", facts, told)
            if line:
                click.echo(line)

    def _line(self, kind: str, name: str, facts: dict[str, Any], told: dict[str, Any]) -> str:
        from takeup.words.units import clock

        words = self.face.words
        if kind == "ready":
            return words("watch.ready", folder=facts["folder"], station=self.station)
        if kind == "begin":
            return words("watch.begin-known" if facts["item"] else "watch.begin", file=name, item=facts["item"])
        if kind == "finding":
            if told["verdict"] == "good":
                return ""
            if told.get("from_s") is None:
                return words("watch.finding-whole", file=name, why=told["why"], do=told["do"])
            return words("watch.finding", file=name, at=clock(told["from_s"]), why=told["why"], do=told["do"])
        if kind == "end":
            key = f"check.verdict.{facts['verdict']}"
            return words(key, file=name) if facts["verdict"] else words("watch.why", file=name, why=told.get("why", ""))
        if kind in ("whole", "taken", "for-whom"):
            return words(f"watch.{kind}", file=name, item=facts.get("item", ""), bytes=facts.get("bytes"))
        if why := told.get("why", ""):
            return words("watch.why", file=name, why=why) if name and kind != "lost" else why
        return ""
