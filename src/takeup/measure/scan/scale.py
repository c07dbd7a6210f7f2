"""The true scale of a scan, by the best thing of known size that is in view: a ruler, perforations, a paper's size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.known_size import MM_PER_INCH, KnownSize, known_size
from takeup.measure.scan.miniature import Miniature
from takeup.measure.scan.perforations import perforations
from takeup.measure.scan.pictures import Print
from takeup.measure.scan.ticks import Ruler, rulers

BODY_MM = 60.0  # a ruler's own body is narrower: ticks that lie in something wider lie in a picture of a ruler
PLAIN_SHARE = 0.005  # ticks that are all alike are millimetres or sixteenths only where the file says so too


@dataclass(frozen=True, slots=True, kw_only=True)
class Sizes:
    """What is known of sizes: ``known_mm`` tell, ``also_mm`` only make doubt; see ``known_size``."""

    known_mm: tuple[tuple[float, float], ...] = ()
    also_mm: tuple[tuple[float, float], ...] = ()
    usual_ppi: tuple[float, ...] = ()
    near: float = 0.012
    glass_mm: tuple[float, float] | None = None
    pitch_mm: float | None = None  # of a film's perforations


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """``across``, ``down``: true px/inch; None where nothing tells. ``source``: ruler, perforations, size or "".

    ``error``: standard error as a share; ``tools``: boxes (x, y, width, height) of rulers [scan px]; ``unclear``: two
    rulers contradict each other.
    """

    across: float | None = None
    down: float | None = None
    source: str = ""
    error: float = 0.0
    ticks: int = 0
    size: KnownSize | None = None
    tools: tuple[tuple[float, float, float, float], ...] = ()
    unclear: bool = False

    @property
    def ppi(self) -> float | None:
        return self.across if self.across is not None else self.down


def rulers_on(small: Miniature) -> tuple[Ruler, ...]:
    """All rulers in a scan's miniature, in pictures too."""
    return rulers(_grey(small))


def _grey(small: Miniature) -> np.ndarray:
    pixels = small.pixels
    return pixels[..., 0] if pixels.shape[2] == 1 else cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)


def scale(first: FirstLook, family: str, sizes: Sizes, lie: Sequence[Ruler] | None = None) -> Scale:
    """Tell the true scale of a scan.

    Parameters
    ----------
    first : FirstLook
    family : str
        print, document, newspaper, film or micro: what may be of known size.
    sizes : Sizes
        Of that family.
    lie : sequence of Ruler, optional
        ``rulers_on`` the miniature, where they are known already.
    """
    found = [one for one in (rulers_on(first.small) if lie is None else lie) if not _in_a_picture(one, first)]
    by_ruler = _by_rulers(found, first)
    if by_ruler is not None:
        return by_ruler
    if sizes.pitch_mm is not None and (row := perforations(_grey(first.small))) is not None:
        ppi = row.pitch * first.small.block / sizes.pitch_mm * MM_PER_INCH
        told = {"across" if row.along == "x" else "down": ppi}
        return Scale(**told, source="perforations", error=row.error / row.pitch, ticks=row.holes)  # type: ignore[arg-type]
    size = _by_size(first, family, sizes)
    if size is not None:
        return Scale(across=size.ppi, down=size.ppi, source="size", error=sizes.near, size=size)
    return Scale()


def _tick_mm(one: Ruler, first: FirstLook) -> float | None:
    if one.tick_mm is not None or not first.ppi:
        return one.tick_mm
    for tick in (1.0, MM_PER_INCH / 16):
        if abs(one.pitch * first.small.block / tick * MM_PER_INCH / first.ppi - 1) < PLAIN_SHARE:
            return tick
    return None


def _by_rulers(found: Sequence[Ruler], first: FirstLook) -> Scale | None:
    told: dict[str, tuple[float, float, int]] = {}
    tools = []
    for one in found:
        tick = _tick_mm(one, first)
        if tick is None:
            continue
        ppi = one.pitch * first.small.block / tick * MM_PER_INCH
        x, y, width, height = (edge * first.small.block for edge in one.box)
        tools.append((x, y, width, height))
        if one.along not in told:
            told[one.along] = (ppi, one.error / one.pitch, one.ticks)
        elif abs(told[one.along][0] / ppi - 1) > 0.01:
            return Scale(unclear=True, tools=tuple(tools))
    if not told:
        return None
    across, down = told.get("x"), told.get("y")
    best = across or down
    assert best is not None
    return Scale(
        across=across[0] if across else None, down=down[0] if down else None, source="ruler",
        error=max(one[1] for one in told.values()), ticks=best[2], tools=tuple(tools),
    )  # fmt: skip


def _in_a_picture(one: Ruler, first: FirstLook) -> bool:
    """Whether ticks lie inside a print that is wider than any ruler: then it is a photograph of a ruler."""
    if one.tick_mm is None or first.pictures.ground != "lid":
        return False
    x, y, width, height = (edge * first.small.block for edge in one.box)
    middle = (x + width / 2, y + height / 2)
    per_mm = one.pitch * first.small.block / one.tick_mm
    for shown in first.pictures.prints:
        outline = np.asarray(shown.corners, np.float32)
        if cv2.pointPolygonTest(outline, middle, False) > 0 and min(sides_of(shown)) > BODY_MM * per_mm:
            return True
    return False


def sides_of(one: Print) -> tuple[float, float]:
    """Width and height of a print [px]."""
    corners = np.asarray(one.corners)
    return float(np.hypot(*(corners[1] - corners[0]))), float(np.hypot(*(corners[3] - corners[0])))


def _by_size(first: FirstLook, family: str, sizes: Sizes) -> KnownSize | None:
    if not sizes.known_mm or first.pictures.ground == "empty" or first.pictures.unsure:
        return None
    sides = [sides_of(one) for one in first.pictures.prints if not any(one.meets)]
    whole = first.pictures.ground == "whole"
    if whole:
        sides = [(float(first.size[0]), float(first.size[1]))]
    found = known_size(
        sides, first.ppi, sizes.known_mm, sizes.also_mm, sizes.usual_ppi, near=sizes.near, largest_mm=sizes.glass_mm
    )
    if found is not None and whole and not found.confirms and family != "document":
        return None  # a picture that fills the scan may be cut to any size
    return found
