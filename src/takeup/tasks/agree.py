"""Notes that the agreement was signed: its version, language and date, an adult for a minor. Nothing of the person."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from takeup.box.folder import work_in
from takeup.errors import NotPossible
from takeup.settings import Settings

LONGEST_VERSION = 40


def agree(folder: Path, form: str, lang: str, *, adult_for_minor: bool, settings: Settings) -> dict[str, Any]:
    """Remember a signed agreement once; the same again changes nothing (``already``).

    Raises
    ------
    NotPossible
        ``agree.form-wrong``: no version, or far longer than any printed one.
    """
    form = " ".join(form.split())
    if not form or len(form) > LONGEST_VERSION or not form.isprintable():
        raise NotPossible("agree.form-wrong", value=form[:60])
    wanted = {"form": form, "lang": lang, "adult_for_minor": adult_for_minor}
    with work_in(folder, "agree", settings) as box:
        standing = box.record.latest("agreed")
        before = standing[-1].facts if standing else {}
        already = all(before.get(name) == value for name, value in wanted.items())
        if not already:
            before = wanted | {"date": date.today().isoformat()}
            box.record.append("agreed", before)
    answer = {"box": str(box.folder), **{name: before[name] for name in ("form", "lang", "date", "adult_for_minor")}}
    return answer | ({"already": True} if already else {})
