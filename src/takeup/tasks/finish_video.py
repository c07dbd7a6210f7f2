"""Finish a video item: a master that holds every picture, and a copy that plays everywhere in its right shape."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from takeup.errors import Unreadable
from takeup.files.beside import beside
from takeup.files.taking_back import in_passing
from takeup.media.matroska_edit import CannotEdit, state_shape, write_tags
from takeup.media.moving_copy import CopyPlan, PosterPlan, write_h264
from takeup.media.moving_prove import prove, prove_packets
from takeup.media.moving_write import PictureTruth, rewrap, write_ffv1
from takeup.media.probe import look_at
from takeup.plan.copies import Profile, plan_copy_size, plan_every, plan_levels, plan_profile
from takeup.plan.finishing import (
    plan_colour,
    plan_field_order,
    plan_shape,
    plan_shown_size,
    plan_video_master,
)  # fmt: skip
from takeup.plan.tag_names import matroska_names
from takeup.plan.tagging import Tags
from takeup.settings import Settings
from takeup.streams import CaptureFile, PictureStream
from takeup.tables.rows import Rows
from takeup.tasks.ears import Ears
from takeup.tasks.finish_sound import aac_tags
from takeup.tasks.finish_sound_master import keep_as_it_is, side_tags
from takeup.tasks.finish_video_sound import Notes, copy_sound
from takeup.tasks.finishing import Chosen, Made, Place, Way, seconds_to

MASTER_WORK, PROOF_WORK, COPY_WORK, SOUND_WORK = (
    1.1,
    1.3,
    1.4,
    0.1,
)  # of two cores' time, as bench/video_finish.py has it


def finish_video(chosen: list[Chosen], place: Place, rows: Rows, settings: Settings, ears: Ears) -> list[Made]:
    """Make what is wanted of the captures of one item, each capture a film of its own."""
    made: list[Made] = []
    for at, part in enumerate(chosen, 1):
        capture = look_at(part.stored[0])
        if capture.picture is None:
            raise Unreadable("capture.broken", path=str(part.stored[0]), error="no picture")
        tags = side_tags(part, at, len(chosen))
        way = Way(ears, part.original.id, _steps(part, capture, place, rows), at - 1, len(chosen))
        if place.wants("master"):
            made.append(_master(part, capture, capture.picture, tags, place, rows, way))
        if place.wants("copy"):
            made.append(_copy(part, capture, capture.picture, tags, place, rows, way))
    return made


def _steps(part: Chosen, capture: CaptureFile, place: Place, rows: Rows) -> dict[str, float]:
    """Each step's part of the work, for the time that is left."""
    steps: dict[str, float] = {}
    coded = capture.picture is not None and plan_video_master(capture.picture, capture.container, rows) == "coded"
    if place.wants("master") and coded:
        target = place.master(f"{part.name}.mkv")
        stands = target.is_file() and place.standing(target, part.stored)
        steps |= {} if stands else {target.name: MASTER_WORK, f"{target.name}: compare": PROOF_WORK}
    if place.wants("copy"):
        steps |= {
            f"{part.name}: loudness": SOUND_WORK,
            f"{part.name}: sound": SOUND_WORK,
            f"{part.name}.mp4": COPY_WORK,
        }
    return steps


def _master(
    part: Chosen, capture: CaptureFile, picture: PictureStream, tags: Tags, place: Place, rows: Rows, ears: Ears
) -> Made:
    way = plan_video_master(picture, capture.container, rows, index_made="index-made" in capture.notes)
    source = part.stored[0]
    suffix = {"as-it-is": source.suffix.lower(), "indexed": ".mov"}.get(way, ".mkv")
    target = place.master(f"{part.name}{suffix}")
    if standing := place.standing(target, part.stored):
        return standing
    total = _seconds(part, picture)
    if way == "coded":
        made_with, notes = _coded(part, picture, tags, target, rows, ears)
        return _made(part, target, "master", made_with, tags, picture, rows, notes=notes, tagged=True)
    if way in ("rewrapped", "indexed"):
        container, called = ("mov", "MOV") if way == "indexed" else ("matroska", "Matroska")
        with beside(target) as file:
            rewrap(source, file, container=container, metadata={})
            held = prove_packets(source, file, seconds_to(ears, f"{target.name}: compare", total, _rate(picture)))
        made_with = {
            "kept": "re-wrapped, its own packets", "format": called, "codec": picture.codec,
            "pictures": held.pictures, "packets_unchanged": "each compared with the capture's",
        }  # fmt: skip
        return _made(part, target, "master", made_with, tags, picture, rows)
    return keep_as_it_is(part, place, capture, tags.title, ears)


def _coded(
    part: Chosen, picture: PictureStream, tags: Tags, target: Path, rows: Rows, ears: Ears
) -> tuple[dict[str, Any], Notes]:
    """FFV1 in Matroska, proven picture by picture before it gets its name."""
    limits, source, total = rows.section("formats.video.master"), part.stored[0], _seconds(part, picture)
    order = plan_field_order(part.reports[0], picture, rows)
    shape, shape_by = plan_shape(picture, rows)
    primaries, transfer, matrix = plan_colour(picture.height, rows)
    planar = rows.section("formats.video.planar").get(picture.pixel_format, picture.pixel_format)
    truth = PictureTruth(
        pixel_format=planar, order=order.value, shape=shape, primaries=primaries, transfer=transfer, matrix=matrix,
        video_range=not planar.startswith(("bgr", "rgb", "gbr")),
    )  # fmt: skip
    options = {"level": limits["version"], "slices": limits["slices"], "slicecrc": limits["slice_check"]}
    with beside(target) as file:
        words = {name: str(value) for name, value in options.items()}
        held = write_ffv1(source, file, truth, words, seconds_to(ears, target.name, total))
        words_in = _said_in(file, picture, shape, tags)
        prove(held, source, file, seconds_to(ears, f"{target.name}: compare", total, _rate(picture)))
    notes: Notes = [("finish.broken-off", {"file": source.name})] if held.broken else []
    if not words_in:
        notes.append(("finish.no-place-for-words", {"file": target.name}))
    return {
        "format": "Matroska", "codec": "FFV1", "sound": "PCM", **options, "g": limits["pictures_apart"],
        "pixel_format": planar, "width": picture.width, "height": picture.height,
        "field_order": order.value, "field_order_by": order.by, "pixel_shape": str(shape), "pixel_shape_by": shape_by,
        "pictures": held.pictures, "pictures_unchanged": "each decoded and compared with the capture",
        "pictures_sha256": held.picture_digest.hexdigest(), "sound_sha256": list(held.sound().values()),
    }, notes  # fmt: skip


def _said_in(file: Path, picture: PictureStream, shape: Fraction, tags: Tags) -> bool:
    """Write shape and words into a fresh master; False when its layout leaves no room for one of them."""
    try:
        state_shape(file, picture.width, picture.height, shape)
        write_tags(file, matroska_names(tags))
    except CannotEdit:
        return False
    return True


def _copy(
    part: Chosen, capture: CaptureFile, picture: PictureStream, tags: Tags, place: Place, rows: Rows, ears: Ears
) -> Made:
    target = place.copy(f"{part.name}.mp4")
    profile = plan_profile(place.form, rows)
    standing = place.standing(target, part.stored)
    if standing and standing.settings.get("form") == profile.name:
        return standing
    limits, source = rows.section("formats.video.copy"), part.stored[0]
    order, (shape, shape_by) = plan_field_order(part.reports[0], picture, rows), plan_shape(picture, rows)
    shape = 1 / shape if picture.turn % 180 else shape
    plan = _plan(part, picture, profile, order.value, shape, rows)
    total, notes = _seconds(part, picture), list[tuple[str, Mapping[str, Any]]]()
    words = aac_tags(tags, rows.value("formats.sound.copy.artist"))
    hear = seconds_to(ears, target.name, total)
    with beside(target) as file, in_passing(file, ".m4a") as sound:
        sound_settings = copy_sound(part, capture, sound, total, notes, rows, ears) if capture.sound else {}
        result = write_h264(
            source, file, sound if capture.sound else None, plan, words, hear, _poster(part, total, limits)
        )
    if result.broken:
        notes.append(("finish.broken-off", {"file": source.name}))
    if plan.every > 1:
        facts = {"name": part.name, "rate": float(result.rate), "every": plan.every}
        fields = "fields" if order.value != "progressive" else "pictures"
        notes.append((f"finish.every-second-{fields}", facts))
    if plan.levels:
        notes.append(("finish.levels-mapped", {"name": part.name, "low": plan.levels[0], "high": plan.levels[1]}))
    square = plan.size is not None
    made_with = {
        "format": "MP4", "codec": "H.264", "form": profile.name, "form_asked": place.form_asked,
        "profile": plan.profile, "crf": plan.crf, "preset": plan.preset,
        "pixel_format": "yuv420p", "width": result.width, "height": result.height, "rate": str(result.rate),
        "pictures": result.pictures, "key_s": plan.key_s, "field_order": order.value, "field_order_by": order.by,
        "deinterlaced": order.value != "progressive", "every": plan.every,
        "pixel_shape": "1" if square else str(shape), "pixel_shape_by": "scaled" if square else shape_by,
        "turned_degrees": picture.turn,
        "levels_mapped": list(plan.levels) if plan.levels else None, "poster_s": result.poster_s,
        "expected_bytes_per_hour": round(profile.bytes_per_hour),
        **sound_settings,
    }  # fmt: skip
    size = plan_shown_size(result.width, result.height, Fraction(1) if square else shape, 10**6)
    video = _made(part, target, "copy", made_with, tags, picture, rows, notes=notes, tagged=True)
    return replace(video, seconds=result.seconds, size=size)


def _plan(part: Chosen, picture: PictureStream, profile: Profile, order: str, shape: Fraction, rows: Rows) -> CopyPlan:
    limits = rows.section("formats.video.copy")
    primaries, transfer, matrix = plan_colour(picture.height, rows)
    wide, high = (picture.height, picture.width) if picture.turn % 180 else (picture.width, picture.height)
    shown_per_s = (picture.rate or Fraction(25)) * (1 if order == "progressive" else 2)
    levels = plan_levels(part.reports[0], rows)
    return CopyPlan(
        order=order, shape=shape, crf=profile.crf, preset=profile.preset, profile=limits["profile"],
        key_s=limits["key_s"], primaries=primaries, transfer=transfer, matrix=matrix,
        every=plan_every(shown_per_s, profile), size=plan_copy_size(wide, high, shape, profile), turn=picture.turn,
        levels=(levels.low, levels.high) if levels else None,
    )  # fmt: skip


def _poster(part: Chosen, total: float | None, limits: Mapping[str, Any]) -> PosterPlan:
    """What players show for the copy: never a moment that the check found to show nothing."""
    report = part.reports[0]
    avoid = [
        (finding.from_s or 0.0, finding.to_s if finding.to_s is not None else float("inf"))
        for finding in (report.findings if report else ())
        if finding.name in limits["poster_never"] and finding.from_s is not None
    ]
    every = max(limits["poster_every_s"], (total or 0.0) / limits["poster_looks"])
    return PosterPlan(
        every_s=every, head_s=min(limits["poster_head_s"], (total or 0.0) / 10), avoid=avoid,
        long_side_px=limits["poster_px"], quality=limits["poster_quality"],
    )  # fmt: skip


def _made(
    part: Chosen, path: Path, role: Any, settings: Mapping[str, Any], tags: Tags, picture: PictureStream, rows: Rows, *,
    notes: Notes | tuple = (), tagged: bool = False,
) -> Made:  # fmt: skip
    shape, _ = plan_shape(picture, rows)
    return Made(
        path=path, role=role, from_=part.stored, settings=settings, title=tags.title, seconds=_seconds(part, picture),
        size=plan_shown_size(picture.width, picture.height, shape, 10**6), notes=tuple(notes), part=part.part,
        tagged=tagged,
    )  # fmt: skip


def _seconds(part: Chosen, picture: PictureStream) -> float | None:
    report = part.reports[0]
    return report.seconds if report and report.seconds else picture.seconds_stated


def _rate(picture: PictureStream) -> float:
    return float(picture.rate or 25)
