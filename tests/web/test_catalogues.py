"""No untranslated string: every English string of templates and code has its Chinese, with the same blanks to fill."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po

from takeup.web.speech import LOCALE, SPELLED

WEB = LOCALE.parent
METHODS = [("templates/**.html", "jinja2"), ("**.py", "python")]
KEYWORDS = {"_": None, "words": None, "gettext": None, "ngettext": (1, 2)}


def _strings() -> dict[str, str]:
    """Every string that is said, and where."""
    options = {"templates/**.html": {"extensions": "jinja2.ext.i18n", "trimmed": "false"}}
    found = {}
    for name, line, text, _, _ in extract_from_dir(str(WEB), METHODS, options, keywords=KEYWORDS):
        for one in text if isinstance(text, tuple) else (text,):
            if one:
                found[one] = f"{name}:{line}"
    return found


def _catalogue(folder: Path) -> dict[str, str]:
    said = {}
    for path in sorted(folder.glob("*.po")):
        with path.open("rb") as file:
            said |= {message.id: message.string for message in read_po(file) if message.id and not message.fuzzy}
    return said


def _blanks(text: str) -> list[str]:
    return sorted(re.findall(r"%\((\w+)\)", text))


@pytest.mark.parametrize("lang", SPELLED.values())
def test_every_string_has_its_translation(lang):
    strings, said = _strings(), _catalogue(LOCALE / lang)
    assert len(strings) > 50, "the templates' strings were not found"
    missing = {text: where for text, where in strings.items() if not said.get(text)}
    assert not missing


@pytest.mark.parametrize("lang", SPELLED.values())
def test_translations_fill_the_same_blanks(lang):
    for text, translation in _catalogue(LOCALE / lang).items():
        assert _blanks(text) == _blanks(translation), text
