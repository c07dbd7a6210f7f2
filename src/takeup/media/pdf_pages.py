"""Reads PDFs of scanned pages: the one image on each page, and its resolution from the size it is placed at."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

from takeup.errors import Unreadable
from takeup.streams import CaptureFile, StillImage

POINTS_PER_INCH = 72.0
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
        with pikepdf.open(path) as pdf:
            pages = len(pdf.pages)
            image = describe_page(pdf, 0, path) if pages else None
    except pikepdf.PasswordError as error:
        raise Unreadable("scan.password", path=str(path)) from error
    except (pikepdf.PdfError, OSError) as error:
        raise Unreadable("capture.broken", path=str(path), error=_short(error)) from error
    except Unreadable as error:
        if _ends(path):
            raise
        raise Unreadable("capture.broken", path=str(path), error="its end is missing") from error
    if image is None:
        raise Unreadable("scan.no-page-image", path=str(path), page=1)
    return CaptureFile(container="pdf", bytes=path.stat().st_size, image=image)


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


def find_image(page: object) -> PlacedImage | None:
    """The page's largest image and the size it is drawn at, following the transformations of the page's content."""
    import pikepdf

    images = {
        str(name): thing
        for name, thing in (page.resources.get("/XObject") or {}).items()  # type: ignore[attr-defined]
        if thing is not None and thing.get("/Subtype") == "/Image"  # what a cut file names and does not hold is null
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
    try:
        with pikepdf.open(path) as pdf:
            page = pdf.pages[number]
            placed = find_image(page)
            if placed is None:
                raise Unreadable("scan.no-page-image", path=str(path), page=number + 1)
            image = pikepdf.PdfImage(page.resources.XObject[placed.name])
            try:
                image.extract_to(stream=out)
            except (NotImplementedError, pikepdf.UnsupportedImageTypeError):
                image.as_pil_image().save(out, "png")
    except (pikepdf.PdfError, OSError, ValueError, TypeError) as error:
        raise Unreadable("capture.broken", path=str(path), error=_short(error)) from error
    return out.getvalue()


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
