"""What several scans of one box show together: dirt that stays at its place of the glass while the originals change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from takeup.judge.again import thumb_likeness
from takeup.measure.scan.specks import Spot
from takeup.streams import Finding, Trace
from takeup.tables.rows import Rows

UNIT_MM, MOST_MM = 0.01, 600  # of what is kept: 16 bits reach 655 mm
FINEST_MM = 0.05  # smaller spots are a pixel or two, and their size says nothing
ON_LID, BRIGHT = 1, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """Box findings' ground: the finding, and which of the scans it was seen in."""

    finding: Finding
    scans: tuple[int, ...]


def packed(spots: Sequence[Spot], size: tuple[int, int], ppi: float | None) -> bytes:
    """Spots in hundredths of a millimetre from the scan's corner, for a report's trace; nothing without a resolution.

    Little-endian 16-bit numbers: the scan's width and height, then x, y, size and flags of each spot.
    """
    if not ppi or max(size) / ppi * 25.4 > MOST_MM:
        return b""
    scale = 25.4 / ppi / UNIT_MM
    numbers = [size[0] * scale, size[1] * scale]
    for spot in spots:
        numbers += [
            spot.x * scale,
            spot.y * scale,
            max(spot.size * scale, 1),
            ON_LID * spot.on_lid + BRIGHT * (spot.codes > 0),
        ]
    return np.clip(np.rint(numbers), 0, 65535).astype("<u2").tobytes()


def unpacked(kept: bytes) -> tuple[tuple[float, float], np.ndarray]:
    """Width and height [mm], and spots, shape (n, 4): x, y, size [mm], flags."""
    numbers = np.frombuffer(kept, "<u2").astype(float)
    if numbers.size < 2:
        return (0.0, 0.0), np.zeros((0, 4))
    spots = numbers[2:].reshape(-1, 4).copy()
    spots[:, :3] *= UNIT_MM
    return (numbers[0] * UNIT_MM, numbers[1] * UNIT_MM), spots


def glass_dirt(scans: Sequence[tuple[str, Trace]], rows: Rows) -> list[Session]:
    """Dirt on the glass or the lid, told by scans of one size whose pictures differ.

    Parameters
    ----------
    scans : sequence of (family, Trace)
        Every scan of the box, in order; ``family`` as ``judge.scan.FAMILY`` names it.

    Notes
    -----
    A spot counts in scans that are unlike each other in miniature: what stays while a print stays may be the print's.
    Pages count with their lid alone, for forms are printed alike. A scan that was cut to another size is not compared:
    where its corner lay on the glass is not known.
    """
    least, chance = rows.value("scan.glass_dirt.scans"), rows.value("scan.glass_dirt.chance")
    groups: dict[tuple[str, int, int], list[int]] = {}
    for number, (family, trace) in enumerate(scans):
        (width, height), spots = unpacked(trace.specks)
        if len(spots):
            groups.setdefault((family, round(width), round(height)), []).append(number)
    found = []
    for (family, width, height), members in groups.items():
        apart = _unlike(members, scans, rows.value("scan.glass_dirt.alike"))
        if len(apart) < least:
            continue
        reach = min(rows.value("scan.glass_dirt.reach"), rows.value("scan.glass_dirt.reach_share") * max(width, height))
        eligible = [_eligible(unpacked(scans[number][1].specks)[1], family) for number in apart]
        stay = _staying(eligible, reach, least, rows.value("scan.glass_dirt.size"))
        if not stay or len(stay) <= chance * _by_chance(eligible, reach, width * height, least):
            continue
        at, seen = max(stay, key=lambda one: (len(one[1]), one[0][2]))
        inside = sorted({apart[number] for _, numbers in stay for number in numbers})
        facts = {"spots": len(stay), "scans": len(inside), "x": at[0], "y": at[1]}
        facts["at_mm"] = [[round(float(v), 2) for v in spot[:3]] for spot, _ in stay]
        finding = Finding(
            name="glass_dirt", verdict="look", again="helps", value=len(stay), unit="spots", facts=facts,
            rows=("scan.glass_dirt.scans", "scan.glass_dirt.reach"),
        )  # fmt: skip
        found.append(Session(finding=finding, scans=tuple(inside)))
    return found


def _unlike(members: list[int], scans: Sequence[tuple[str, Trace]], alike: float) -> list[int]:
    """Those of some scans that show something else than all before them."""
    apart: list[int] = []
    for number in members:
        if all(thumb_likeness(scans[number][1], scans[other][1]) < alike for other in apart):
            apart.append(number)
    return apart


def _eligible(spots: np.ndarray, family: str) -> np.ndarray:
    if family in ("print", "film"):
        return spots
    return spots[(spots[:, 3].astype(int) & ON_LID) > 0]


def _staying(
    eligible: list[np.ndarray], reach: float, least: int, size_factor: float
) -> list[tuple[np.ndarray, list[int]]]:
    """Spots that are met again in so many scans, each once, with the numbers of those."""
    stay: list[tuple[np.ndarray, list[int]]] = []
    for first in range(len(eligible) - least + 1):
        for spot in eligible[first]:
            if any(np.hypot(*(spot[:2] - other[:2])) <= 2 * reach for other, _ in stay):
                continue
            seen = [first]
            for number in range(first + 1, len(eligible)):
                others = eligible[number]
                near = np.hypot(others[:, 0] - spot[0], others[:, 1] - spot[1]) <= reach
                size = np.maximum(others[:, 2], FINEST_MM) / max(spot[2], FINEST_MM)
                if (near & (size > 1 / size_factor) & (size < size_factor)).any():
                    seen.append(number)
            if len(seen) >= least:
                stay.append((spot, seen))
    return stay


def _by_chance(eligible: list[np.ndarray], reach: float, area: float, least: int) -> float:
    """How many spots would meet so often if every scan's lay where they like."""
    share = np.pi * reach**2 / max(area, 1.0)
    crowd = max((len(spots) for spots in eligible), default=0)
    tries = len(eligible)
    return crowd * tries * min(1.0, (tries - 1) * crowd * share) ** (least - 1)
