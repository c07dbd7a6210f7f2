"""The sizes that prints have, and what they say of a piece or of a side that was not seen."""

from __future__ import annotations

from dataclasses import dataclass, replace

from takeup.measure.scan.sides import Box


@dataclass(frozen=True, slots=True, kw_only=True)
class Papers:
    """The sizes that prints have, the commonest first: shorter and longer side [mm]; what stands out may be so much
    smaller or larger [mm].

    ``per_inch`` is the miniature's pixels per inch; None where nobody knows it, and sizes then say nothing.
    """

    sides_mm: tuple[tuple[float, float], ...]
    smaller_mm: float
    larger_mm: float
    per_inch: float | None = None
    unseen_mm: float = 9.0  # a white border on a white lid is at most so wide; fitted sides must then prove the size


def has_known_size(box: Box, papers: Papers, slack_mm: float = 1.5) -> bool:
    """Whether fitted sides have the size of a common print."""
    own = replace(papers, smaller_mm=slack_mm, larger_mm=slack_mm)
    return is_known(round(box.width), round(box.height), own)


def is_known(width: float, height: float, papers: Papers) -> bool:
    """Whether something so wide and high [miniature pixels] may be a common print; blurred, with its shadow, it stands
    out larger than its paper."""
    return rarity(width, height, papers) < len(papers.sides_mm)


def rarity(width: float, height: float, papers: Papers) -> int:
    """Which of the sizes that prints have something has, the commonest first; how many there are where it has none."""
    per_inch = papers.per_inch
    if per_inch is not None:
        sides = sorted((width / per_inch * 25.4, height / per_inch * 25.4))
        for at, pair in enumerate(papers.sides_mm):
            off = [side - paper for side, paper in zip(sides, pair, strict=True)]
            if all(-papers.smaller_mm <= one <= papers.larger_mm for one in off):
                return at
    return len(papers.sides_mm)


def paper_sides(across_mm: float, papers: Papers, near_mm: float) -> list[float]:
    """How long papers are whose other side has a length [mm].

    Examples
    --------
    >>> paper_sides(102.0, Papers(sides_mm=((89, 127), (101.6, 152.4), (102, 102)), smaller_mm=1, larger_mm=3), 1.2)
    [102, 152.4]
    """
    found = {other for one, other in papers.sides_mm if abs(one - across_mm) <= near_mm}
    found |= {one for one, other in papers.sides_mm if abs(other - across_mm) <= near_mm}
    return sorted(found)
