"""``takeup``: words in, one task, words out. A command's module is imported only when it is asked for (fast start)."""

from __future__ import annotations

import importlib
import os
import sys
import tempfile
import traceback
from pathlib import Path

import click

from takeup.errors import TakeupError
from takeup.words.sentences import LANGUAGES, load_sentences, say

COMMANDS = {  # command -> its module in this folder; its one-line help stands in words/commands.toml
    "demo": "demo",
    "box": "box",
    "agree": "agree",
    "screen": "screen",
    "plan": "plan",
    "schedule": "schedule",
    "take": "take",
    "check": "check",
    "finish": "finish",
    "describe": "describe",
    "pack": "pack",
    "verify": "verify",
    "drive": "drive",
    "deliver": "deliver",
    "clear": "clear",
    "guide": "guide",
    "watch": "watch",
    "target": "target",
    "desk": "desk",
}


class Commands(click.Group):
    """Knows every command's name and help without importing it."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        return importlib.import_module(f"takeup.cli.{COMMANDS[name]}").command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        sentences = load_sentences("commands")
        spelled = LANGUAGES[wanted_language(sys.argv)]
        with formatter.section("Commands"):
            formatter.write_dl([(name, sentences[f"{name}.{spelled}"]) for name in COMMANDS])


@click.command(
    cls=Commands,
    no_args_is_help=False,
    invoke_without_command=True,
    help="From a pile of originals to a proven hand-over.",
)
@click.option("--lang", type=click.Choice(list(LANGUAGES)), expose_value=False, help="Language of the answer.")
@click.version_option(package_name="takeup")
@click.pass_context
def cli(ctx: click.Context) -> None:
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def wanted_language(words: list[str]) -> str:
    """The language of the answer, told from the raw words so that even a wrong command is answered in it."""
    for at, word in enumerate(words):
        given = word[7:] if word.startswith("--lang=") else words[at + 1 : at + 2] if word == "--lang" else None
        name = given if isinstance(given, str) else given[0] if given else ""
        if name in LANGUAGES:
            return name
    fallback = os.environ.get("TAKEUP_LANG", "en")
    return fallback if fallback in LANGUAGES else "en"


def run() -> None:
    """Start the command line. Exit status: 0 done, 2 the request or the file is at fault, 1 the program."""
    for stream in (sys.stdout, sys.stderr):
        stream.reconfigure(encoding="utf-8", errors="replace")  # type: ignore[union-attr]
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: more threads only wait, on a core others need
    lang = wanted_language(sys.argv)
    try:
        status = attempt(lang)
    except Exception as error:  # the one place that may: no traceback reaches a user, and none is lost
        status = own_fault(error, lang)
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # whoever read us has gone; nothing to say
    raise SystemExit(status)


def attempt(lang: str) -> int:
    """Carry out one command; its exit status. What the request or the file is at fault for becomes a sentence."""
    try:
        cli.main(prog_name="takeup", standalone_mode=False)
        return 0
    except click.exceptions.Abort:
        return 130
    except click.ClickException as error:
        complain(wrong_words(error, lang))
        return 2
    except TakeupError as error:
        complain(say("faults", error.key, lang, error.facts))
        return error.exit_status
    except KeyboardInterrupt:
        complain(say("faults", "command.stopped", lang))
        return 130
    except BrokenPipeError:
        return 0


def own_fault(error: Exception, lang: str) -> int:
    """Say that the program itself is at fault, even where its own words are; exit status 1."""
    facts = {"error": f"{type(error).__name__}: {error}", "log": keep_traceback()}
    try:
        complain(say("faults", "program.fault", lang, facts))
    except Exception:
        complain(f"takeup itself failed at this; nothing of yours was removed. Please show {facts['log']} to staff.")
    return 1


def wrong_words(error: click.ClickException, lang: str) -> str:
    """What was wrong with the words given, as one sentence in the reader's language."""
    context = getattr(error, "ctx", None)
    facts = {"command": context.command_path if context else "takeup"}
    if isinstance(error, click.NoSuchOption):
        return say("faults", "command.no-such-option", lang, facts | {"given": error.option_name})
    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        return say("faults", "command.incomplete", lang, facts)
    if isinstance(error, click.MissingParameter):
        name = error.param.human_readable_name if error.param else "?"
        return say("faults", "command.missing", lang, facts | {"name": name})
    if isinstance(error, click.BadParameter):
        name = error.param.human_readable_name if error.param else "?"
        return say("faults", "command.bad-value", lang, facts | {"name": name, "message": error.message.rstrip(".")})
    if isinstance(error, click.UsageError) and error.message.startswith("No such command"):
        given = error.message.split("'")[1] if "'" in error.message else "?"
        return say("faults", "command.no-such-command", lang, facts | {"given": given})
    return say("faults", "command.wrong", lang, facts | {"message": error.format_message().strip().rstrip(".") + "."})


def complain(sentence: str) -> None:
    """One plain sentence on standard error."""
    click.echo(" ".join(sentence.split()), err=True)


def keep_traceback() -> str:
    """Keep the traceback of a program fault where a maintainer can find it; its path."""
    try:
        with tempfile.NamedTemporaryFile("w", prefix="takeup-fault-", suffix=".log", delete=False) as log:
            traceback.print_exc(file=log)
        return str(Path(log.name))
    except OSError:
        return "-"
