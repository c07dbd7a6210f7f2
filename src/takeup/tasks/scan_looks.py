"""Looks at one page or bed: once for its miniature and what lies where, once more for places worth every pixel.

A second thread works beside the first: NumPy and OpenCV let other threads run while they go over whole arrays. What a
measure is given does not depend on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from takeup.errors import Unreadable
from takeup.judge.scan import FAMILY, PAGES_OF_TEXT, Seen
from takeup.judge.scan_findings import sure_tilt
from takeup.judge.scan_scale import sizes_for
from takeup.measure.scan import depth, miniature, rails, windows
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.inner import inner_box, inside
from takeup.measure.scan.origin import PURPOSE as ORIGIN
from takeup.measure.scan.origin import origin, origin_places
from takeup.measure.scan.pictures import Pictures, pictures, whole_scan
from takeup.measure.scan.rails import clipped_share
from takeup.measure.scan.scale import rulers_on, scale
from takeup.measure.scan.seams_sizes import Papers
from takeup.measure.scan.sides import Box
from takeup.measure.scan.text_tilt import text_tilt
from takeup.measure.scan.ticks import Ruler
from takeup.media.still import INCOMPLETE, OpenStill, page_of
from takeup.streams import CaptureFile, StillImage
from takeup.tables.rows import Rows
from takeup.tasks.scan_colours import colours_measured, colours_seen
from takeup.tasks.scan_dyes import dyes_seen
from takeup.tasks.scan_edges import edges_measured, edges_sought
from takeup.tasks.scan_leaves import leaves_seen
from takeup.tasks.scan_machine import machine_begin, machine_finish, machine_marks, machine_step, with_marks
from takeup.tasks.scan_reading import ghost_seen, reading_seen


def look_through(
    path: Path, capture: CaptureFile, page: int, carrier: str, rows: Rows
) -> tuple[Seen, miniature.Miniature | None]:
    """What one page or bed showed, and its miniature (None when nothing could be read).

    Raises
    ------
    Unreadable
        ``scan.too-small``, ``scan.too-large``, ``scan.too-thin``, ``scan.odd-numbers`` when it is no scan at all; a
        damaged one is told in what was seen.
    """
    assert capture.image is not None
    try:
        if wanting := _claims(page_of(path, capture, page), path, capture.bytes, rows):
            return Seen(image=replace(capture.image, page=page), broken=wanting), None
        still = OpenStill(path, capture, page)
    except Unreadable as fault:
        if fault.key != "capture.broken":
            raise
        return Seen(image=replace(capture.image, page=page), broken=str(fault.facts.get("error", fault.key))), None
    image = still.image
    _claims(replace(image, width=still.width, height=still.height), path, capture.bytes, rows)
    block = block_for(still.width, still.height, rows)
    small_state, depth_state = (
        miniature.begin(block),
        depth.begin(8 * still.dtype.itemsize, every=4 if block > 2 else 1),
    )
    rail_state = rails.begin(block, still.full_scale)
    broken = "pixels are missing at its end" if INCOMPLETE in capture.notes else ""
    with ThreadPoolExecutor(1, thread_name_prefix="look") as beside:
        try:
            for strip in still.strips():
                counted = beside.submit(rails.step, rail_state, strip)
                small_state, depth_state = miniature.step(small_state, strip), depth.step(depth_state, strip)
                rail_state = counted.result()
        except Unreadable as fault:
            broken = str(fault.facts.get("error", fault.key))
    if not small_state.parts:
        return Seen(image=image, notes=capture.notes, broken=broken or "it is smaller than one block"), None
    small = miniature.finish(small_state)
    seen = Seen(image=image, notes=capture.notes, depth=depth.finish(depth_state), block=block, broken=broken)
    if broken:
        return seen, small
    size, family = (still.width, still.height), FAMILY.get(carrier, "print")
    with ThreadPoolExecutor(1, thread_name_prefix="look") as beside:
        ticks = beside.submit(rulers_on, small)
        seen = _with_pictures(seen, small, rails.finish(rail_state), size, carrier, rows)
        seen = leaves_seen(seen, small, carrier, family, rows)
    assert seen.pictures is not None
    first = FirstLook(
        small=small, pictures=seen.pictures, size=size, ppi=told_ppi(image.ppi_stated, size, rows),
        full_scale=still.full_scale,
    )  # fmt: skip
    return second_look(seen, still, first, family, rows, ticks.result()), small


def second_look(
    seen: Seen, still: OpenStill, first: FirstLook, family: str, rows: Rows, lie: Sequence[Ruler] | None = None
) -> Seen:
    """What only every pixel can tell, added to what was seen. Each measure says which places it wants; the scan passes
    by once for all of them, and for what is summed up of whole columns and rows.

    Raises
    ------
    Unreadable
        When the file can no longer be read.
    """
    with ThreadPoolExecutor(1, thread_name_prefix="look") as beside:
        begun = beside.submit(machine_begin, first, family)
        origins = beside.submit(origin_places, first)
        marks = beside.submit(machine_marks, first, family)
        read = beside.submit(reading_seen, first.small, seen, family, rows)
        ghost = beside.submit(ghost_seen, first.small, seen, family, rows)
        fades = beside.submit(dyes_seen, first, seen.image.profile) if family in ("print", "film") else None
        seen = replace(seen, scale=scale(first, family, sizes_for(family, rows), lie))
        seen, colours = colours_seen(seen, still, first, rows, family)
        wanted = edges_sought(seen, first, family)
        machine = begun.result()
        state = windows.begin([*wanted.places, *origins.result(), *colours.places, *machine.places])
        for strip in still.strips():
            state = windows.step(state, strip)
            machine = machine_step(machine, strip)
        kept = windows.finish(state)
        told = beside.submit(machine_finish, machine, kept, rows)
        seen = colours_measured(colours, kept, seen, first.full_scale)
        return replace(
            seen,
            sharp=edges_measured(wanted, kept, seen, first.full_scale),
            origin=origin(kept.get(ORIGIN, ()), first.full_scale),
            machine=with_marks(told.result(), *marks.result()),
            fades=() if fades is None else fades.result(),
            reading=read.result(),
            ghost=ghost.result(),
        )


def refuse_claims(path: Path, capture: CaptureFile, rows: Rows) -> None:
    """Refuse what no check of a scan looks at, by what its file says of its pages.

    Raises
    ------
    Unreadable
        As a check would: ``scan.too-large``, ``scan.too-small``, ``scan.too-thin``, ``scan.odd-numbers``.
    """
    assert capture.image is not None
    for page in range(capture.image.pages):
        try:
            if not _claims(page_of(path, capture, page), path, capture.bytes, rows):
                OpenStill(path, capture, page)
        except Unreadable as fault:
            if fault.key != "capture.broken":  # a check tells that in its report
                raise


def _claims(image: StillImage, path: Path, size_bytes: int, rows: Rows) -> str:
    """Why the data of a picture cannot be all there, if its file is too small for them; empty where it is not.

    Raises
    ------
    Unreadable
        ``scan.too-large``: larger than any scan, or it unpacks to far more than a scan of its size could;
        ``scan.too-small``, ``scan.too-thin``: nothing could be told of it.
    """
    known, pixels = rows.section("scan.miniature"), image.width * image.height
    short, size = min(image.width, image.height), {"width": image.width, "height": image.height}
    if short < known["smallest_px"]:
        raise Unreadable("scan.too-small", path=str(path), **size)
    if short < known["thinnest"] * max(image.width, image.height):
        raise Unreadable("scan.too-thin", path=str(path), **size)
    packs = known["packs"].get(image.compression, 0)
    if packs and pixels * image.channels * image.bits_stated > 8 * packs * size_bytes + 8:
        return "it says that it has more pixels than its bytes can hold"
    bare = pixels > known["bare_px"] and size_bytes < known["bare_bytes"] * pixels
    if pixels > known["largest_px"] or bare:
        raise Unreadable("scan.too-large", path=str(path), **size)
    return ""


def told_ppi(ppi: float | None, size: tuple[int, int], rows: Rows) -> float | None:
    """A scan's resolution as its file states it; None where the whole scan would be smaller or larger by it than
    anything that lies on a glass."""
    least, most = rows.value("scan.miniature.told_inch")
    return ppi if ppi and least <= max(size) / ppi <= most else None


def block_for(width: int, height: int, rows: Rows) -> int:
    """Scan pixels per side of a miniature's pixel: about 150 to the inch on a full glass, by the scan's own size alone,
    for a wrong tag of resolution is one of the things that the miniature is to show."""
    return max(1, -(-max(width, height) // rows.value("scan.miniature.most_px")))


def papers_of(rows: Rows) -> Papers:
    """The sizes that prints have, by the table."""
    known = rows.section("scan.papers")
    sides = tuple((float(short), float(long)) for short, long in known["sides_mm"])
    return Papers(sides_mm=sides, smaller_mm=known["smaller_mm"], larger_mm=known["larger_mm"])


def _with_pictures(
    seen: Seen, small: miniature.Miniature, counts: rails.Rails, size: tuple[int, int], carrier: str, rows: Rows
) -> Seen:
    family = FAMILY.get(carrier, "print")
    many = family in ("print", "film")
    ppi = told_ppi(seen.image.ppi_stated, size, rows)
    found = pictures(
        small.pixels, small.block, size, ppi=ppi, many=many, papers=papers_of(rows), framed=family != "film"
    )
    if family == "film" and found.ground == "lid" and found.unsure:
        found = pictures_whole(size)
    least = int(rows.value("scan.clipped.least_area"))
    lows, highs, weights = [], [], []
    for one in found.prints:
        box = box_of(one.corners, one.tilt, small.block)
        area = inside(small.pixels.shape[:2], inner_box(small.pixels, box))
        lows.append(clipped_share(counts.low, area, small.block, least_area_px=least))
        highs.append(clipped_share(counts.high, area, small.block, least_area_px=least))
        weights.append(float(area.sum()))
    text = None
    if family in PAGES_OF_TEXT and found.ground == "whole":
        text = sure_tilt(text_tilt(_grey(small.pixels)), rows)
    return replace(seen, pictures=found, low=tuple(lows), high=tuple(highs), weights=tuple(weights), text=text)


def pictures_whole(size: tuple[int, int]) -> Pictures:
    """The whole scan as one picture."""
    return Pictures(prints=(whole_scan(size),), unsure=(), ground="whole")


def box_of(corners: tuple[tuple[float, float], ...], tilt: float, block: int) -> Box:
    """A print's corners as a box in miniature pixels."""
    points = np.asarray(corners) / block
    middle = points.mean(axis=0)
    width, height = np.hypot(*(points[1] - points[0])), np.hypot(*(points[3] - points[0]))
    return Box(x=float(middle[0]), y=float(middle[1]), width=float(width), height=float(height), tilt=tilt)


def _grey(pixels: np.ndarray) -> np.ndarray:
    return pixels[..., 0] if pixels.shape[2] == 1 else cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
