"""Where every finished file goes in the parcel, and which of an original's files the letter shows. Pure.

A folder per original in the order of the item list, ``01 t1 Aunt Wen New Year 1983``: the everyday copies in it, the
masters in a folder of their own beside them. Names are plain ASCII (docs/decisions/0041): a Chinese label stands in
the letter, where every system shows it, and not in a file name, which some systems respell on the way.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from takeup.streams import Original

Kind = Literal["sound", "moving", "picture", "document", "text", "other"]
LETTER = "open-me.html"
SMALL = "for this letter"  # folder of the small pictures that the letter shows
MASTERS = "kept master"
TITLE_LETTERS = 40  # of a title in a folder's name
KEPT_SIGNS = " .,-_()+"  # besides letters and digits: no system, shell or package list gives these a meaning
ROLES = ("copy", "page", "text", "master")  # the order of an original's files

KINDS: dict[str, Kind] = {
    **dict.fromkeys(("m4a", "mp3", "wav", "flac", "aac", "ogg", "opus"), "sound"),
    **dict.fromkeys(("mp4", "m4v", "mov", "webm"), "moving"),
    **dict.fromkeys(("jpg", "jpeg", "png", "webp", "gif"), "picture"),
    "pdf": "document",
    "txt": "text",
}
"""What a browser does with a file, by its ending; ``other`` is only offered as a file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finished:
    """One finished file as the record tells it."""

    item: str
    role: str
    path: str  # in the box
    bytes: int
    sha256: str
    from_: tuple[str, ...] = ()
    picture: str = ""
    part: str = ""
    size: tuple[int, int] | None = None
    notes: tuple[tuple[str, Mapping[str, Any]], ...] = ()

    @property
    def name(self) -> str:
        return self.path.rsplit("/", 1)[-1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """One finished file and its path below ``data/``."""

    finished: Finished
    href: str

    @property
    def kind(self) -> Kind:
        return kind_of(self.href)


def plan_parcel(
    originals: Sequence[Original],
    finished: Sequence[Finished],
    titles: Mapping[str, str],
    *,
    only_copies: bool,
    safe_name: Callable[[str], str],
) -> list[Placed]:
    """Every file that goes into the parcel with its place, in the order of the item list.

    Parameters
    ----------
    titles : mapping
        What each original is called, by its id.
    only_copies : bool
        Leave the masters out.
    safe_name : callable
        The house's rule for names that every system takes.
    """
    digits = max(2, len(str(len(originals))))
    placed: list[Placed] = []
    for number, original in enumerate(originals, 1):
        folder = safe_name(f"{number:0{digits}d} {original.id} {plain(titles.get(original.id, ''))}".strip())
        taken: set[str] = set()
        mine = [file for file in finished if file.item == original.id]
        for file in sorted(mine, key=lambda file: ROLES.index(file.role) if file.role in ROLES else len(ROLES)):
            if only_copies and file.role == "master":
                continue
            inside = f"{folder}/{MASTERS}" if file.role == "master" else folder
            name = safe_name(plain(file.name, letters=80) or original.id)
            href = _free(f"{inside}/{name}", taken)
            placed.append(Placed(finished=file, href=href))
    return placed


def kind_of(path: str) -> Kind:
    """What a browser does with a file.

    Examples
    --------
    >>> kind_of("t1.m4a"), kind_of("v1.mkv"), kind_of("scan.TIF"), kind_of("p1.JPG")
    ('sound', 'other', 'other', 'picture')
    """
    return KINDS.get(path.rsplit(".", 1)[-1].lower(), "other")


def plain(text: str, letters: int = TITLE_LETTERS) -> str:
    """The ASCII letters of a text, accents taken off, cut at a word where one ends; empty when it has none.

    Examples
    --------
    >>> plain("Tía Rosa,  été 1974"), plain("外婆的信"), plain("外婆 1983")
    ('Tia Rosa, ete 1974', '', '1983')
    >>> plain('50% <b>sea</b> & "wind"'), plain("Grandmother's letter")
    ('50 b sea b wind', 'Grandmothers letter')
    >>> plain("a word " * 9)
    'a word a word a word a word a word a'
    """
    bare = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    bare = bare.replace("'", "")
    bare = " ".join("".join(sign if sign.isalnum() or sign in KEPT_SIGNS else " " for sign in bare).split())
    if len(bare) <= letters:
        return bare.strip(" .")
    stem, dot, ending = bare.rpartition(".")
    if dot and stem and len(ending) <= 5:
        return (stem[: letters - len(ending) - 1].rstrip(" .") + dot + ending).strip(" .")
    return (bare[: letters + 1].rsplit(" ", 1)[0] if " " in bare[: letters + 1] else bare)[:letters].rstrip(" .,;-")


def shown_of(files: Sequence[Placed]) -> list[Placed]:
    """What of an original the letter plays or shows: copies; else pages; else those masters that a browser can open."""
    copies = [file for file in files if file.finished.role == "copy" and file.kind != "text"]
    if copies:
        return copies
    pages = [file for file in files if file.finished.role == "page"]
    if pages:
        return pages
    return [file for file in files if file.finished.role == "master" and (file.kind != "other" or _is_scan(file.href))]


def text_of(shown: Placed, files: Sequence[Placed]) -> Placed | None:
    """The recognised words of a document or picture: the text with the same name, else the only one there is."""
    texts = [file for file in files if file.finished.role == "text"]
    same = [file for file in texts if _stem(file.href) == _stem(shown.href)]
    if same:
        return same[0]
    alone = len(texts) == 1 and shown.kind == "document"
    return texts[0] if alone else None


def part_of(item: str, name: str) -> str:
    """The piece of an original that a finished file's name tells: ``t1-side-a.m4a`` of ``t1`` is ``side-a``.

    Examples
    --------
    >>> part_of("t1", "t1-side-a.m4a"), part_of("t1", "t1.m4a"), part_of("t1", "other.m4a")
    ('side-a', '', '')
    """
    stem = name.rsplit(".", 1)[0]
    return stem[len(item) + 1 :] if stem.startswith(f"{item}-") else ""


def _free(href: str, taken: set[str]) -> str:
    """A path that no other of these takes, whatever the case of its letters."""
    stem, dot, ending = href.rpartition(".")
    given, count = href, 1
    while given.casefold() in taken:
        count += 1
        given = f"{stem}-{count}{dot}{ending}" if dot and "/" not in ending else f"{href}-{count}"
    taken.add(given.casefold())
    return given


def _stem(href: str) -> str:
    return href.rsplit("/", 1)[-1].rsplit(".", 1)[0]


def _is_scan(href: str) -> bool:
    return href.lower().endswith((".tif", ".tiff"))
