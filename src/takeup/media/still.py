"""Opens stills: bed scans, pages, slides. Says what a file is, and hands out its pixels in strips, from top to bottom.

Nothing is ever held whole: a bed of 7 GB passes through in strips of some 6 MB. Pixels come as they lie in the file
(8 or 16 bits, 1-bit as 0 and 255), without colour conversion; only palettes and CMYK are turned into RGB.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyvips

from takeup.errors import Unreadable
from takeup.media import pdf_pages, still_heads, still_tiff
from takeup.media.memory import give_back_large_blocks
from takeup.media.still_heads import profile_channels, profile_name
from takeup.media.still_rows import EndsEarly, filler
from takeup.media.still_tiff import COMPRESSIONS, LOSSY
from takeup.streams import CaptureFile, Still, StillImage

pyvips.cache_set_max(0)  # an operation that is kept for another time keeps the pixels it worked on
STRIP_BYTES = 6_000_000
NUMBERS = {
    "float": "32-bit floating point", "double": "64-bit floating point", "uint": "32-bit whole numbers",
    "int": "signed 32-bit whole numbers", "short": "signed 16-bit whole numbers", "char": "signed 8-bit whole numbers",
    "complex": "complex numbers", "dpcomplex": "complex numbers",
}  # fmt: skip
INCOMPLETE = "incomplete"  # note of a capture whose pixels are not all there
WRONG_PROFILE = "wrong-profile"  # note of a capture whose profile does not fit its channels
MIXED_PPI = "ppi-differs"


def look_at_still(path: Path) -> CaptureFile:
    """Say what a still is, by its content.

    Raises
    ------
    Unreadable
        ``capture.empty``, ``capture.broken`` when its head is cut or no picture in it can be made out.
    """
    size_bytes = path.stat().st_size
    if not size_bytes:
        raise Unreadable("capture.empty", path=str(path))
    with path.open("rb") as file:
        head = file.read(1024)
        file.seek(0)
        try:
            if head[:2] in (b"II", b"MM"):
                return _look_at_tiff(still_tiff.read_directories(file, size_bytes), size_bytes)
            if head[:3] == b"\xff\xd8\xff":
                return _look_at_head("jpeg", still_heads.read_jpeg(file, size_bytes), size_bytes)
            if head[:8] == b"\x89PNG\r\n\x1a\n":
                return _look_at_head("png", still_heads.read_png(file, size_bytes), size_bytes)
        except (still_tiff.NotTiff, still_heads.Cut) as error:
            raise Unreadable("capture.broken", path=str(path), error=str(error)) from error
        except (ValueError, IndexError, TypeError, EOFError, OverflowError, still_heads.struct.error) as error:
            raise Unreadable("capture.broken", path=str(path), error="its head is damaged") from error
    return pdf_pages.look_at_pdf(path)


def _look_at_tiff(directories: list[still_tiff.Directory], size_bytes: int) -> CaptureFile:
    first = directories[0]
    across, down = still_tiff.ppi_of(first)
    compression = first.number(still_tiff.COMPRESSION, 1)
    palette = first.number(still_tiff.PHOTOMETRIC) == 3
    profile = first.number(still_tiff.PROFILE)
    profile = bytes(first.tags[still_tiff.PROFILE]) if isinstance(profile, int) else profile
    channels = 3 if palette else int(first.number(still_tiff.SAMPLES, 1))
    image = StillImage(
        codec="tiff",
        compression=COMPRESSIONS.get(compression, f"scheme {compression}"),
        width=int(first.number(still_tiff.WIDTH)),
        height=int(first.number(still_tiff.HEIGHT)),
        channels=channels,
        bits_stated=int(first.number(still_tiff.BITS, 1)),
        ppi_stated=across,
        ppi_y_stated=down,
        profile=profile_name(profile),
        lossy=compression in LOSSY,
        orientation=_upright(first.number(still_tiff.ORIENTATION, 1)),
        pages=len(directories),
    )
    if image.width <= 0 or image.height <= 0 or image.channels <= 0:
        raise still_tiff.NotTiff("its directory gives no size")
    notes = _notes(image, profile, all(one.whole for one in directories))
    return CaptureFile(container="bigtiff" if first.big else "tiff", bytes=size_bytes, image=image, notes=notes)


def _look_at_head(codec: str, head: still_heads.Head, size_bytes: int) -> CaptureFile:
    name = profile_name(head.profile) or ("sRGB" if head.named_srgb else None)
    image = StillImage(
        codec=codec,
        compression="jpeg" if codec == "jpeg" else "deflate",
        width=head.width,
        height=head.height,
        channels=head.channels,
        bits_stated=head.bits,
        ppi_stated=head.ppi[0],
        ppi_y_stated=head.ppi[1],
        profile=name,
        lossy=codec == "jpeg",
        orientation=_upright(head.orientation),
    )
    return CaptureFile(container=codec, bytes=size_bytes, image=image, notes=_notes(image, head.profile, head.whole))


def _notes(image: StillImage, profile: bytes | None, whole: bool) -> tuple[str, ...]:
    made_for = profile_channels(profile)
    colours = image.channels - (image.channels in (2, 4) and made_for != 4)
    notes = []
    if not whole:
        notes.append(INCOMPLETE)
    if image.profile == "unreadable" or (made_for is not None and made_for != colours):
        notes.append(WRONG_PROFILE)
    if image.ppi_stated and image.ppi_y_stated and abs(image.ppi_stated / image.ppi_y_stated - 1) > 0.01:
        notes.append(MIXED_PPI)
    return tuple(notes)


def _upright(value: object) -> int:
    return int(value) if isinstance(value, int) and 1 <= value <= 8 else 1


class OpenStill:
    """One image of a file, ready to be read from top to bottom. Cheap to make: nothing is decoded yet."""

    def __init__(self, path: Path, capture: CaptureFile, page: int = 0) -> None:
        self.path, self.page = path, page
        self.image = page_of(path, capture, page)
        # A cut file is read as far as it goes. Damage in JPEG data is only a warning to its decoder, which paints on.
        self.strict = "none" if INCOMPLETE in capture.notes else "warning" if self.image.codec == "jpeg" else "error"
        self.buffer = pdf_pages.page_image_bytes(path, page) if capture.container == "pdf" else None
        probe = self.vips()
        self.width, self.height = probe.width, probe.height
        self.dtype = np.dtype(np.uint16 if probe.format == "ushort" else np.uint8)
        self.full_scale = int(np.iinfo(self.dtype).max)

    def vips(self, access: str = "sequential") -> pyvips.Image:
        """The picture for measuring and showing: grey or RGB, 8 or 16 bits, no alpha, never turned.

        Raises
        ------
        Unreadable
            ``capture.broken`` when libvips cannot open it, ``scan.odd-numbers`` when its codes are not whole numbers of
            at most 16 bits.
        """
        try:
            image = self.raw(access)
            if image.format not in ("uchar", "ushort"):
                raise Unreadable("scan.odd-numbers", path=str(self.path), kind=NUMBERS.get(image.format, image.format))
            return plain(image)
        except pyvips.Error as error:
            raise Unreadable("capture.broken", path=str(self.path), error=_last_line(error)) from error

    def raw(self, access: str = "sequential") -> pyvips.Image:
        """The picture with all its channels as they lie in the file.

        Raises
        ------
        Unreadable
            ``capture.broken`` when libvips cannot open it.
        """
        try:
            if self.buffer is not None:
                image = pyvips.Image.new_from_buffer(self.buffer, "", access=access, fail_on=self.strict)
            else:
                more = {"page": self.page} if self.page else {}
                image = pyvips.Image.new_from_file(
                    str(self.path), access=access, fail_on=self.strict, revalidate=True, **more
                )
            return image
        except pyvips.Error as error:
            raise Unreadable("capture.broken", path=str(self.path), error=_last_line(error)) from error

    def cut(self, box: tuple[int, int, int, int]) -> pyvips.Image:
        """An upright box (left, top, width, height) with all its channels, to be read once from top to bottom.

        Raises
        ------
        Unreadable
            ``capture.broken`` when libvips cannot open the scan.
        """
        return self.raw().crop(*box)

    def holds(self, box: tuple[int, int, int, int]) -> bool:
        """Whether any pixel of a box can be asked for again without reading the file."""
        return False

    def strips(self, *, raw: bool = False) -> Iterator[np.ndarray]:
        """Every row once, from top to bottom: arrays of shape (rows, width, channels), uint8 or uint16, each of them
        good until the next one is asked for. A thread reads one strip ahead.

        Parameters
        ----------
        raw : bool
            With all channels as they lie in the file, as ``raw`` has them.

        Raises
        ------
        Unreadable
            ``capture.broken`` at the first row that cannot be decoded.
        """
        give_back_large_blocks()
        with ThreadPoolExecutor(1, thread_name_prefix="strips") as reader:
            rows, fetch = reader.submit(self._fetching, raw).result()
            ahead = reader.submit(fetch, 0, 0)
            for number, top in enumerate(range(0, self.height, rows)):
                strip = ahead.result()
                if top + rows < self.height:  # into the other room, while this strip is looked at
                    ahead = reader.submit(fetch, top + rows, (number + 1) % 2)
                yield strip

    def _fetching(self, raw: bool) -> tuple[int, Callable[[int, int], np.ndarray]]:
        """Rows in a strip, and what fetches the strip from a row on into one of two rooms; for one thread alone."""
        image = self.raw() if raw else self.vips()
        dtype = np.dtype(np.uint16 if image.format == "ushort" else np.uint8)
        each = max(16, STRIP_BYTES // (image.width * image.bands * dtype.itemsize) // 16 * 16)
        each = min(each, image.height)
        rooms = [np.empty((each, image.width, image.bands), dtype) for _ in range(2 if image.height > each else 1)]
        fill = filler(
            self.path, self.buffer is None and self.image.codec == "tiff" and self.strict == "error", self.page, image
        )

        def fetch(top: int, room: int) -> np.ndarray:
            strip = rooms[room][: min(each, image.height - top)]
            try:
                fill(top, strip)
            except (pyvips.Error, EndsEarly) as error:
                raise Unreadable("capture.broken", path=str(self.path), error=_last_line(error)) from error
            return strip

        return each, fetch


def page_of(path: Path, capture: CaptureFile, page: int) -> StillImage:
    """What the file says of one of its pages."""
    assert capture.image is not None
    if page == 0:
        return capture.image
    if capture.container == "pdf":
        return pdf_pages.describe_page_of(path, page)
    with path.open("rb") as file:
        directory = still_tiff.read_directories(file, path.stat().st_size)[page : page + 1]
    one = _look_at_tiff(directory, capture.bytes).image
    assert one is not None
    return replace(one, page=page, pages=capture.image.pages)


def plain(image: pyvips.Image) -> pyvips.Image:
    """Grey or RGB, without alpha: what is measured and shown of all the channels that lie in a file."""
    if image.interpretation == "cmyk" and image.bands >= 4:
        image = image.extract_band(0, n=4).copy(interpretation="cmyk").colourspace("srgb")
    if image.bands in (2, 4) or image.bands > 4:
        image = image.extract_band(0, n=1 if image.bands == 2 else 3)
    return image


def _last_line(error: pyvips.Error | EndsEarly) -> str:
    lines = [line for line in str(error).strip().splitlines() if line.strip()]
    return lines[-1].strip()[:120] if lines else "it cannot be decoded"


def read_miniature(path: Path, longest_px: int = 1000) -> np.ndarray:
    """A grey miniature of a scan's first page (uint8, at most ``longest_px`` long), for comparing two scans.

    Raises
    ------
    Unreadable
        ``capture.broken`` when it cannot be decoded.
    """
    still = OpenStill(path, look_at_still(path))
    image = still.vips()
    try:
        if image.format == "ushort":
            image = (image / 257).cast("uchar")
        image = image.thumbnail_image(longest_px, height=longest_px, size="down", no_rotate=True)
        image = image.copy(interpretation="srgb" if image.bands == 3 else "b-w").colourspace("b-w")
        return image.extract_band(0).cast("uchar").numpy().reshape(image.height, image.width)
    except pyvips.Error as error:
        raise Unreadable("capture.broken", path=str(path), error=_last_line(error)) from error


def encode_still(pixels: np.ndarray, longest_px: int) -> Still:
    """A miniature as a small JPEG.

    Parameters
    ----------
    pixels : ndarray, shape (rows, columns, 1 or 3), uint8
    """
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels))
    image = image.copy(interpretation="srgb" if image.bands == 3 else "b-w")
    image = image.thumbnail_image(longest_px, height=longest_px, size="down")
    return Still(at_s=0.0, jpeg=image.jpegsave_buffer(Q=82), width=image.width, height=image.height)
