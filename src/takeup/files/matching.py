"""Which item a file's name speaks of. Pure: a name is text here."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

SIDE = re.compile(r"(?<![^\W_])(?:side|seite|face)[\s._-]*([a-h]|[1-9]\d?)(?![^\W_])|([a-h])\s*面")
PART = re.compile(
    r"(?<![^\W_])(?:part|pt|reel|roll|page|frame|scan|no|nr|disc)[\s._-]*(\d{1,4})(?![^\W_])|第?\s*(\d{1,4})\s*(?:部分|页|卷|盘)"
)
FACE = re.compile(r"(?<![^\W_])(back|front|verso|recto)(?![^\W_])|([背正])面")
FACES = {"verso": "back", "背": "back", "recto": "front", "正": "front"}
WORD = re.compile(r"[^\W_]+")


@dataclass(frozen=True, slots=True)
class Match:
    """What a name says. ``item`` None: ``why`` is ``no-item`` or ``two-items``, ``found`` names those seen."""

    item: str | None
    why: str = ""
    found: tuple[str, ...] = ()
    part: str = ""  # side letter or number that the name tells; "" when it tells none


def match_item(name: str, ids: Iterable[str]) -> Match:
    """Find the item id that stands alone in a file's name, without regard to case.

    Alone: no letter or digit touches it. Of ids that lie in each other (``t1`` in ``t1-2``) the longest wins. Signs
    that are words by themselves (Chinese) may touch it. The ending (``.wav``) is not searched.

    Examples
    --------
    >>> match_item("Side A t1.wav", ["t1", "t11"]), match_item("t11.wav", ["t1"]).item
    (Match(item='t1', why='', found=('t1',), part='a'), None)
    """
    stem = _plain(name.rpartition(".")[0] or name)
    whole = _plain(name)
    spans: list[tuple[int, int, str]] = []
    for item in ids:
        wanted = _plain(item)
        text = whole if "." in wanted and whole == wanted else stem
        at = text.find(wanted)
        while at >= 0 and wanted:
            if _alone(text, at, at + len(wanted)):
                spans.append((at, at + len(wanted), item))
            at = text.find(wanted, at + 1)
    outer = [s for s in spans if not any(o[0] <= s[0] and s[1] <= o[1] and o[1] - o[0] > s[1] - s[0] for o in spans)]
    found = tuple(dict.fromkeys(item for _, _, item in sorted(outer)))
    if len(found) != 1:
        return Match(None, "two-items" if found else "no-item", found)
    rest = stem
    for start, end, _ in sorted(outer, reverse=True):
        rest = f"{rest[:start]} | {rest[end:]}"
    return Match(found[0], found=found, part=part_told(rest))


def part_told(text: str) -> str:
    """What a name says beside its item: side letter, number, ``back``: ``side a``, ``part 2``, ``A面``, or alone.

    Examples
    --------
    >>> part_told("-side-B"), part_told(" (2)"), part_told("_wedding 1987"), part_told("-a"), part_told("page 007")
    ('b', '2', '', 'a', '7')
    """
    text = _plain(text)
    if side := SIDE.search(text):
        return _bare(side[1] or side[2])
    if face := FACE.search(text):
        return FACES.get(face[1] or face[2], face[1])
    if part := PART.search(text):
        return _bare(part[1] or part[2])
    words = WORD.findall(text)
    if len(words) == 1 and (re.fullmatch(r"[a-h]", words[0]) or re.fullmatch(r"0*\d{1,3}", words[0])):
        return _bare(words[0])
    return ""


def _bare(part: str) -> str:
    return part.lstrip("0") or part


def _plain(text: str) -> str:
    return unicodedata.normalize("NFKC", text).casefold()


def _alone(text: str, start: int, end: int) -> bool:
    touched_before = start > 0 and _in_word(text[start]) and _in_word(text[start - 1])
    touched_after = end < len(text) and _in_word(text[end - 1]) and _in_word(text[end])
    return not touched_before and not touched_after


def _in_word(sign: str) -> bool:
    """Letters with case, digits and marks make words with their neighbours; a Chinese sign is a word by itself."""
    kind = unicodedata.category(sign)
    return kind in ("Lu", "Ll", "Lt", "Lm", "Nd", "Nl", "No", "Mn", "Mc")
