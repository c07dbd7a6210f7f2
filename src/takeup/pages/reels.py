"""Two reels as they look now: how much tape lies on each, by the law of wound tape. Pure: seconds in, SVG out.

Wound tape fills an area: r^2 = r_hub^2 + length * thickness / pi, so what is left and what was taken up are to one
another as the areas of the two packs are, and the drawing looks as the real cassette does through its window.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt

from takeup.tables.rows import Rows

WIDTH, HEIGHT = 380, 200  # of the drawing [units]
MIDDLES, RISE, REACH = (92.0, 288.0), 92.0, 88.0  # middles of the two reels, and the radius of a full one


@dataclass(frozen=True, slots=True, kw_only=True)
class Reel:
    """What is known of a carrier's reels. ``full_s``: what the longest pack plays, for the dotted rim."""

    hub_mm: float
    thickness_um: float
    speed_mm_s: float
    full_s: float

    def radius_mm(self, seconds: float) -> float:
        """Of a pack that plays so long."""
        return sqrt(self.hub_mm**2 + max(0.0, seconds) * self.speed_mm_s * self.thickness_um / 1000 / pi)


def reel_for(carrier: str, side_s: float, rows: Rows) -> Reel | None:
    """The reels of a carrier whose side or reel plays ``side_s``; None for what has no reels or has no rows.

    A cassette is thinner the longer it plays (rows ``sound.reel``); the shortest sort that holds the side is taken.
    """
    if carrier == "cassette":
        about = rows.section("sound.reel")
        sorts = list(zip(about["sides_minutes"], about["thicknesses_um"]))
        minutes, thick = next((sort for sort in sorts if side_s <= sort[0] * 60 + 60), sorts[-1])
        return Reel(
            hub_mm=about["hub_mm"], thickness_um=thick, speed_mm_s=rows.value("guides.reels.cassette.speed_mm_s"),
            full_s=max(minutes * 60, side_s),
        )  # fmt: skip
    about = rows.section(f"guides.reels.{carrier}")
    if not about:
        return None
    return Reel(full_s=max(about["full_s"], side_s), **{k: about[k] for k in ("hub_mm", "thickness_um", "speed_mm_s")})


def reels(reel: Reel, taken_s: float, side_s: float) -> str:
    """The drawing: left what is still to come, right what was taken up; both rims dotted at a full pack.

    The figures that a page's script needs to go on drawing stand in ``data-`` attributes: squares of the hub's and of
    the full pack's radius, in units of the drawing.
    """
    taken_s = min(max(taken_s, 0.0), side_s)
    scale = REACH / reel.radius_mm(reel.full_s)
    hub = reel.hub_mm * scale
    packs = [reel.radius_mm(side_s - taken_s) * scale, reel.radius_mm(taken_s) * scale]
    of_second = (REACH**2 - hub**2) / reel.full_s
    drawn = "".join(_reel(x, radius, hub, name) for x, radius, name in zip(MIDDLES, packs, ("left", "right")))
    ends = [
        (MIDDLES[0] - 0.5 * packs[0], RISE + 0.866 * packs[0]),
        (MIDDLES[1] + 0.5 * packs[1], RISE + 0.866 * packs[1]),
    ]
    (x, y), (to_x, to_y) = ends
    tape = f"M{x:.1f} {y:.1f}L{MIDDLES[0] + 40:g} 192H{MIDDLES[1] - 40:g}L{to_x:.1f} {to_y:.1f}"
    return (
        f'<svg class="reels" viewBox="0 0 {WIDTH} {HEIGHT}" aria-hidden="true" focusable="false" '
        f'data-hub2="{hub**2:.3f}" data-of-second="{of_second:.6f}" data-side="{side_s:.1f}">'
        f'<path class="tape" d="{tape}"/>{drawn}</svg>'
    )


def _reel(x: float, radius: float, hub: float, name: str) -> str:
    teeth = "".join(
        f"M{x + dx * hub:.1f} {RISE + dy * hub:.1f}L{x + dx * hub * 0.65:.1f} {RISE + dy * hub * 0.65:.1f}"
        for dx, dy in ((1, 0), (0.5, 0.866), (-0.5, 0.866), (-1, 0), (-0.5, -0.866), (0.5, -0.866))
    )
    return (
        f'<circle class="rim" cx="{x:g}" cy="{RISE:g}" r="{REACH:g}"/>'
        f'<circle class="pack {name}" cx="{x:g}" cy="{RISE:g}" r="{radius:.2f}"/>'
        f'<circle class="hub" cx="{x:g}" cy="{RISE:g}" r="{hub:.2f}"/><path class="teeth" d="{teeth}"/>'
    )
