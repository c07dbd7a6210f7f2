"""Every sentence stands in both languages with the same facts in it, and every key used in code is worded."""

import ast
import re
import string
from pathlib import Path

import pytest

from takeup.words.sentences import load_sentences

SOURCE = Path(__file__).parents[2] / "src" / "takeup"
TABLES = sorted(path.name for path in (SOURCE / "words").iterdir() if path.is_dir() and any(path.glob("*.toml")))
FAULT_CLASSES = {"TakeupError", "NotPossible", "Unreadable", "NotAllowedNow", "CopyDiffers", "UnusableSamples"}


def names_in(sentence: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(sentence) if name}


@pytest.mark.parametrize("table", TABLES)
def test_sentences_stand_in_both_languages_with_the_same_facts(table):
    sentences = load_sentences(table)
    keys = {key.rsplit(".", 1)[0] for key in sentences}
    assert keys
    for key in sorted(keys):
        english, chinese = sentences.get(f"{key}.en"), sentences.get(f"{key}.zh")
        assert english and chinese, f"words/{table}: {key} lacks a language"
        assert names_in(chinese) <= names_in(english), f"words/{table}: {key} tells other facts in Chinese"


@pytest.mark.parametrize("table", TABLES)
def test_chinese_sentences_are_chinese_and_english_ones_are_not(table):
    han = re.compile(r"[\u4e00-\u9fff]")
    for key, sentence in load_sentences(table).items():
        if key.endswith(".zh") and len(sentence) > 12:
            assert han.search(sentence), f"words/{table}: {key} is not Chinese"
        if key.endswith(".en") and not key.startswith(("language", "switch")):
            assert not han.search(sentence), f"words/{table}: {key} is not English"


def test_every_fault_raised_is_worded():
    sentences, missing = load_sentences("faults"), []
    for path in sorted(SOURCE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in FAULT_CLASSES:
                first = node.args[0] if node.args else None
                if isinstance(first, ast.Constant) and f"{first.value}.en" not in sentences:
                    missing.append(f"{path.relative_to(SOURCE)}:{node.lineno} {first.value}")
    assert missing == []


def test_every_command_has_its_line():
    from takeup.cli.main import COMMANDS

    sentences = load_sentences("commands")
    assert [name for name in COMMANDS if f"{name}.en" not in sentences or f"{name}.zh" not in sentences] == []


def test_no_sentence_blames_or_shouts():
    """The visitor is never blamed and nothing is shouted (looks.md, Calm)."""
    for table in TABLES:
        for key, sentence in load_sentences(table).items():
            assert "!" not in sentence and "！" not in sentence, f"words/{table}: {key} shouts"
            if key.endswith(".en") and table in ("findings", "letter", "screening", "cautions"):
                bare = re.sub(r"\{.*?\}", "", sentence)
                assert not re.search(r"\b(error|failed|failure|invalid|you forgot)\b", bare, re.I), f"{table}: {key}"
