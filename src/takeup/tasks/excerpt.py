"""Pieces of captures for looking and listening, made when somebody wants them and kept for a while.

They lie below the desk's home, never in a box; the oldest go when there are too many. Making one is never more than a
few seconds of work, and one is made at a time: the other core is the stations'.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from takeup.errors import NotPossible
from takeup.files.beside import beside
from takeup.files.passing import forget_pieces, keep_within, touch
from takeup.media import excerpt as media
from takeup.media.probe import look_at
from takeup.media.still import OpenStill
from takeup.media.still_write import write_jpeg_copy
from takeup.plan.scan_finishing import PlannedPicture

FOLDER = "excerpts"
PIECE_S = 8.0  # a piece's length: two seconds before a place, the place, and what follows
BEFORE_S = 2.0
STILLS = 5  # of a piece of film, side by side
STRIP_PX, GLASS_PX, SMALL_PX = 320, 1600, 360
MOST_BYTES, MOST_FILES = 500_000_000, 2_000  # together with the lab's database on one disk
KINDS = {".wav": "audio/wav", ".mp4": "video/mp4", ".jpg": "image/jpeg", ".svg": "image/svg+xml"}
_ONE = threading.Lock()


def piece_of(home: Path, box: str, path: Path, sha256: str, medium: str, from_s: float) -> Path:
    """Some seconds from a place of a capture on: WAV for sound, MP4 for video, stills side by side for film.

    Raises
    ------
    Unreadable
        ``excerpt.nothing-there``, ``capture.*``.
    """
    from_s = max(0.0, round(from_s, 1))
    ending = {"sound": ".wav", "video": ".mp4", "film": ".jpg"}[medium]
    make = {"sound": _sound, "video": _video, "film": _film}[medium]
    target = place(home, box, sha256, f"{round(from_s * 10):07d}", ending)
    return kept(home, target, lambda part: make(path, part, from_s))


def _sound(path: Path, part: Path, from_s: float) -> None:
    media.write_sound_piece(path, part, from_s, PIECE_S)


def _video(path: Path, part: Path, from_s: float) -> None:
    media.write_moving_piece(path, part, from_s, PIECE_S)


def _film(path: Path, part: Path, from_s: float) -> None:
    times = [from_s + PIECE_S * at / STILLS for at in range(STILLS)]
    media.write_strip(media.stills_at(path, times, widest_px=STRIP_PX), part)


def poster_of(home: Path, box: str, path: Path, sha256: str, at_s: float) -> Path:
    """One still of a moving capture."""
    target = place(home, box, sha256, f"still-{round(at_s * 10):07d}", ".jpg")
    return kept(home, target, lambda part: media.write_strip(media.stills_at(path, [at_s], widest_px=640), part))


def glass_of(home: Path, box: str, path: Path, sha256: str) -> Path:
    """A whole scan as its pixels lie, small."""
    target = place(home, box, sha256, "glass", ".jpg")

    def make(part: Path) -> None:
        media.write_miniature(path, look_at(path), part, GLASS_PX, upright=False)

    return kept(home, target, make)


def cut_of(home: Path, box: str, path: Path, sha256: str, picture: PlannedPicture) -> Path:
    """One picture of a scan as it will be cut and turned, small."""
    target = place(home, box, sha256, f"cut-{picture.mark}", ".jpg")

    def make(part: Path) -> None:
        still = OpenStill(path, look_at(path))
        write_jpeg_copy(
            still, part, quality=media.QUALITY, corners=picture.corners, tilt=picture.tilt, turn=picture.turn,
            longest_px=SMALL_PX,
        )  # fmt: skip

    return kept(home, target, make)


def small_of(home: Path, box: str, path: Path, sha256: str) -> Path:
    """A finished picture, small."""
    target = place(home, box, sha256, "small", ".jpg")
    return kept(home, target, lambda part: media.write_small_jpeg(path, part, SMALL_PX))


def drawing_of(home: Path, box: str, sha256: str, name: str, draw: Callable[[], str]) -> Path:
    """A drawing that was made of a capture; ``name`` says all it depends on beside the capture."""
    return kept(home, place(home, box, sha256, name, ".svg"), lambda part: part.write_text(draw(), "utf-8"))


def kept(home: Path, target: Path, make: Callable[[Path], None]) -> Path:
    """The piece, made now when it is not there."""
    if target.is_file():
        touch(target)
        return target
    with _ONE:
        if not target.is_file():
            with beside(target) as part:
                make(part)
            keep_within(home / FOLDER, most_bytes=MOST_BYTES, most_files=MOST_FILES)
    if not target.is_file():
        raise NotPossible("excerpt.nothing-there", name=target.name)
    return target


def forget_box(home: Path, box: str) -> int:
    """Take a box's pieces away: when it is closed, or its person is forgotten."""
    return forget_pieces(home / FOLDER / box)


def place(home: Path, box: str, sha256: str, name: str, ending: str) -> Path:
    """Where a piece lies, by the capture that it is of and all else that it depends on."""
    return home / FOLDER / box / f"piece-{sha256[:16]}-{name}{ending}"
