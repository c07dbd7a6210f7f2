"""What is put right in an everyday copy of a scan, as the copy passes: curves of light, or neighbours by strips.

Curves are applied to the scan's own codes, in 16 bits, before anything is rounded; what needs neighbours sees the
copy's own pixels in strips. A picture is never held whole.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable, Iterable, Iterator

import numpy as np
import pyvips

from takeup.media.still import OpenStill
from takeup.media.still_colour import profile_of
from takeup.media.still_write import Corners, outward_box

ROWS = 256
Strips = Callable[[Iterator[np.ndarray]], Iterable[np.ndarray]]


def light_of_codes(still: OpenStill) -> np.ndarray:
    """How much light each code of a scan means: shape (codes, channels), 0 to 1, by its own profile; else as sRGB."""
    codes = np.arange(still.full_scale + 1) / still.full_scale
    bands = still.vips().bands
    profile = profile_of(still)
    names = (b"rTRC", b"gTRC", b"bTRC") if bands == 3 else (b"kTRC",)
    curves = [_curve(profile, name, codes) for name in names] if profile else []
    if not curves or any(curve is None for curve in curves):
        return np.repeat(as_srgb(codes.size)[:, None], bands, axis=1)
    return np.stack([np.maximum.accumulate(curve) for curve in curves if curve is not None], axis=1)


def as_srgb(count: int) -> np.ndarray:
    """How much light each of so many codes means in sRGB (IEC 61966-2-1)."""
    codes = np.arange(count) / (count - 1)
    return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)


def _curve(profile: bytes, name: bytes, codes: np.ndarray) -> np.ndarray | None:
    """A tone curve of an ICC profile (ICC.1:2022, 10.6 and 10.18); None when it has none, or a damaged one."""
    try:
        (count,) = struct.unpack_from(">I", profile, 128)
        places = {sign: (at, size) for sign, at, size in struct.iter_unpack(">4sII", profile[132 : 132 + 12 * count])}
        at, size = places[name]
        kind, body = profile[at : at + 4], profile[at + 8 : at + size]
        if kind == b"curv":
            (points,) = struct.unpack_from(">I", body)
            if points == 0:
                return codes
            values = np.frombuffer(body, ">u2", points, 4).astype(float)
            if points == 1:
                return codes ** (values[0] / 256)
            return np.interp(codes, np.linspace(0, 1, points), values / 65535)
        if kind == b"para":
            return _parametric(struct.unpack_from(">H", body)[0], np.frombuffer(body, ">i4", offset=4) / 65536, codes)
    except (struct.error, KeyError, ValueError, IndexError):
        return None
    return None


def _parametric(form: int, p: np.ndarray, codes: np.ndarray) -> np.ndarray | None:
    """ICC.1:2022, table 68."""
    if form > 4 or p.size < (1, 3, 4, 5, 7)[form]:
        return None
    g, a, b, c, d, e, f = (*p[: (1, 3, 4, 5, 7)[form]], *[0.0] * 7)[:7]
    if form == 0:
        return codes**g
    power = np.maximum(a * codes + b, 0) ** g
    if form == 1:
        return np.where(codes >= -b / a, power, 0)
    if form == 2:
        return np.where(codes >= -b / a, power + c, c)
    return np.where(codes >= d, power + (e if form == 4 else 0), c * codes + (f if form == 4 else 0))


def sample(still: OpenStill, light: np.ndarray, corners: Corners | None = None, longest_px: int = 900) -> np.ndarray:
    """A miniature in linear light, of a print's inside or of the whole scan: shape (rows, columns, channels).

    Pixels are averaged in codes: alike on plain places, which is what film and paper are told by.
    """
    image = still.vips("sequential")
    if corners is not None:
        box = outward_box(corners, (image.width, image.height), -0.02 * min(image.width, image.height))
        if min(box.width, box.height) >= 16:
            image = still.vips("random").crop(box.x, box.y, box.width, box.height)
    step = max(1, max(image.width, image.height) // longest_px)
    small = image.cast("float").shrink(min(step, image.width), min(step, image.height))
    codes = np.atleast_3d(small.numpy())  # its size is vips's own: it rounds
    known = np.arange(light.shape[0])
    return np.stack([np.interp(codes[..., c], known, light[:, c]) for c in range(image.bands)], axis=2)


def codes_for(light: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """The table that turns each code into that of another light: shape (1, codes, channels), 16 bits.

    Parameters
    ----------
    light, wanted : ndarray, shape (codes, channels)
        What each code means, and what it is to mean.
    """
    scale = np.linspace(0, 65535, light.shape[0])
    columns = []
    for channel in range(light.shape[1]):
        rising = np.maximum.accumulate(light[:, channel]) + 1e-12 * np.arange(light.shape[0])
        columns.append(np.interp(np.clip(wanted[:, channel], 0, 1), rising, scale))
    return np.rint(np.stack(columns, axis=1)).astype(np.uint16)[None]


def through_table(image: pyvips.Image, table: np.ndarray) -> pyvips.Image:
    """Every code replaced by the table's, 16 bits; the profile stays the scan's."""
    lookup = pyvips.Image.new_from_array(table if table.shape[2] > 1 else table[..., 0])
    deep = image.maplut(lookup)
    return deep.copy(interpretation="rgb16" if deep.bands == 3 else "grey16")


def by_strips(image: pyvips.Image, mend: Strips) -> pyvips.Image:
    """An 8-bit picture that passes through something in strips of rows, from top to bottom."""
    width, height, bands = image.width, image.height, image.bands
    region = pyvips.Region.new(image)

    def rows() -> Iterator[np.ndarray]:
        for top in range(0, height, ROWS):
            count = min(ROWS, height - top)
            yield np.frombuffer(region.fetch(0, top, width, count), np.uint8).reshape(count, width, bands)

    source = _Source(_as_png(mend(rows()), width, height, bands))
    passed = pyvips.Image.new_from_source(source.source, "", access="sequential")
    passed = passed.copy(interpretation=image.interpretation)
    if image.get_typeof("icc-profile-data"):
        passed.set_type(pyvips.GValue.blob_type, "icc-profile-data", image.get("icc-profile-data"))
    return passed


def _as_png(strips: Iterable[np.ndarray], width: int, height: int, bands: int) -> Iterator[bytes]:
    """A PNG that packs nothing, piece by piece: what libvips reads from a stream without holding it."""
    yield b"\x89PNG\r\n\x1a\n" + _chunk(
        b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2 if bands == 3 else 0, 0, 0, 0)
    )
    packer = zlib.compressobj(0)
    for strip in strips:
        lines = np.zeros((strip.shape[0], 1 + width * bands), np.uint8)
        lines[:, 1:] = strip.reshape(strip.shape[0], -1)
        yield _chunk(b"IDAT", packer.compress(lines.tobytes()))
    yield _chunk(b"IDAT", packer.flush()) + _chunk(b"IEND", b"")


def _chunk(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(body, zlib.crc32(kind)))


class _Source:
    """Hands libvips pieces of a file that it cannot go back in."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self.left, self.pieces = memoryview(b""), pieces
        self.source = pyvips.SourceCustom()
        self.source.on_read(self._read)

    def _read(self, size: int) -> bytes:
        while not self.left:
            piece = next(self.pieces, None)
            if piece is None:
                return b""
            self.left = memoryview(piece)
        part = bytes(self.left[:size])
        self.left = self.left[size:]
        return part
