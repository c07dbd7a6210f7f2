"""The drawn signs of the house: the verdicts' shapes and the colours they wear. Never colour alone.

Colours were picked by calculation (docs/decisions/0040): every text colour stands at least 4.5:1 on its ground, every
shape at least 3:1, and the verdicts stay apart for every kind of colour vision and on a grey printout.
"""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

PAPER, CARD, INK, QUIET, RULE, FOCUS = "#FAF6EE", "#FFFFFF", "#1C2530", "#4B5563", "#7C818A", "#1D4FB8"
SILHOUETTE = "#A9C3CB"  # the quiet shape behind a thread: decoration, told again in words beside it

GROUND = "#E9E2D3"  # what lies under a level: the noise floor
RAMP = (  # nothing to loud, for the strip of tones: one hue, sixteen even steps of lightness (CIELAB 98 to 17)
    "#F8FBFC", "#DFEEF2", "#C8E0E6", "#B3D2DA", "#9EC4CE", "#8AB6C1", "#78A8B4", "#679AA7",
    "#568C99", "#477E8B", "#39707D", "#2D626F", "#215561", "#174852", "#0E3B44", "#072E37",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Dress:
    """One verdict's colours by day: the shape and word, and the tint they may stand on."""

    ink: str
    tint: str


DRESS = {
    "good": Dress("#0B6E84", "#DCEFF2"),
    "look": Dress("#77612C", "#F6EBD2"),
    "redo": Dress("#4A0A24", "#F3DCE4"),
    "none": Dress(QUIET, PAPER),
}

RING = '<circle cx="12" cy="12" r="8" fill="none" stroke="{ink}" stroke-width="3.4"/>'
LENS = (
    '<path d="M1.5 12 Q12 1.5 22.5 12 Q12 22.5 1.5 12 Z" fill="{ground}" stroke="{ink}" stroke-width="2.2"'
    ' stroke-linejoin="round"/><path d="M12 6.6 Q17.2 6.9 22 12 Q17.2 17.1 12 17.4 Z" fill="{ink}"/>'
)
BACK = (
    '<rect x="2" y="2" width="20" height="20" rx="1.5" fill="{ink}"/>'
    '<path d="M8 9 H14 A4 4 0 0 1 14 17 H8.5" fill="none" stroke="{ground}" stroke-width="2.3"/>'
    '<path d="M11 5.3 L7.2 9 L11 12.7" fill="none" stroke="{ground}" stroke-width="2.3" stroke-linejoin="round"/>'
)
DASH = '<path d="M4 12 H20" stroke="{ink}" stroke-width="3.4" stroke-linecap="round"/>'
SHAPES = {"good": RING, "look": LENS, "redo": BACK, "none": DASH}


def shape(verdict: str, *, ground: str = CARD) -> str:
    """A verdict's shape as SVG parts in a 24 by 24 field; ``none`` for not measured."""
    return SHAPES[verdict].format(ink=DRESS[verdict].ink, ground=ground)


def sign(verdict: str, *, size: int = 20) -> Markup:
    """A verdict's shape as a picture of its own; the word stands beside it, so it is silent for screen readers."""
    inside = shape(verdict, ground=DRESS[verdict].tint)
    return Markup(
        f'<svg class="shape" viewBox="0 0 24 24" width="{size}" height="{size}" aria-hidden="true">{inside}</svg>'
    )
