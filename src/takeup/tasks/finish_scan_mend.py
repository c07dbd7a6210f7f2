"""What the everyday copy of a scanned picture puts right: what was asked, where it is sure, never a master."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyvips

from takeup.measure.scan.density import find_base, plan_inversion, positive
from takeup.measure.scan.fade import find_fade, undo_fade
from takeup.measure.scan.mask import DustSweep
from takeup.media.still import OpenStill
from takeup.media.still_mend import by_strips, codes_for, light_of_codes, sample, through_table
from takeup.plan.scan_finishing import PlannedPicture

Note = tuple[str, Mapping[str, Any]]
NEGATIVE, FADES = ("negative", "microfilm", "microfiche"), ("print", "slide")


@dataclass(kw_only=True)
class MendedPicture:
    """How a picture's copy is made. ``said`` is whole after ``told``: specks are counted as they pass."""

    asked: tuple[str, ...]
    name: str
    table: np.ndarray | None = None  # codes to codes, before anything else
    grey: bool = False
    sweep: DustSweep | None = None
    said: list[dict[str, Any]] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)

    def point(self, image: pyvips.Image) -> pyvips.Image:
        """The scan's own pixels, one by one."""
        return image if self.table is None else through_table(image, self.table)

    def after(self, image: pyvips.Image) -> pyvips.Image:
        """The upright copy's pixels."""
        if self.grey and image.bands == 3:
            image = image.colourspace("b-w")
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
    still: OpenStill, picture: PlannedPicture | None, asked: tuple[str, ...], name: str, carrier: str
) -> MendedPicture:
    """Plan what is put right in the copy of one picture; nothing is read when nothing is asked."""
    work = MendedPicture(asked=asked, name=name)
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
    base = find_base(sample(still, light))
    if base.why:
        work.left("positive", base.why)
        return light
    how = plan_inversion(sample(still, light, corners), base)
    work.grey = how.grey
    work.said.append({
        "what": "positive", "interpretation": True, "base": _round(how.base), "contrast": _round(how.contrast),
        "decades": round(how.white[0], 2), "black": round(how.black, 4),
        "colours": "grey" if how.grey else "colour", "base_share": round(base.share, 4),
    })  # fmt: skip
    work.notes.append(("finish.mended-positive", {"name": work.name}))
    _warn_of_eight_bits(still, work)
    return positive(light, how)


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


def _warn_of_eight_bits(still: OpenStill, work: MendedPicture) -> None:
    if still.image.bits_stated <= 8:
        work.said[-1]["from_bits"] = still.image.bits_stated
        work.notes.append(("finish.mended-from-8-bits", {"name": work.name}))


def _round(values: tuple[float, ...]) -> list[float]:
    return [round(value, 3) for value in values]
