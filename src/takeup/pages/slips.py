"""What is printed for a visit: the visitor's slip, and stickers for the originals. Facts in, facts for a page out."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from takeup.pages.qr import qr_data
from takeup.streams import Original

LABEL_SIGNS = 40  # of what is written on an original: more does not fit on its sticker


@dataclass(frozen=True, slots=True, kw_only=True)
class Sticker:
    """One sticker: the id in large digits, the box, what is written on the original, a code to scan."""

    item: str
    box: str
    carrier: str
    label: str
    qr: str  # for an <img>


def sticker_text(box: str, item: str) -> str:
    """What a sticker's code says, in ASCII: box and item, ``0042/v1``."""
    return f"{box}/{item}"


def stickers(box: str, originals: Iterable[Original]) -> list[Sticker]:
    """A sticker for each original."""
    return [
        Sticker(
            item=one.id,
            box=box,
            carrier=one.carrier,
            label=one.label if len(one.label) <= LABEL_SIGNS else one.label[: LABEL_SIGNS - 1] + "…",
            qr=qr_data(sticker_text(box, one.id), sturdy=True),
        )
        for one in originals
    ]


def slip_address(origin: str, code: str) -> str:
    """Where the slip's code leads a phone: the page that takes codes, with this one filled in."""
    return f"{origin}/code?slip={code}"
