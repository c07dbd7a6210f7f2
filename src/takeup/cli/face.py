"""What every command shares: ``--json``, ``--lang``, the answer on standard output, the rest on standard error."""

from __future__ import annotations

import functools
import json
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

import click

from takeup.settings import Settings, read_settings
from takeup.tasks.ears import Ears
from takeup.words.sentences import say
from takeup.words.units import clock, size


@dataclass
class Face:
    """One command's way of speaking."""

    json: bool
    lang: str
    settings: Settings
    ears: Ears = field(default_factory=Ears)

    def answer(self, document: Any, lines: Iterable[str]) -> None:
        """Print the one answer: the document with ``--json``, else its lines for people."""
        if self.json:
            click.echo(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1))
        else:
            for line in lines:
                click.echo(line)

    def event(self, document: Any) -> None:
        """One JSON object on a line of its own, at once (``check --follow``)."""
        click.echo(json.dumps(document, ensure_ascii=False, allow_nan=False))
        sys.stdout.flush()

    def words(self, key: str, **facts: object) -> str:
        """A sentence of ``words/answers.toml``."""
        return say("answers", key, self.lang, facts)


class TerminalEars(Ears):
    """Shows progress on standard error, and only where a person watches (never into a pipe or file)."""

    def __init__(self, lang: str, *, quiet: bool) -> None:
        self.lang = lang
        self.watched = sys.stderr.isatty() and not quiet
        self.started: dict[str, float] = {}
        self.last = 0.0

    def progress(self, what: str, done: float, total: float | None, unit: str) -> None:
        if unit == "share":
            return
        now = time.monotonic()
        begun = self.started.setdefault(what, now)
        whole = total is not None and done >= total
        if not self.watched or (now - self.last < 0.2 and not whole):
            return
        self.last = now
        show = {"bytes": size, "seconds": clock}.get(unit, lambda count: f"{count:.0f}")
        text = f"{what}: {show(done)}" + (f" / {show(total)}" if total else "")
        if total and done > 0 and now - begun > 1 and not whole:
            left = clock((now - begun) * (total - done) / done)
            text += "  " + say("answers", "progress.left", self.lang, {"left": left})
        click.echo(f"\r\x1b[K{text}" + ("\n" if whole else ""), err=True, nl=False)

    def note(self, key: str, **facts: object) -> None:
        click.echo(say("notes", key, self.lang, facts), err=True)


def faced(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command ``--json`` and ``--lang`` and hand it its :class:`Face` as first argument."""

    @click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
    @click.option("--lang", type=click.Choice(["en", "zh-Hans"]), default=None, help="Language of the answer.")
    @functools.wraps(command)
    def wrapped(*args: Any, as_json: bool, lang: str | None, **kwargs: Any) -> None:
        settings = read_settings()
        lang = lang or settings.lang
        command(Face(as_json, lang, settings, TerminalEars(lang, quiet=False)), *args, **kwargs)

    return wrapped
