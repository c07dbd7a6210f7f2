"""File names that every system takes: Linux, Windows and macOS. Pure: a name is text here, nothing is opened."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import cache

from takeup.tables.loader import load_rows
from takeup.tables.rows import Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class NameRules:
    """What some system refuses in a name (rows ``drives.names``)."""

    forbidden: str  # characters
    avoid: str  # characters that every system takes and that we still do not give
    reserved: frozenset[str]  # stems, in lower case
    bare_ends: str  # characters that may not end a name
    component_utf8: int  # longest name [bytes]
    component_utf16: int  # longest name [UTF-16 units]
    path_utf16: int  # longest whole path [UTF-16 units]
    package_utf16: int  # longest path below a package's data folder [UTF-16 units]
    ours_utf8: int  # longest name that we give [bytes]


def rules_from(rows: Rows) -> NameRules:
    """The rules as the table has them."""
    found = rows.section("drives.names")
    return NameRules(**found | {"reserved": frozenset(found["reserved"])})


@cache
def known_rules() -> NameRules:
    """The rules in force."""
    return rules_from(load_rows())


def why_unsafe(name: str, rules: NameRules | None = None) -> str | None:
    """Why some system would refuse or change a name; None when all take it as it is.

    Returns
    -------
    str or None
        ``empty``, ``dots``, ``character``, ``control``, ``reserved``, ``end``, ``start``, ``form`` (not NFC), ``long``.
    """
    rules = rules or known_rules()
    if not name:
        return "empty"
    if set(name) == {"."}:
        return "dots"
    if any(_invisible(sign) for sign in name):
        return "control"
    if any(sign in rules.forbidden for sign in name):
        return "character"
    if name[-1] in rules.bare_ends:
        return "end"
    if name[0] in " -~":
        return "start"  # a space is lost, a dash is read as an option, a tilde as somebody's home
    if name.split(".")[0].rstrip(" ").casefold() in rules.reserved:
        return "reserved"
    if unicodedata.normalize("NFC", name) != name:
        return "form"
    if len(name.encode("utf-8")) > rules.component_utf8 or utf16_units(name) > rules.component_utf16:
        return "long"
    return None


def safe_name(name: str, rules: NameRules | None = None) -> str:
    """The nearest name that every system takes; a safe name of ours comes back as it is.

    Letters of every script are kept. What some system refuses becomes ``_``; a leading dot goes, since it hides the
    file; the ending is kept when a long name is cut.

    Examples
    --------
    >>> safe_name("side a: t1?.wav"), safe_name("COM1.txt"), safe_name("外婆的信. ")
    ('side a_ t1_.wav', '_COM1.txt', '外婆的信')
    """
    rules = rules or known_rules()
    text = unicodedata.normalize("NFC", name)
    text = "".join("_" if _invisible(sign) or sign in rules.forbidden + rules.avoid else sign for sign in text)
    text = text.lstrip(" .").rstrip(rules.bare_ends) or "_"
    if text[0] in "-~":
        text = "_" + text[1:]
    if text.split(".")[0].rstrip(" ").casefold() in rules.reserved:
        text = "_" + text
    if len(text.encode("utf-8")) > rules.ours_utf8:
        text = _shortened(text, rules)
    return text


def folded(path: str) -> str:
    """A form in which two paths are equal when some system takes them for the same file (case and Unicode form)."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFD", path).casefold())


def numbered(name: str, taken: set[str]) -> str:
    """``name``, or its first numbered form (``name-2``) that collides with none of the folded names ``taken``.

    Examples
    --------
    >>> numbered("Side-A.wav", {"side-a.wav", "side-a-2.wav"})
    'Side-A-3.wav'
    """
    stem, dot, ending = name.rpartition(".")
    if not stem:
        stem, dot, ending = name, "", ""
    given, count = name, 1
    while folded(given) in taken:
        count += 1
        given = f"{stem}-{count}{dot}{ending}"
    return given


def utf16_units(text: str) -> int:
    """Length as Windows and macOS count it.

    Examples
    --------
    >>> utf16_units("a"), utf16_units("🎞")
    (1, 2)
    """
    return len(text.encode("utf-16-le", "surrogatepass")) // 2


def _invisible(sign: str) -> bool:
    """Control and format characters, line ends, half surrogates, private use: what nobody can see or type."""
    return unicodedata.category(sign) in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


def _shortened(text: str, rules: NameRules) -> str:
    stem, dot, ending = text.rpartition(".")
    if not stem or len(ending.encode("utf-8")) > 16:
        stem, dot, ending = text, "", ""
    room = rules.ours_utf8 - len((dot + ending).encode("utf-8"))
    cut = stem.encode("utf-8")[:room].decode("utf-8", "ignore")
    while cut and unicodedata.combining(stem[len(cut) : len(cut) + 1] or "a"):
        cut = cut[:-1]  # never between a letter and its accent
    return (cut.rstrip(rules.bare_ends) or "_") + dot + ending
