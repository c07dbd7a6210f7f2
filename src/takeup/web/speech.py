"""The pages' words in the reader's language: gettext catalogues, one ``.po`` file per page, read at the start.

English is what stands in templates and code. A missing Chinese string falls back to English and is a defect that
``tests/web/test_catalogues.py`` names.
"""

from __future__ import annotations

import gettext
import io
from collections.abc import Callable
from functools import cache
from pathlib import Path

from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po

LOCALE = Path(__file__).parent / "locale"
LANGUAGES = {"en": "English", "zh-Hans": "简体中文"}
SPELLED = {"zh-Hans": "zh_Hans"}  # Babel's way


@cache
def catalogue(lang: str) -> gettext.NullTranslations:
    """All strings of a language, of every ``.po`` file of it."""
    if lang not in SPELLED:
        return gettext.NullTranslations()
    whole: gettext.GNUTranslations | None = None
    for path in sorted((LOCALE / SPELLED[lang]).glob("*.po")):
        with path.open("rb") as file:
            messages = read_po(file, locale=SPELLED[lang])
        raw = io.BytesIO()
        write_mo(raw, messages)
        raw.seek(0)
        part = gettext.GNUTranslations(raw)
        if whole is None:
            whole = part
        else:
            whole._catalog.update({key: text for key, text in part._catalog.items() if key})  # type: ignore[attr-defined]
    return whole or gettext.NullTranslations()


def speaker(lang: str) -> Callable[..., str]:
    """``say(text, **facts)`` in that language; ``%(name)s`` in the text is filled by the facts."""
    strings = catalogue(lang)

    def say(text: str, **facts: object) -> str:
        said = strings.gettext(text) if text else ""
        return said % facts if facts else said

    return say


def language_of(wanted: str, accepted: str, fallback: str) -> str:
    """The language to answer in: what was chosen, else what the browser asks for, else the lab's."""
    if wanted in LANGUAGES:
        return wanted
    for part in accepted.split(","):
        name = part.split(";")[0].strip().lower()
        if name.startswith("zh") and not name.startswith(("zh-tw", "zh-hk", "zh-hant")):
            return "zh-Hans"
        if name.startswith("en"):
            return "en"
    return fallback
