"""What the everyday copy of a scanned picture puts right: what was asked, where it is sure, never a master."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pyvips

from takeup.measure.scan.density import Base, find_base, plan_inversion, positive
from takeup.measure.scan.fade import find_fade, undo_fade
from takeup.measure.scan.mask import DustSweep
from takeup.measure.scan.polarity import codes_are_light
from takeup.measure.scan.show_through import GhostSweep, at_full_size, find_ghost, papers_of
from takeup.media.probe import look_at
from takeup.media.still import OpenStill
from takeup.media.still_colour import profile_of
from takeup.media.still_mend import as_srgb, by_strips, codes_for, light_of_codes, sample, through_table
from takeup.media.still_write import upright_picture
from takeup.plan.scan_finishing import PlannedPicture

Note = tuple[str, Mapping[str, Any]]
Side = tuple[OpenStill, PlannedPicture]
MOST_PX = 4_000_000  # of a picture in which the other side is looked for
NEGATIVE, FADES = ("negative", "microfilm", "microfiche"), ("print", "slide")


@dataclass(kw_only=True)
class MendedPicture:
    """How a picture's copy is made. ``said`` is whole after ``told``: specks are counted as they pass."""

    asked: tuple[str, ...]
    name: str
    table: np.ndarray | None = None  # codes to codes, before anything else
    grey: bool = False
    sweep: DustSweep | None = None
    ghost: GhostSweep | None = None
    said: list[dict[str, Any]] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)

    def point(self, image: pyvips.Image) -> pyvips.Image:
        """The scan's own pixels, one by one."""
        return image if self.table is None else through_table(image, self.table)

    def after(self, image: pyvips.Image) -> pyvips.Image:
        """The upright copy's pixels."""
        if self.grey and image.bands == 3:
            image = image.colourspace("b-w")
        if self.ghost is not None:
            image = by_strips(image, self.ghost.through)
        if "dust" in self.asked:
            self.sweep = DustSweep()
            image = by_strips(image, self.sweep.through)
        return image

    def told(self) -> None:
        """What is known of the copy only once it is written."""
        if self.sweep is None:
            return
        if not self.sweep.specks:
            self.left("dust", "none")
            return
        share = 100 * self.sweep.pixels / self.sweep.of
        self.said.append({"what": "dust", "specks": self.sweep.specks, "share_percent": round(share, 4)})
        facts = {"name": self.name, "count": self.sweep.specks, "share": share}
        self.notes.append(("finish.mended-dust", facts))

    def settings(self) -> dict[str, Any]:
        """What the copy's settings say: what was asked, what was done with which figures."""
        return {"mend_asked": [*self.asked], "mended": [*self.said]} if self.asked or self.said else {"mend_asked": []}

    def left(self, word: str, why: str) -> None:
        self.notes.append((f"finish.left-{word}.{why}", {"name": self.name}))


def mend_picture(
    still: OpenStill, picture: PlannedPicture | None, asked: tuple[str, ...], name: str, carrier: str,
    side: Side | None = None,
) -> MendedPicture:  # fmt: skip
    """Plan what is put right in the copy of one picture; nothing is read when nothing is asked.

    Parameters
    ----------
    side : (OpenStill, PlannedPicture), optional
        The picture's other side, where somebody said which it is.
    """
    work = MendedPicture(asked=asked, name=name)
    if "show-through" in asked:
        _without_ghost(still, picture, side, work)
    if not {"positive", "fading"} & {*asked}:
        return work
    light = light_of_codes(still)
    corners = picture.corners if picture else None
    wanted = light
    if "positive" in asked:
        wanted = _positive(still, light, corners, work, carrier)
    if "fading" in asked and wanted is light:
        wanted = _unfaded(still, light, corners, work, carrier)
    elif "fading" in asked:
        work.left("fading", "not-for")
    if wanted is not light:
        work.table = codes_for(light, wanted)
    return work


def _positive(still: OpenStill, light: np.ndarray, corners: Any, work: MendedPicture, carrier: str) -> np.ndarray:
    if carrier not in NEGATIVE:
        work.left("positive", "not-for")
        return light
    base, film = _base_of(still, light)
    if base.why:
        work.left("positive", base.why)
        return light
    how = plan_inversion(sample(still, film, corners), base)
    work.grey = how.grey
    work.said.append({
        "what": "positive", "interpretation": True, "base": _round(how.base), "contrast": _round(how.contrast),
        "decades": round(how.white[0], 2), "black": round(how.black, 4),
        "colours": "grey" if how.grey else "colour", "base_share": round(base.share, 4),
        "codes": "light" if film is not light else "curve",
    })  # fmt: skip
    work.notes.append(("finish.mended-positive", {"name": work.name}))
    _warn_of_eight_bits(still, work)
    return positive(film, how)


def _base_of(still: OpenStill, light: np.ndarray) -> tuple[Base, np.ndarray]:
    """The negative's base, and how much light each code means: where nothing says so, the base itself tells."""
    base = find_base(sample(still, light))
    if still.image.bits_stated <= 8 or profile_of(still) is not None:
        return base, light
    straight = np.repeat(np.linspace(0, 1, light.shape[0])[:, None], light.shape[1], axis=1)
    other = find_base(sample(still, straight))
    return (other, straight) if codes_are_light(base.density, other.density) else (base, light)


def _unfaded(still: OpenStill, light: np.ndarray, corners: Any, work: MendedPicture, carrier: str) -> np.ndarray:
    if carrier not in FADES:
        work.left("fading", "not-for")
        return light
    fade = find_fade(sample(still, light, corners))
    if fade.why:
        work.left("fading", fade.why)
        return light
    work.said.append({"what": "fading", "kept": _round(fade.kept), "stain": _round(fade.stain)})
    lost = {f"{colour}": round(100 * (1 - kept)) for colour, kept in zip(("cyan", "magenta", "yellow"), fade.kept)}
    work.notes.append(("finish.mended-fading", {"name": work.name} | lost))
    _warn_of_eight_bits(still, work)
    return undo_fade(light, fade)


def is_mended_so(settings: Mapping[str, Any], asked: tuple[str, ...], own: Mapping[str, Any]) -> bool:
    """Whether a copy was made with just what is asked, from the same other side."""
    return tuple(settings.get("mend_asked", ())) == asked and settings.get("other_side") == own.get("other_side")


def other_side(
    scans: Iterable[tuple[Path, Sequence[PlannedPicture]]], picture: PlannedPicture | None, asked: tuple[str, ...]
) -> Side | None:
    """The picture among an item's scans that is this one's back, or whose back this one is, where that is asked."""
    if picture is None or "show-through" not in asked:
        return None
    for path, pictures in scans:
        for other in pictures:
            if other.id and (other.id == picture.back_of or (other.back_of and other.back_of == picture.id)):
                return OpenStill(path, look_at(path)), other
    return None


def _without_ghost(still: OpenStill, picture: PlannedPicture | None, side: Side | None, work: MendedPicture) -> None:
    if picture is None or side is None:
        work.left("show-through", "no-back")
        return
    front, back = (_upright(*one) for one in ((still, picture), side))
    light = as_srgb(256)
    times = max(1, round((front.shape[0] * front.shape[1] / MOST_PX) ** 0.5))
    small = _smaller(front, light, times)
    found = []
    for turned in (back[:, ::-1], back[::-1]):  # turned over along its side, or head to foot
        laid = _smaller(turned, light, times)
        found.append((find_ghost(small.mean(axis=2), laid.mean(axis=2)), turned, laid))
    ghost, turned, laid = max(found, key=lambda one: one[0].clear)
    if ghost.why:
        work.left("show-through", "unsure")
        return
    work.ghost = GhostSweep(np.ascontiguousarray(turned), light, at_full_size(ghost, times), papers_of(small, laid))
    work.said.append({"what": "show-through", "share": round(ghost.share, 4), "blur_px": round(ghost.blur * times, 2)})
    work.notes.append(("finish.mended-show-through", {"name": work.name, "percent": 100 * ghost.share}))


def _upright(still: OpenStill, picture: PlannedPicture) -> np.ndarray:
    image = upright_picture(still, picture.corners, picture.tilt, picture.turn)
    return image.numpy().reshape(image.height, image.width, image.bands)


def _smaller(codes: np.ndarray, light: np.ndarray, times: int) -> np.ndarray:
    """Light averaged over squares of so many pixels a side."""
    columns = codes.shape[1] // times
    made = []
    for top in range(0, codes.shape[0] // times * times, 64 * times):
        part = light[codes[top : top + 64 * times, : columns * times]]
        rows = part.shape[0] // times
        made.append(part[: rows * times].reshape(rows, times, columns, times, -1).mean(axis=(1, 3)))
    return np.concatenate(made)


def _warn_of_eight_bits(still: OpenStill, work: MendedPicture) -> None:
    if still.image.bits_stated <= 8:
        work.said[-1]["from_bits"] = still.image.bits_stated
        work.notes.append(("finish.mended-from-8-bits", {"name": work.name}))


def _round(values: tuple[float, ...]) -> list[float]:
    return [round(value, 3) for value in values]
