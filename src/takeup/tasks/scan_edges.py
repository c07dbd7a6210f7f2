"""Which edges of a scan are looked at in full, and what they told: paper, drawn edges, letters."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from takeup.judge.scan import Seen
from takeup.judge.scan_sharpness import Sharpness
from takeup.measure.scan import natural_edges, text_edges
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.inner_edges import two_toned
from takeup.measure.scan.tone import tone_curve
from takeup.measure.scan.windows import Place, Window

LETTERS = ("document", "newspaper", "micro")


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgesWanted:
    """The edges to be looked at, and the places of letters."""

    edges: tuple[natural_edges.Sought, ...] = ()
    letters: tuple[Place, ...] = ()
    drawn: bool = False  # two even tones and their edges, as on a target

    @property
    def places(self) -> tuple[Place, ...]:
        return (*natural_edges.places(self.edges), *self.letters)


def edges_sought(seen: Seen, first: FirstLook, family: str) -> EdgesWanted:
    """What to look at; nothing in a scan of one bit, whose edges are all equally hard."""
    if seen.image.bits_stated < 8:
        return EdgesWanted()
    edges = _numbered(natural_edges.sought(first, paper=family != "film"), seen, first)
    letters = text_edges.text_places(first) if family in LETTERS else ()
    return EdgesWanted(edges=edges, letters=letters, drawn=bool(edges) and two_toned(first))


def _numbered(
    edges: tuple[natural_edges.Sought, ...], seen: Seen, first: FirstLook
) -> tuple[natural_edges.Sought, ...]:
    """Edges of the paper under the numbers that their prints have in what was seen: a ruler and a chart are among the
    first look's, and are no pictures."""
    if seen.pictures is None or seen.pictures.prints == first.pictures.prints:
        return edges
    number = {one.corners: n for n, one in enumerate(seen.pictures.prints)}
    corners = [one.corners for one in first.pictures.prints]
    return tuple(
        replace(edge, picture=number.get(corners[edge.picture], natural_edges.TOOL)) if edge.kind == "paper" else edge
        for edge in edges
    )


def edges_measured(
    wanted: EdgesWanted, kept: Mapping[str, tuple[Window, ...]], seen: Seen, full_scale: int
) -> Sharpness:
    """What they told."""
    tone = tone_curve(seen.image.profile, full_scale)
    return Sharpness(
        edges=natural_edges.natural_edges(wanted.edges, kept.get(natural_edges.PURPOSE, ()), tone),
        text=text_edges.text_edges(kept.get(text_edges.PURPOSE, ()), tone),
        looked=True,
        drawn=wanted.drawn,
    )
