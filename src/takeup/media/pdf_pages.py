"""Reads PDFs of scanned pages: the one image on each page, and its resolution from the size it is placed at."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from takeup.errors import Unreadable
from takeup.streams import CaptureFile, StillImage

POINTS_PER_INCH = 72.0
MOST_PX = 1_200_000_000  # of an image in a PDF, which is unpacked whole: a glass at 2400 to the inch
SMALL_BYTES = 1 << 18
LOSSY = {"/DCTDecode": "jpeg", "/JPXDecode": "jpeg2000", "/JBIG2Decode": "jbig2"}
LOSSLESS = {
    "/FlateDecode": "deflate",
    "/LZWDecode": "lzw",
    "/CCITTFaxDecode": "ccitt-g4",
    "/RunLengthDecode": "packbits",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedImage:
    """The largest image of a page, and how large the page shows it."""

    name: str
    width_pt: float
    height_pt: float


def look_at_pdf(path: Path) -> CaptureFile:
    """Say what a PDF of scanned pages is, by its first page.

    Raises
    ------
    Unreadable
        ``scan.password`` when it is locked, ``capture.broken`` when it cannot be opened or its end is missing,
        ``scan.no-page-image`` when its first page holds no image.
    """
    import pikepdf

    try:
        with _reading(path), pikepdf.open(path) as pdf:
            pages = len(pdf.pages)
            image = describe_page(pdf, 0, path) if pages else None
    except Unreadable as error:
        if error.key != "scan.no-page-image" or _ends(path):
            raise
        raise Unreadable("capture.broken", path=str(path), error="its end is missing") from error
    if image is None:
        raise Unreadable("scan.no-page-image", path=str(path), page=1)
    return CaptureFile(container="pdf", bytes=path.stat().st_size, image=image)


@contextmanager
def _reading(path: Path) -> Iterator[None]:
    """Whatever a PDF's parts are not: numbers that are names, images without a width, colours that are none. They are
    looked up as attributes, keys and numbers, so a damaged file shows itself as each of those not being there.

    Raises
    ------
    Unreadable
        ``scan.password`` when it is locked, ``capture.broken`` for the rest.
    """
    import pikepdf

    try:
        yield
    except pikepdf.PasswordError as error:
        raise Unreadable("scan.password", path=str(path)) from error
    except Unreadable:
        raise
    except (pikepdf.PikepdfError, OSError) as error:
        raise Unreadable("capture.broken", path=str(path), error=_short(error)) from error
    except (
        ValueError, TypeError, AttributeError, LookupError, ArithmeticError, RuntimeError, AssertionError, EOFError,
        MemoryError, struct.error, zlib.error,
    ) as error:  # fmt: skip
        raise Unreadable("capture.broken", path=str(path), error="what it says of its image is damaged") from error


def _ends(path: Path) -> bool:
    """Whether a PDF has its end: the mark within the last 1024 bytes (ISO 32000-1, annex H.3, as readers do)."""
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - 1024))
        return b"%%EOF" in file.read()


def describe_page(pdf: object, number: int, path: Path) -> StillImage:
    """What a page's image is.

    Raises
    ------
    Unreadable
        ``scan.no-page-image`` when the page holds none.
    """
    page = pdf.pages[number]  # type: ignore[attr-defined]
    placed = find_image(page)
    if placed is None:
        raise Unreadable("scan.no-page-image", path=str(path), page=number + 1)
    image = page.resources.XObject[placed.name]
    filters = [str(name) for name in _as_list(image.get("/Filter"))]
    compression = next((LOSSY[name] for name in filters if name in LOSSY), None)
    lossy = compression in ("jpeg", "jpeg2000")
    compression = compression or next((LOSSLESS[name] for name in filters if name in LOSSLESS), "none")
    width, height = int(image.Width), int(image.Height)
    if width <= 0 or height <= 0:
        raise Unreadable("capture.broken", path=str(path), error="its image has no size")
    channels, profile = _colours(image)
    return StillImage(
        codec="pdf",
        compression=compression,
        width=width,
        height=height,
        channels=channels,
        bits_stated=1 if image.get("/ImageMask") else int(image.get("/BitsPerComponent", 8)),
        ppi_stated=width / placed.width_pt * POINTS_PER_INCH if placed.width_pt else None,
        ppi_y_stated=height / placed.height_pt * POINTS_PER_INCH if placed.height_pt else None,
        profile=profile,
        lossy=lossy,
        page=number,
        pages=len(pdf.pages),  # type: ignore[attr-defined]
    )


def describe_page_of(path: Path, number: int) -> StillImage:
    """What the image on a page of a PDF is.

    Raises
    ------
    Unreadable
        ``scan.no-page-image`` when the page holds none, ``capture.broken`` when it cannot be made out.
    """
    import pikepdf

    with _reading(path), pikepdf.open(path) as pdf:
        return describe_page(pdf, number, path)


def find_image(page: object) -> PlacedImage | None:
    """The page's largest image and the size it is drawn at, following the transformations of the page's content."""
    import pikepdf

    images = {
        str(name): thing
        for name, thing in (page.resources.get("/XObject") or {}).items()  # type: ignore[attr-defined]
        if isinstance(thing, pikepdf.Stream) and thing.get("/Subtype") == "/Image"  # what a cut file lacks is null
    }
    if not images:
        return None
    largest = max(images, key=lambda name: int(images[name].Width) * int(images[name].Height))
    unit = float(page.obj.get("/UserUnit", 1))  # type: ignore[attr-defined]
    matrix, kept = (1.0, 0.0, 0.0, 1.0), []
    for operands, operator in pikepdf.parse_content_stream(page, "q Q cm Do"):  # type: ignore[arg-type]
        word = str(operator)
        if word == "q":
            kept.append(matrix)
        elif word == "Q" and kept:
            matrix = kept.pop()
        elif word == "cm":
            a, b, c, d = (float(number) for number in list(operands)[:4])
            m = matrix
            matrix = (a * m[0] + b * m[2], a * m[1] + b * m[3], c * m[0] + d * m[2], c * m[1] + d * m[3])
        elif word == "Do" and str(operands[0]) == largest:
            a, b, c, d = matrix
            return PlacedImage(
                name=largest, width_pt=(a * a + b * b) ** 0.5 * unit, height_pt=(c * c + d * d) ** 0.5 * unit
            )
    box = [float(number) for number in page.mediabox]  # type: ignore[attr-defined]
    return PlacedImage(name=largest, width_pt=(box[2] - box[0]) * unit, height_pt=(box[3] - box[1]) * unit)


def page_image_bytes(path: Path, number: int) -> bytes:
    """A page's image as a file of its own (the JPEG as it lies in the PDF, else a TIFF or PNG), for libvips to open.

    Raises
    ------
    Unreadable
        ``capture.broken`` when the image cannot be taken out.
    """
    import pikepdf

    out = io.BytesIO()
    with _reading(path), pikepdf.open(path) as pdf:
        page = pdf.pages[number]
        placed = find_image(page)
        if placed is None:
            raise Unreadable("scan.no-page-image", path=str(path), page=number + 1)
        thing = page.resources.XObject[placed.name]
        _unpacks_to_its_size(thing, path)
        image = pikepdf.PdfImage(thing)
        try:
            image.extract_to(stream=out)
        except (NotImplementedError, pikepdf.UnsupportedImageTypeError):
            image.as_pil_image().save(out, "png")
    return out.getvalue()


def _unpacks_to_its_size(image: object, path: Path) -> None:
    """Refuse an image that would fill the memory: larger than any scan, or packed data of far more than its size."""
    width, height = int(image.Width), int(image.Height)  # type: ignore[attr-defined]
    if width * height > MOST_PX:
        raise Unreadable("scan.too-large", path=str(path), width=width, height=height)
    raw = image.read_raw_bytes()  # type: ignore[attr-defined]
    if len(raw) < SMALL_BYTES:
        return  # a thousand times as much is still little
    most = 2 * 8 * width * height + SMALL_BYTES  # four channels of 16 bits, and as much again
    data: Iterator[bytes] = iter([raw])
    for name in _as_list(image.get("/Filter")):  # type: ignore[attr-defined]
        if str(name) != "/FlateDecode":
            break
        data = _inflated(data)
    count = 0
    for part in data:
        count += len(part)
        if count > most:
            raise Unreadable("capture.broken", path=str(path), error="it holds far more than its image's size")


def _inflated(parts: Iterator[bytes]) -> Iterator[bytes]:
    """Unpacked data in parts of bounded size."""
    unpack = zlib.decompressobj()
    for part in parts:
        while part and not unpack.eof:
            yield unpack.decompress(part, SMALL_BYTES)
            part = unpack.unconsumed_tail


def _colours(image: object) -> tuple[int, str | None]:
    """Channels and profile of a PDF image's colour space."""
    from takeup.media.still_heads import profile_name

    space = image.get("/ColorSpace")  # type: ignore[attr-defined]
    parts = _as_list(space)
    kind = str(parts[0]) if parts else ""
    if kind == "/ICCBased":
        return int(parts[1].N), profile_name(parts[1].read_bytes())
    if kind == "/Indexed":
        return 3, None
    return {"/DeviceGray": 1, "/CalGray": 1, "/DeviceCMYK": 4}.get(kind, 1 if not kind else 3), None


def _as_list(value: object) -> list:
    import pikepdf

    if value is None:
        return []
    return list(value) if isinstance(value, pikepdf.Array) else [value]


def _short(error: Exception) -> str:
    text = str(error).strip().splitlines()
    return text[-1].split(": ", 1)[-1][:120] if text else type(error).__name__
