"""Makes the picture of a page for a PDF: upright, straight, in colour, in grey, or in black and white alone."""

from __future__ import annotations

import io
from dataclasses import dataclass

import cv2
import numpy as np
import pyvips

from takeup.media.still import OpenStill
from takeup.media.still_write import broken_still, in_srgb, with_density

SMALL_PPI, SMALL_PX = 150, 1800  # at what a page is looked at: pixels per inch, or pixels of its longer side
LEAST_PX = 400  # of that side, whatever a wrong tag says: in less no writing is left, and a page would look blank
GREY, BITONAL = "grey", "bitonal"


@dataclass(frozen=True, slots=True, kw_only=True)
class PagePicture:
    """A page's picture as it goes into a PDF: JPEG bytes, or TIFF bytes with CCITT Group 4 for black and white."""

    data: bytes
    width: int
    height: int


def small_grey(grey: np.ndarray, ppi: float | None) -> np.ndarray:
    """A page at about 150 pixels per inch, averaged by whole blocks.

    Examples
    --------
    >>> page = np.zeros((3300, 2550), np.uint8)
    >>> small_grey(page, 300.0).shape, small_grey(page, 118110.0).shape, small_grey(page[:90, :40], 9600.0).shape
    ((1650, 1275), (412, 318), (90, 40))
    """
    block = round(ppi / SMALL_PPI) if ppi else round(max(grey.shape) / SMALL_PX)
    block = max(1, min(block, max(grey.shape) // LEAST_PX, min(grey.shape)))
    rows, columns = (side // block * block for side in grey.shape)
    if block == 1:
        return grey
    return np.asarray(
        cv2.resize(grey[:rows, :columns], (columns // block, rows // block), interpolation=cv2.INTER_AREA)
    )


def turned_grey(grey: np.ndarray, quarters: int) -> np.ndarray:
    """A page turned by quarter turns clockwise."""
    return np.ascontiguousarray(np.rot90(grey, -quarters))


def upright_grey(still: OpenStill) -> np.ndarray:
    """A page as a grey array (uint8), as its file says it stands.

    Raises
    ------
    Unreadable
        ``capture.broken`` when the scan cannot be decoded.
    """
    try:
        image = in_srgb(still.vips(), still)
        image = (image if still.image.orientation == 1 else image.copy_memory()).autorot()
        grey = image.colourspace("b-w") if image.bands == 3 else image
        return np.asarray(grey.extract_band(0).numpy().reshape(grey.height, grey.width))
    except pyvips.Error as error:
        raise broken_still(still.path, error) from error


def page_picture(
    still: OpenStill, *, form: str, quality: int, quarters: int = 0, tilt: float = 0.0, grow: bool = False
) -> tuple[PagePicture, np.ndarray]:
    """The picture of a page and the same as a grey array for reading its text, both upright and straight.

    Parameters
    ----------
    form : str
        ``colour`` (as scanned: a page that lies as a JPEG is handed on byte for byte unless it is turned), ``grey``,
        ``bitonal``.
    quarters : int
        Quarter turns clockwise, after the file's own orientation.
    tilt : float
        The turn of its lines, clockwise as seen [degrees], to be undone; 0: left.
    grow : bool
        Widen the frame so that nothing of the page is lost by that.

    Raises
    ------
    Unreadable
        ``capture.broken`` when the scan cannot be decoded.
    """
    moved = quarters % 4 or tilt
    try:
        image = in_srgb(still.vips(), still).copy_memory().autorot()  # turned and read, in any order
        if quarters % 4:
            image = image.rot(f"d{quarters % 4 * 90}")
        if tilt:
            image = _straight(image, tilt, grow=grow)
        grey = image.colourspace("b-w") if image.bands == 3 else image
        pixels = grey.extract_band(0).numpy().reshape(grey.height, grey.width)
        if form == BITONAL:
            return PagePicture(data=_bitonal(pixels, still), width=image.width, height=image.height), pixels
        about = still.image
        if form != GREY and not moved and about.codec == "jpeg" and about.orientation == 1 and about.channels in (1, 3):
            return PagePicture(data=still.path.read_bytes(), width=image.width, height=image.height), pixels
        shown = grey if form == GREY else image
        data = with_density(shown.jpegsave_buffer(Q=quality, optimize_coding=True, keep="none"), None, None)
    except pyvips.Error as error:
        raise broken_still(still.path, error) from error
    return PagePicture(data=data, width=image.width, height=image.height), pixels


def _straight(image: pyvips.Image, tilt: float, *, grow: bool) -> pyvips.Image:
    """Turned back round its middle, in the same frame or a wider one; paper at the rim is carried on outward."""
    a = np.deg2rad(tilt)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    width, height = image.width, image.height
    if grow:
        reach = np.abs(turn) @ [image.width, image.height]
        width, height = int(np.ceil(reach[0])), int(np.ceil(reach[1]))
    shift = turn @ (0.5 - np.array([image.width, image.height]) / 2) + np.array([width, height]) / 2 - 0.5
    return image.affine(
        [turn[0, 0], turn[0, 1], turn[1, 0], turn[1, 1]], interpolate=pyvips.Interpolate.new("bicubic"),
        odx=float(shift[0]), ody=float(shift[1]), oarea=[0, 0, width, height], extend="copy",
    )  # fmt: skip


def _bitonal(grey: np.ndarray, still: OpenStill) -> bytes:
    """Black and white by half the way from the paper round each place to the page's ink, as TIFF with Group 4."""
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None
    small = small_grey(grey, still.image.ppi_stated)
    paper = cv2.GaussianBlur(cv2.dilate(cv2.medianBlur(small, 5), np.ones((25, 25), np.uint8)), (0, 0), 8)
    ink = float(np.percentile(small, 0.5))
    limit = cv2.resize(cv2.addWeighted(paper, 0.5, paper, 0.0, ink / 2), grey.shape[1::-1])
    black = Image.fromarray(np.asarray(grey > np.minimum(limit, 215)))
    out = io.BytesIO()
    black.convert("1").save(out, "tiff", compression="group4")
    return out.getvalue()
