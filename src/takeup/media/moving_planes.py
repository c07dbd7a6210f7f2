"""Planes and samples out of libav's frames, as they lie in the file.

PyAV's own conversion stretches luma from 16..235 to 0..255; nothing here does.
"""

from __future__ import annotations

from typing import Any

import numpy as np

PACKED = {  # four bytes for two pixels: where luma, blue and red difference begin
    "uyvy422": (1, 0, 2),
    "yuyv422": (0, 1, 3),
    "yvyu422": (0, 3, 1),
}


def planes_of(frame: Any) -> tuple[tuple[np.ndarray, ...], int]:
    """Luma and colour difference planes of a video frame, and the bits of a sample.

    Planar, grey and packed 4:2:2 formats give views or slices of the decoded bytes. R'G'B' is turned into 4:4:4
    colour difference (BT.601, 16..235) because every measure speaks luma.
    """
    name = frame.format.name
    if name in PACKED:
        luma, blue, red = PACKED[name]
        bytes_ = _plane(frame.planes[0], np.dtype(np.uint8), frame.height, frame.width * 2)
        return (bytes_[:, luma::2], bytes_[:, blue::4], bytes_[:, red::4]), 8
    if name in ("nv12", "nv21", "nv16"):
        pairs = _plane(frame.planes[1], np.dtype(np.uint8), frame.planes[1].height, frame.planes[1].width * 2)
        blue = 1 if name == "nv21" else 0
        luma = _plane(frame.planes[0], np.dtype(np.uint8), frame.height, frame.width)
        return (luma, pairs[:, blue::2], pairs[:, 1 - blue :: 2]), 8
    if not _planar_luma(frame.format):
        deep = max(component.bits for component in frame.format.components) > 8
        frame = frame.reformat(format="yuv444p10le" if deep else "yuv444p", dst_colorspace="ITU601")
        name = frame.format.name
    bits = frame.format.components[0].bits
    kind = np.dtype(np.uint8) if bits <= 8 else np.dtype(">u2" if name.endswith("be") else "<u2")
    planes = [_plane(plane, kind, plane.height, plane.width) for plane in frame.planes]
    return tuple(planes[:1] if name.startswith(("gray", "ya", "mono")) else planes[:3]), bits


def samples_of(frame: Any) -> np.ndarray:
    """Samples of a sound frame as float32, shape (n_samples, n_channels), full scale 1.0."""
    data = frame.to_ndarray()
    channels = frame.layout.nb_channels
    samples = data.T if frame.format.is_planar else data.reshape(-1, channels)
    if samples.dtype.kind == "f":
        return np.ascontiguousarray(samples, dtype=np.float32)
    if samples.dtype == np.uint8:
        return (samples.astype(np.float32) - 128) / 128
    return (samples / np.float64(2 ** (8 * samples.dtype.itemsize - 1))).astype(np.float32)


def _planar_luma(form: Any) -> bool:
    if form.is_rgb or form.has_palette or form.is_bit_stream or form.name in ("monow", "monob", "pal8"):
        return False
    if form.name.startswith("gray"):
        return True
    return form.is_planar and form.name.startswith("yuv") and "p" in form.name[3:]


def _plane(plane: Any, kind: np.dtype, rows: int, columns: int) -> np.ndarray:
    whole = np.frombuffer(plane, dtype=kind)
    stride = plane.line_size // kind.itemsize
    whole = whole[: rows * stride] if len(whole) >= rows * stride else np.pad(whole, (0, rows * stride - len(whole)))
    return whole.reshape(rows, stride)[:, :columns]
