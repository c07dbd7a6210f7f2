"""Writes masters and everyday copies of stills through libvips: whole scans, pictures cut from a bed, upright copies.

Masters are proven: what was written is read back and compared with the capture, pixel by pixel, in strips.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyvips

from takeup.errors import CopyDiffers, Unreadable
from takeup.media.memory import give_back_large_blocks
from takeup.media.still import OpenStill, plain

MM_PER_INCH = 25.4
BIG_BYTES = 3_900_000_000
ROWS = 16  # compared at a time: for more, libvips makes new room each time
PACKED = 3  # of 9 steps of Deflate: 2 % larger than the usual 6, for six tenths of the time
HELD_BYTES = 120_000_000  # of a picture's pixels that may be held; more wait in a temporary file
TIGHT_PX = 9_000_000  # of a copy whose codes are fitted to it, 5 % smaller: 6 bytes a pixel must be held for that
JPEG_PX = 65_500  # a JPEG's side holds at most 65,535
Corners = tuple[tuple[float, float], ...]
Passed = Callable[[pyvips.Image], pyvips.Image]


def as_it_is(image: pyvips.Image) -> pyvips.Image:
    """Nothing is put right."""
    return image


@dataclass(frozen=True, slots=True, kw_only=True)
class CutOut:
    """An upright box of a scan in whole pixels."""

    x: int
    y: int
    width: int
    height: int

    @property
    def box(self) -> tuple[int, int, int, int]:
        """Left, top, width, height."""
        return self.x, self.y, self.width, self.height


def outward_box(corners: Corners, size: tuple[int, int], margin_px: float) -> CutOut:
    """The smallest upright box of whole pixels round some corners and a margin, as far as the scan goes."""
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    left, top = max(0, int(np.floor(min(xs) - margin_px))), max(0, int(np.floor(min(ys) - margin_px)))
    right = min(size[0], int(np.ceil(max(xs) + margin_px)))
    bottom = min(size[1], int(np.ceil(max(ys) + margin_px)))
    return CutOut(x=left, y=top, width=right - left, height=bottom - top)


def write_tiff_master(still: OpenStill, target: Path, cut: CutOut | None = None) -> None:
    """Write a scan, or an upright box of it, as a TIFF with the same pixels, bits, profile and resolution; compare.

    Raises
    ------
    Unreadable
        ``capture.broken`` when the scan cannot be decoded to its end.
    CopyDiffers
        ``scan.master-differs``: what was read back is not what the scan holds.
    """
    image = still.raw() if cut is None else still.cut(cut.box)
    ppi = still.image.ppi_stated
    down = still.image.ppi_y_stated or ppi
    big = image.width * image.height * image.bands * (2 if image.format == "ushort" else 1) > BIG_BYTES
    options: dict = {"compression": "deflate", "level": PACKED, "bigtiff": big, "keep": "icc"}
    if still.image.bits_stated == 1 and image.bands == 1:
        options |= {"bitdepth": 1, "predictor": "none"}
    else:
        options |= {"predictor": "horizontal"}
    if ppi and down:
        options |= {"xres": ppi / MM_PER_INCH, "yres": down / MM_PER_INCH, "resunit": "inch"}
    try:
        image.tiffsave(str(target), **options)
    except pyvips.Error as error:
        raise broken_still(still.path, error) from error
    _compare(still, target, cut)


def _compare(still: OpenStill, target: Path, cut: CutOut | None) -> None:
    source = still.raw() if cut is None else still.cut(cut.box)
    written = pyvips.Image.new_from_file(str(target), access="sequential", revalidate=True)
    same = (source.width, source.height, source.bands, source.format) == (
        written.width, written.height, written.bands, written.format,
    )  # fmt: skip
    if not same or any(one != other for one, other in zip(_rows(source), _rows(written), strict=True)):
        raise CopyDiffers("scan.master-differs", path=str(target))


def _rows(image: pyvips.Image) -> Iterator[bytes]:
    region = pyvips.Region.new(image)
    for top in range(0, image.height, ROWS):
        yield bytes(region.fetch(0, top, image.width, min(ROWS, image.height - top)))


def write_jpeg_copy(
    still: OpenStill,
    target: Path,
    *,
    quality: int,
    corners: Corners | None = None,
    tilt: float = 0.0,
    longest_px: int = 0,
    turn: int = 0,
    point: Passed = as_it_is,
    after: Passed = as_it_is,
) -> tuple[int, int]:
    """Write an everyday copy: cut to the print, straightened, upright, sRGB, resolution kept; its size [px].

    Parameters
    ----------
    corners : four (x, y) or None
        The print's corners in scan pixels, clockwise from its top left; None: the whole scan.
    tilt : float
        Its turn, clockwise as seen [degrees].
    longest_px : int
        Make it no longer than this; 0: its own size.
    turn : int
        Quarter turns clockwise, after all that.
    point, after : callable
        What the scan's own pixels pass through before anything else, and the upright copy's in the end
        (``still_mend``).

    Raises
    ------
    Unreadable
        ``capture.broken`` when the scan cannot be decoded.
    """
    give_back_large_blocks()
    try:
        image = after(upright_picture(still, corners, tilt, turn, point))
        longest_px = min(longest_px or JPEG_PX, JPEG_PX)
        if max(image.width, image.height) > longest_px:
            image = image.thumbnail_image(longest_px, height=longest_px, size="down", no_rotate=True)
        tight = image.width * image.height <= TIGHT_PX
        data = image.jpegsave_buffer(Q=quality, subsample_mode="off", optimize_coding=tight, keep="icc", profile="srgb")
    except pyvips.Error as error:
        raise broken_still(still.path, error) from error
    across, down = still.image.ppi_stated, still.image.ppi_y_stated or still.image.ppi_stated
    if (still.image.orientation >= 5) != bool(turn % 2):
        across, down = down, across
    target.write_bytes(with_density(data, across, down))
    return image.width, image.height


def upright_picture(
    still: OpenStill, corners: Corners | None = None, tilt: float = 0.0, turn: int = 0, point: Passed = as_it_is
) -> pyvips.Image:
    """The print alone as its copy shows it: cut, straightened, turned upright, 8 bits, sRGB or grey."""
    if corners is None:
        image = in_srgb(point(still.vips()), still)
    else:
        image = _straightened(still, corners, tilt, point)
    image = image.autorot()
    return image.rot(f"d{turn % 4 * 90}") if turn % 4 else image


def with_density(jpeg: bytes, across: float | None, down: float | None) -> bytes:
    """JPEG bytes with a JFIF head that states the resolution [px/inch]; without one the unit is "none".

    libvips writes no such head when it is told to keep the profile alone.
    """
    unit, x, y = (1, round(across), round(down)) if across and down else (0, 1, 1)
    body = b"JFIF\0\x01\x02" + struct.pack(">BHHBB", unit, min(x, 65535), min(y, 65535), 0, 0)
    rest = jpeg[2:]
    if rest[:2] == b"\xff\xe0" and rest[4:9] == b"JFIF\0":
        rest = rest[2 + struct.unpack(">H", rest[2:4])[0] :]
    return jpeg[:2] + b"\xff\xe0" + struct.pack(">H", len(body) + 2) + body + rest


def in_srgb(image: pyvips.Image, still: OpenStill) -> pyvips.Image:
    """The picture in sRGB with 8 bits, by its own profile where it has one that fits; grey stays grey."""
    deep = image.format == "ushort"
    if image.get_typeof("icc-profile-data") and image.bands == 3 and still.image.profile != "unreadable":
        return image.icc_transform("srgb", embedded=True, intent="relative", depth=8)
    if deep:
        image = (image / 257.0).rint().cast("uchar")
    return image.copy(interpretation="srgb" if image.bands == 3 else "b-w")


def _straightened(still: OpenStill, corners: Corners, tilt: float, point: Passed) -> pyvips.Image:
    """The print alone, turned back by its tilt round its middle; one bicubic interpolation, none for a straight one."""
    box, (width, height), straight = shown_box(corners, tilt, (still.width, still.height))
    part = plain(still.cut(box.box))
    part = in_srgb(point(part if still.holds(box.box) else held_pixels(part)), still)
    if straight:
        return part
    middle = np.asarray(corners).mean(axis=0)
    a = np.deg2rad(tilt)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    shift = turn @ (0.5 - (middle - [box.x, box.y])) + np.array([width, height]) / 2 - 0.5
    return part.affine(
        [turn[0, 0], turn[0, 1], turn[1, 0], turn[1, 1]],
        interpolate=pyvips.Interpolate.new("bicubic"),
        odx=float(shift[0]),
        ody=float(shift[1]),
        oarea=[0, 0, width, height],
        extend="copy",
    )


def shown_box(corners: Corners, tilt: float, size: tuple[int, int]) -> tuple[CutOut, tuple[int, int], bool]:
    """Which box of a scan of so many pixels a print's copy is made from, how large the print is, and whether it lies so
    straight that nothing is turned."""
    points = np.asarray(corners)
    middle = points.mean(axis=0)
    width = max(1, int(np.rint(np.hypot(*(points[1] - points[0])))))
    height = max(1, int(np.rint(np.hypot(*(points[3] - points[0])))))
    if abs(tilt) >= np.rad2deg(0.5 / max(width, height)):
        return outward_box(corners, size, 4), (width, height), False
    left = min(max(0, int(np.rint(middle[0] - width / 2))), max(0, size[0] - width))
    top = min(max(0, int(np.rint(middle[1] - height / 2))), max(0, size[1] - height))
    box = CutOut(x=left, y=top, width=min(width, size[0] - left), height=min(height, size[1] - top))
    return box, (width, height), True


def held_pixels(image: pyvips.Image) -> pyvips.Image:
    """The same pixels where any of them can be asked for again; the scan they come from passes by once."""
    if image.width * image.height * image.bands * (2 if image.format == "ushort" else 1) <= HELD_BYTES:
        return image.copy_memory()
    waiting = pyvips.Image.new_temp_file("%s.v")
    image.write(waiting)
    return waiting


def broken_still(path: Path, error: pyvips.Error) -> Unreadable:
    """Says in one line why libvips could not go on."""
    lines = [line.strip() for line in str(error).splitlines() if line.strip()]
    return Unreadable("capture.broken", path=str(path), error=lines[-1][:120] if lines else "it cannot be decoded")
