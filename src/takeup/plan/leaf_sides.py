"""Which two scans may be the two sides of one leaf. Pure."""

from __future__ import annotations

from takeup.streams import Original, StillImage

CARRIERS = ("document", "newspaper")
ALIKE = 0.03  # by how much the sides of two scans of one leaf may differ: a cut at the glass is not made twice alike


def may_be_one_leaf(
    one: Original, image: StillImage | None, following: Original, following_image: StillImage | None
) -> bool:
    """Whether a scan and the one after it may be front and back: of one item, of pages, a page each, of one size.

    Parameters
    ----------
    one, following : Original
        What the list says of their originals.
    image, following_image : StillImage or None
        The scans; None where one was not opened.
    """
    if one.id != following.id or one.carrier not in CARRIERS:
        return False
    if image is None or following_image is None or image.pages != 1 or following_image.pages != 1:
        return False
    sides = ((image.width, following_image.width), (image.height, following_image.height))
    return all(abs(a / b - 1) <= ALIKE for a, b in sides)
