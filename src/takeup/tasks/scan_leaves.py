"""Looks at a scan as pages: which way round, how many, where the frames of a fiche lie."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from takeup.judge.scan import PAGES_OF_TEXT, Seen
from takeup.judge.scan_micro import Leaves, is_sure
from takeup.measure.scan.density import find_base
from takeup.measure.scan.fiche import Fiche, fiche_frames
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.miniature import Miniature
from takeup.measure.scan.page_light import page_light
from takeup.measure.scan.pictures import Pictures, Print
from takeup.measure.scan.polarity import base_polarity, mask_polarity, may_be_masked, text_blocks, text_polarity
from takeup.measure.scan.tone import tone_curve
from takeup.measure.scan.two_pages import Spread, two_pages
from takeup.tables.rows import Rows

BASE_PX = 900  # of the longer side, from twice which a picture is made smaller before its film's base is looked for


def leaves_seen(seen: Seen, small: Miniature, carrier: str, family: str, rows: Rows) -> Seen:
    """What was seen, with its pages: added before the second look."""
    if seen.pictures is None or seen.image.bits_stated < 8:
        return seen
    if family not in PAGES_OF_TEXT:
        return replace(seen, leaves=_picture(seen, small, carrier))
    grey = small.pixels[..., 0] if small.pixels.shape[2] == 1 else cv2.cvtColor(small.pixels, cv2.COLOR_RGB2GRAY)
    fiche = fiche_frames(grey) if carrier == "microfiche" and min(grey.shape) >= 64 else None
    polarity = text_polarity(grey)
    signs = text_blocks(grey)
    sure = is_sure(polarity, rows)
    light = page_light(grey, signs) if family == "micro" and fiche is None else None
    spread = None
    if fiche is None:
        spread = _spread(255 - grey if sure and polarity.negative else grey, seen)
    leaves = Leaves(
        polarity=polarity, sure=sure, light=light, looked=True,
        spread=None if spread is None else _enlarged(spread, small.block),
        fiche=None if fiche is None else _in_scan(fiche, small.block),
    )  # fmt: skip
    seen = replace(seen, leaves=leaves)
    return seen if leaves.fiche is None or not leaves.fiche.frames else replace(seen, pictures=_frames(leaves.fiche))


def _picture(seen: Seen, small: Miniature, carrier: str) -> Leaves:
    """Of a picture only a colour negative's mask tells that it is one; where that is expected nothing is said."""
    if carrier == "negative" or small.pixels.shape[2] != 3 or seen.pictures is None:
        return Leaves()
    first = FirstLook(small=small, pictures=seen.pictures, size=(0, 0), ppi=None, full_scale=255)
    for one in seen.pictures.prints:
        xs, ys = np.asarray(one.corners).T / small.block
        inside = first.inside(one, 2)[int(max(ys.min(), 0)) : int(ys.max()), int(max(xs.min(), 0)) : int(xs.max())]
        part = small.pixels[int(max(ys.min(), 0)) : int(ys.max()), int(max(xs.min(), 0)) : int(xs.max())]
        if inside.sum() < 1024:
            continue
        rows, columns = np.flatnonzero(inside.mean(axis=1) > 0.9), np.flatnonzero(inside.mean(axis=0) > 0.9)
        if rows.size and columns.size:
            part = part[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
        polarity = mask_polarity(np.ascontiguousarray(part))
        if not polarity.negative:
            light = _light(_thinned(part), seen.image.profile)
            polarity = base_polarity(find_base(light).density) if may_be_masked(light) else polarity
        if polarity.negative:
            return Leaves(polarity=polarity, sure=True, looked=True)
    return Leaves(looked=True)


def _thinned(part: np.ndarray) -> np.ndarray:
    """As small as copies look for the base of a film (``media.still_mend.sample``); in full a glass takes 500 MB."""
    step = max(1, max(part.shape[:2]) // BASE_PX)
    if step == 1:
        return part
    return cv2.resize(part, (part.shape[1] // step, part.shape[0] // step), interpolation=cv2.INTER_AREA)


def _light(part: np.ndarray, profile: str | None) -> np.ndarray:
    curve = tone_curve(profile, 255)
    return part / 255 if curve is None else curve[part]


def _spread(grey: np.ndarray, seen: Seen) -> Spread | None:
    """Two pages on the whole scan, or on the one sheet that lies on the lid."""
    assert seen.pictures is not None
    upright = seen.text is not None and seen.text.upright
    tilt = seen.text.tilt if seen.text is not None else 0.0
    if seen.pictures.ground != "lid" or len(seen.pictures.prints) != 1:
        return two_pages(grey, upright=upright, tilt=tilt)
    one = seen.pictures.prints[0]
    xs, ys = np.asarray(one.corners).T / seen.block
    left, top = int(max(xs.min(), 0)), int(max(ys.min(), 0))
    sheet = np.ascontiguousarray(grey[top : int(ys.max()), left : int(xs.max())])
    found = two_pages(sheet, upright=upright, tilt=one.tilt)
    if found is None:
        return None
    (x0, y0), (x1, y1) = found.top, found.foot
    return replace(found, top=(x0 + left, y0 + top), foot=(x1 + left, y1 + top))


def _enlarged(spread: Spread, block: int) -> Spread:
    (x0, y0), (x1, y1) = spread.top, spread.foot
    return replace(spread, top=(x0 * block, y0 * block), foot=(x1 * block, y1 * block))


def _in_scan(fiche: Fiche, block: int) -> Fiche:
    return replace(fiche, frames=tuple(tuple((x * block, y * block) for x, y in frame) for frame in fiche.frames))


def _frames(fiche: Fiche) -> Pictures:
    """The frames as pictures, in reading order."""
    prints = tuple(
        Print(corners=frame, tilt=fiche.tilt, meets=(False, False, False, False), sure=4, clear=True)
        for frame in fiche.frames
    )
    return Pictures(prints=prints, unsure=(), ground="frames")
