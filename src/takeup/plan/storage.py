"""How many bytes the masters and everyday copies of an original take, and what to set at its station. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from takeup.plan.copies import Profile
from takeup.plan.film_extent import plan_film
from takeup.plan.minutes import Extent
from takeup.streams import Original
from takeup.tables.rows import Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """Bytes of one original's files: as expected, and as a drive must hold them; the largest single file."""

    master_bytes: int
    copy_bytes: int
    master_safe_bytes: int
    copy_safe_bytes: int
    largest_bytes: int

    def kept(self, keep: str) -> Room:
        """Without what its owner does not take home (``keep``: both, copy, master)."""
        master, copy = keep != "copy", keep != "master"
        return Room(
            master_bytes=self.master_bytes * master,
            copy_bytes=self.copy_bytes * copy,
            master_safe_bytes=self.master_safe_bytes * master,
            copy_safe_bytes=self.copy_safe_bytes * copy,
            largest_bytes=self.largest_bytes if master else 0,
        )


def plan_room(original: Original, extent: Extent, medium: str, rows: Rows, copies: Profile | None = None) -> Room:
    """Bytes by the medium's rows in ``storage``.

    Sound is exact (rate x bytes x channels x seconds); video and film are rates; a scan is its pixels. Copies of a
    video in another form than as taped have that form's rate.
    """
    match medium:
        case "sound":
            master, copy = sound_bytes_per_second(rows), rows.value("storage.sound.copy_bits_per_second") / 8
            sides = original.sides or int(rows.value(f"carriers.{original.carrier}.sides"))
            return _room(extent, 60 * master, 60 * copy, files=sides)
        case "video":
            hourly = rows.value("storage.video.master_likely_bytes_per_hour")
            safe = rows.value("storage.video.master_safe_bytes_per_hour")
            copy = copy_bytes_per_second(copies, rows)
            return _room(extent, hourly / 60, 60 * copy, safe_master=safe / 60)
        case "film":
            return _film_room(original, extent, rows)
        case _:
            width, height, channels, bits, _ = scan_shape(original, rows)
            pixels = width * height
            master = pixels * channels * bits / 8
            return _room(
                extent, master, pixels * rows.value("storage.scan.copy_bytes_per_pixel"), files=max(1, extent.safe)
            )


def copy_bytes_per_second(copies: Profile | None, rows: Rows) -> float:
    """What a second of a video takes as everyday copy, as a drive should hold it: noisy tapes, not the mean one."""
    taped = float(rows.value("storage.video.copy_bits_per_second") / 8)
    if copies is None or copies.lines is None:
        return taped
    return taped * copies.bytes_per_hour / float(rows.value("formats.video.copies.as-taped.bytes_per_hour"))


def _room(extent: Extent, master: float, copy: float, *, safe_master: float | None = None, files: float = 1) -> Room:
    safe_master = master if safe_master is None else safe_master
    return Room(
        master_bytes=math.ceil(extent.likely * master),
        copy_bytes=math.ceil(extent.likely * copy),
        master_safe_bytes=math.ceil(extent.safe * safe_master),
        copy_safe_bytes=math.ceil(extent.safe * copy),
        largest_bytes=math.ceil(extent.safe * safe_master / files),
    )


def _film_room(original: Original, extent: Extent, rows: Rows) -> Room:
    film = rows.section("storage.film")
    per_picture = film["file_bits_per_second"] / 8 / film["file_pictures_per_second"]
    safe = film["file_safe_bits_per_second"] / 8 / film["file_pictures_per_second"]
    time = plan_film(original, rows, pictures=round(extent.likely))
    assert time is not None
    return _room(extent, per_picture, film["copy_bits_per_second"] / 8 / float(time.speed), safe_master=safe)


def sound_bytes_per_second(rows: Rows) -> float:
    """Linear PCM: rate times bytes of a sample times channels."""
    sound = rows.section("storage.sound")
    return float(sound["rate_hz"] * sound["bits"] / 8 * sound["channels"])


def scan_shape(original: Original, rows: Rows) -> tuple[int, int, int, int, int]:
    """Width and height of one scanned piece [pixels], channels, bits of a channel, ppi to set."""
    shape = rows.section(f"storage.{original.carrier}")
    width_in, height_in = shape["width_in"], shape["height_in"]
    if original.frame is not None and original.carrier in ("slide", "negative"):
        width_in, height_in = rows.value(f"storage.frame.{original.frame}")
    channels = shape.get("channels", rows.value("storage.scan.channels"))
    ppi = shape["ppi"]
    return round(width_in * ppi), round(height_in * ppi), channels, shape["bits"], ppi


def plan_settings(original: Original, extent: Extent, medium: str, rows: Rows) -> dict[str, Any]:
    """What to set at the station, by name: the figures that the bytes and minutes rest on."""
    match medium:
        case "sound":
            sound = rows.section("storage.sound")
            names = ("rate_hz", "bits", "channels", "peaks_dbfs")
            sides = original.sides or int(rows.value(f"carriers.{original.carrier}.sides"))
            return {name: sound[name] for name in names} | {"sides": sides, "minutes": extent.likely}
        case "video":
            video = rows.section("storage.video")
            lines = video[f"lines_{original.system}"] if original.system else None
            return {
                "bits": video["bits"],
                "sampling": video["sampling"],
                "system": original.system or "unknown",
                "lines": lines,
                "speed": original.speed or "unknown",
                "sound": original.sound or "unknown",
                "minutes": extent.likely,
            }
        case "film":
            time = plan_film(original, rows, pictures=round(extent.likely))
            assert time is not None
            speed = time.speed
            return {
                "pictures": round(extent.likely),
                "speed": int(speed) if speed.denominator == 1 else float(speed),
                "screen_seconds": round(float(round(extent.likely) / speed), 3),
                "rate": str(speed),
                "decided_by": time.decided_by,
                "file_pictures_per_second": rows.value("storage.film.file_pictures_per_second"),
            }
        case _:
            width, height, channels, bits, ppi = scan_shape(original, rows)
            settings: dict[str, Any] = {"ppi": ppi, "bits": bits, "channels": channels, "pieces": round(extent.likely)}
            settings |= {"width_px": width, "height_px": height}
            if original.reduction is not None:
                settings |= {"reduction": original.reduction, "film_ppi": round(ppi * original.reduction)}
            return settings
