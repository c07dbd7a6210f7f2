"""Small JPEG pictures of finished files for the letter: a thumbnail, a first page, a still, a row of moments."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from takeup.errors import Unreadable

QUALITY = 82
MOMENTS = 8  # small pictures side by side
MOMENT_PX = 160  # width of each


@dataclass(frozen=True, slots=True)
class Postcard:
    """A small picture: JPEG bytes and its size [px]."""

    jpeg: bytes
    width: int
    height: int


def picture_postcard(path: Path, edge_px: int) -> Postcard:
    """A picture or scan made small, turned as it is meant to be seen, in sRGB.

    Raises
    ------
    Unreadable
        ``capture.broken`` when libvips cannot read it.
    """
    import pyvips

    try:
        return _from_vips(
            pyvips.Image.thumbnail(str(path), edge_px, height=edge_px, size="down", export_profile="srgb")
        )
    except pyvips.Error as error:
        raise Unreadable("capture.broken", path=str(path), error=_short(error)) from error


def page_postcard(path: Path, edge_px: int) -> Postcard:
    """The first page of a PDF of scanned pages, made small.

    Raises
    ------
    Unreadable
        When it holds no page image, or one that cannot be read.
    """
    import pyvips

    from takeup.media.pdf_pages import page_image_bytes

    data = page_image_bytes(path, 0)
    try:
        image = pyvips.Image.thumbnail_buffer(data, edge_px, height=edge_px, size="down", export_profile="srgb")
        return _from_vips(image)
    except pyvips.Error as error:
        raise Unreadable("capture.broken", path=str(path), error=_short(error)) from error


def moving_postcards(path: Path, edge_px: int) -> tuple[Postcard, Postcard]:
    """A still that shows something, and a row of moments evenly spread over the time.

    The still is the file's own poster where it has one, else the moment of most contrast. One picture is decoded per
    moment, wherever the nearest key picture lies; nothing is read through.

    Raises
    ------
    Unreadable
        ``capture.broken`` when no picture can be decoded.
    """
    import numpy as np
    from PIL import Image

    frames = _moments(path)
    shown = _poster(path) or max(frames, key=lambda frame: float(np.asarray(frame.convert("L"), np.float32).std()))
    still = shown.copy()
    still.thumbnail((edge_px, edge_px), Image.Resampling.LANCZOS)
    high = round(MOMENT_PX * frames[0].height / frames[0].width)
    row = Image.new("RGB", (MOMENT_PX * len(frames), high))
    for at, frame in enumerate(frames):
        row.paste(frame.resize((MOMENT_PX, high), Image.Resampling.LANCZOS), (at * MOMENT_PX, 0))
    return _from_pillow(still), _from_pillow(row)


def _poster(path: Path):  # type: ignore[no-untyped-def]
    """The picture that a file carries to be shown for it; None without one."""
    import av

    try:
        with av.open(str(path)) as container:
            for stream in container.streams.video:
                if stream.disposition & av.stream.Disposition.attached_pic:
                    return next((frame.to_image() for frame in container.decode(stream)), None)
    except av.FFmpegError:
        return None
    return None


def _moments(path: Path) -> list:
    """Decoded pictures in their right shape, at the middle of each eighth of the time."""
    import av

    frames = []
    try:
        with av.open(str(path)) as container:
            stream = container.streams.video[0]
            stream.thread_type = "AUTO"
            begin = stream.start_time or 0
            length = stream.duration or (int(container.duration / 1e6 / stream.time_base) if container.duration else 0)
            for at in range(MOMENTS):
                container.seek(begin + length * (2 * at + 1) // (2 * MOMENTS), stream=stream)
                frame = next(container.decode(stream), None)
                if frame is not None:
                    frames.append(_in_shape(frame, stream.sample_aspect_ratio))
    except (av.FFmpegError, IndexError, OSError) as error:
        if not frames:
            raise Unreadable("capture.broken", path=str(path), error=_short(error)) from error
    if not frames:
        raise Unreadable("capture.broken", path=str(path), error="no picture")
    return frames


def _in_shape(frame, shape):  # type: ignore[no-untyped-def]
    """A picture with square pixels; its own shape counts before the stream's."""
    image = frame.to_image()
    if shape and shape > 0 and shape != 1:
        image = image.resize((max(1, round(image.width * shape)), image.height))
    return image


def _from_vips(image) -> Postcard:  # type: ignore[no-untyped-def]
    if image.hasalpha():
        image = image.flatten(background=[255])
    return Postcard(image.jpegsave_buffer(Q=QUALITY, keep="none"), image.width, image.height)


def _from_pillow(image) -> Postcard:  # type: ignore[no-untyped-def]
    from io import BytesIO

    out = BytesIO()
    image.save(out, "JPEG", quality=QUALITY)
    return Postcard(out.getvalue(), image.width, image.height)


def _short(error: Exception) -> str:
    lines = str(error).strip().splitlines()
    return lines[0][:120] if lines else type(error).__name__
