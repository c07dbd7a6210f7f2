"""Which field was taken first, from motion. Null where nothing moves: never a guess."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from takeup.measure.video.change import Change


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldOrder:
    """``order`` is top, bottom, progressive, mixed, or None without enough motion. Votes are pictures."""

    order: str | None
    top: int
    bottom: int
    progressive: int
    undecided: int
    method: str = "field_order/1"


def vote(here: Change, after: Change | None, limits: Mapping[str, Any]) -> str | None:
    """One picture's vote.

    Parameters
    ----------
    here, after : Change
        from the picture before to this one, and from this one to the next
    limits : mapping
        rows of ``video.order``: ``least_comb`` [codes], ``ratio``, ``own_ratio``
    """
    top = here.back[0] + (after.forth[1] if after else 0.0)
    bottom = here.back[1] + (after.forth[0] if after else 0.0)
    own = here.own * (1.0 if after else 0.5)
    more, less = max(top, bottom), min(top, bottom)
    if more < limits["least_comb"]:
        return None
    if more > limits["ratio"] * less:
        return "top" if top > bottom else "bottom"
    return "progressive" if less > limits["own_ratio"] * own else None


def field_order(votes: Mapping[str | None, int], limits: Mapping[str, Any]) -> FieldOrder:
    """Count votes.

    Parameters
    ----------
    votes : mapping
        how often :func:`vote` said what, one a picture; held pictures, black and no-signal say None
    limits : mapping
        ``least_votes`` pictures; ``clear_share`` of the votes that one order must have; ``film_share`` of them that
        may be whole pictures all the same (film lies on a tape so)
    """
    counts = {order: votes.get(order, 0) for order in ("top", "bottom", "progressive")}
    given = sum(counts.values())
    top, bottom = counts["top"], counts["bottom"]
    order: str | None = "top" if top > bottom else "bottom"
    whole = counts["progressive"] / max(1, given)
    if given < limits["least_votes"]:
        order = None
    elif whole >= limits["clear_share"]:
        order = "progressive"
    elif whole > limits["film_share"] or min(top, bottom) > (1 - limits["clear_share"]) * (top + bottom):
        order = "mixed"
    return FieldOrder(
        order=order,
        top=counts["top"],
        bottom=counts["bottom"],
        progressive=counts["progressive"],
        undecided=votes.get(None, 0),
    )
