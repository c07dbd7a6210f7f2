"""What tells uncompressed and DV pictures from the sound beside them, byte by byte.

DV frames begin with header blocks (IEC 61834-2); a v210 word has two bits that are always zero; in packed 4:2:2 the
colour of neighbours is nearly equal and no byte is 0 or 255 (ITU-R BT.601), while the bytes of PCM sound are as good as
random, or zero.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from takeup.media.moving_sound_guess import SoundShape

Read = Callable[[int, int], bytes]
"""Bytes of the file: from where, how many; fewer at its end."""

PACKED_COLOUR, PACKED_LUMA, DEEP_LUMA = 16, 90, 480
"""Codes, 8-bit ones and luma of 10-bit ones: neighbours along a line lie no further apart, even in snow."""
SOUND_RATES = (48000, 44100, 32000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """What lies in the media data. ``sound`` is None where no sound lies between the pictures."""

    codec: str  # libav's name: v210, rawvideo, dvvideo
    pixel_format: str  # of packed pictures, else ""
    width: int
    height: int
    rate: Fraction
    picture_bytes: int
    begin: int  # where the media data begin in the file
    sound: SoundShape | None = None


def dv_bytes(head: bytes) -> int:
    """Bytes of the DV frame that begins here, by its first header block; 0 when none does."""
    if len(head) < 8 or head[:3] != b"\x1f\x07\x00" or head[3] & 0x7F != 0x3F:
        return 0
    return 144000 if head[3] & 0x80 else 120000


def dv_at(read: Read, at: int, length: int) -> bool:
    """Whether a whole DV frame begins at a place: every one of its sequences begins with its own header block."""
    return all(
        read(at + 12000 * number, 3) == bytes((0x1F, number << 4 | 7, 0)) for number in range(0, length // 12000, 3)
    )


class Words:
    """v210: three 10-bit samples in a little-endian word, its two highest bits zero; 0 and 1023 are timing."""

    codec, pixel_format, unit = "v210", "", 16

    def fine(self, data: np.ndarray) -> np.ndarray:
        """Which of the 16-byte units (six pixels) of ``data`` are picture: colour and luma in their own places."""
        units = np.frombuffer(data[: len(data) // 16 * 16].tobytes(), "<u4").reshape(-1, 4)
        low, middle, high = ((units >> shift & 1023).astype(np.int16) for shift in (0, 10, 20))
        blue = np.stack([low[:, 0], middle[:, 1], high[:, 2]], 1)
        red = np.stack([high[:, 0], low[:, 2], middle[:, 3]], 1)
        luma = np.stack([middle[:, 0], low[:, 1], high[:, 1], middle[:, 2], low[:, 3], high[:, 3]], 1)
        even = (np.ptp(blue, axis=1) <= 8 * PACKED_COLOUR) & (np.ptp(red, axis=1) <= 8 * PACKED_COLOUR)
        near = (np.abs(np.diff(luma, axis=1)) <= DEEP_LUMA).all(axis=1)
        return self.good(data[: len(units) * 16]).reshape(-1, 4).all(axis=1) & even & near

    def planes(self, data: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Luma, blue and red difference of whole units, in 8-bit codes."""
        units = np.frombuffer(data[: len(data) // 16 * 16].tobytes(), "<u4").reshape(-1, 4)
        low, middle, high = ((units >> shift & 1023).astype(np.float32) / 4 for shift in (0, 10, 20))
        luma = np.stack([middle[:, 0], low[:, 1], high[:, 1], middle[:, 2], low[:, 3], high[:, 3]], 1)
        blue = np.stack([low[:, 0], middle[:, 1], high[:, 2]], 1)
        return luma.ravel(), blue.ravel(), np.stack([high[:, 0], low[:, 2], middle[:, 3]], 1).ravel()

    def good(self, data: np.ndarray) -> np.ndarray:
        """Which of the four-byte words of ``data`` may be picture."""
        words = np.frombuffer(data[: len(data) // 4 * 4].tobytes(), "<u4")
        low, middle, high = words & 1023, words >> 10 & 1023, words >> 20
        return (low != 0) & (low != 1023) & (middle != 0) & (middle != 1023) & (high != 0) & (high < 1023)

    def row(self, width: int) -> int:
        return -(-width // 48) * 128


class Packed:
    """8-bit 4:2:2, two pixels in four bytes. ``colour``: where the two colour bytes begin (0 or 1)."""

    codec, unit = "rawvideo", 4

    def __init__(self, colour: int = 0) -> None:
        self.colour = colour
        self.pixel_format = ("uyvy422", "yuyv422")[colour]

    def good(self, data: np.ndarray) -> np.ndarray:
        words = data[: len(data) // 4 * 4].reshape(-1, 4)
        if len(words) < 2:
            return np.zeros(len(words), bool)
        own, other = self.colour, 1 - self.colour
        plain = ((words != 0) & (words != 255)).all(axis=1)
        plain &= (words[:, own::2] >= 16).all(axis=1) & (words[:, own::2] <= 240).all(axis=1)
        wide = words.astype(np.int16)
        step = np.abs(np.diff(wide, axis=0, prepend=wide[1:2]))
        even = (step[:, own] <= PACKED_COLOUR) & (step[:, own + 2] <= PACKED_COLOUR)
        near = np.abs(wide[:, other] - wide[:, other + 2]) <= PACKED_LUMA
        return plain & even & near & (step[:, other] <= 2 * PACKED_LUMA)

    def planes(self, data: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Luma, blue and red difference."""
        whole = data[: len(data) // 4 * 4].astype(np.float32)
        own = self.colour
        return whole[1 - own :: 2], whole[own::4], whole[own + 2 :: 4]

    def fine(self, data: np.ndarray) -> np.ndarray:
        """Which units are picture."""
        return self.good(data)

    def row(self, width: int) -> int:
        return 2 * width


Family = Words | Packed


def family_of(layout: Layout) -> Family:
    """What tells this layout's pictures from sound."""
    return Words() if layout.codec == "v210" else Packed(int(layout.pixel_format == "yuyv422"))
