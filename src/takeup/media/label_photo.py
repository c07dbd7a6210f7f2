"""A phone's picture of a label: looked at by its content, turned upright, made small, written anew without its tags.

What a phone writes beside a picture (where it was taken, with which phone, whose) is left behind: only pixels go on.
"""

from __future__ import annotations

import io
import warnings
from pathlib import Path

from PIL import Image, ImageOps

from takeup.errors import Unreadable

HEADS = {b"\xff\xd8\xff": "JPEG", b"\x89PNG\r\n\x1a\n": "PNG"}
HEIF = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1", b"avif", b"avis")


def read_label_photo(path: Path, *, most_pixels: int, longest_side: int, quality: int) -> bytes:
    """The picture as JPEG without any tags.

    Parameters
    ----------
    path : Path
        The file as it came.
    most_pixels, longest_side : int
        A picture of more pixels is not opened; the result's longer side is at most this. [px]
    quality : int
        Of the JPEG written.

    Raises
    ------
    Unreadable
        ``photo.not-a-picture``, ``photo.heic``, ``photo.too-large``, ``photo.broken``.
    """
    with path.open("rb") as file:
        head = file.read(16)
    if head[4:8] == b"ftyp" and head[8:12] in HEIF:
        raise Unreadable("photo.heic")
    form = next((name for mark, name in HEADS.items() if head.startswith(mark)), "")
    if not form:
        raise Unreadable("photo.not-a-picture")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(path, formats=[form]) as picture:
                if picture.width * picture.height > most_pixels:
                    raise Unreadable("photo.too-large")
                picture.draft("RGB", (longest_side, longest_side))
                upright = ImageOps.exif_transpose(picture)
                upright.thumbnail((longest_side, longest_side))
                made = io.BytesIO()
                _on_white(upright).save(made, "JPEG", quality=quality)
    except Image.DecompressionBombError as error:
        raise Unreadable("photo.too-large") from error
    except (OSError, ValueError, SyntaxError, EOFError) as error:
        raise Unreadable("photo.broken") from error
    return made.getvalue()


def _on_white(picture: Image.Image) -> Image.Image:
    """Without transparency, in three colours, with nothing beside the pixels."""
    if picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info:
        clear = picture.convert("RGBA")
        ground = Image.new("RGBA", clear.size, "white")
        ground.alpha_composite(clear)
        picture = ground
    plain = Image.new("RGB", picture.size)
    plain.paste(picture.convert("RGB"))
    return plain
