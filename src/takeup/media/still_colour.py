"""What colours a scan's codes mean: by its own profile through the colour engine (lcms), as sRGB where it has none."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pyvips

from takeup.measure.scan.colour import lab_from_srgb
from takeup.media.still import OpenStill

ToLab = Callable[[np.ndarray], np.ndarray]


def profile_of(still: OpenStill) -> bytes | None:
    """The profile in the file, where it has one that can be read and fits its channels."""
    image = still.vips()
    if not image.get_typeof("icc-profile-data") or still.image.profile in (None, "unreadable"):
        return None
    return bytes(image.get("icc-profile-data"))


def lab_of(codes: np.ndarray, profile: bytes | None) -> np.ndarray:
    """CIELAB (D50) of codes.

    Parameters
    ----------
    codes : ndarray, shape (n, 1 or 3)
        In 0..1 of full scale.
    profile : bytes or None
        An ICC profile; without one, or with one that does not fit the channels, the codes are read as sRGB.

    Returns
    -------
    ndarray, shape (n, 3)
        Relative colorimetric: the profile's white is (100, 0, 0).
    """
    if profile is None or codes.size == 0:
        return lab_from_srgb(codes)
    deep = np.rint(np.clip(codes, 0, 1) * 65535).astype(np.uint16)
    image = pyvips.Image.new_from_array(deep.reshape(1, -1, codes.shape[-1]))
    image = image.copy(interpretation="rgb16" if codes.shape[-1] == 3 else "grey16")
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", profile)
    try:
        found = image.icc_import(pcs="lab", intent="relative", embedded=True)
    except pyvips.Error:
        return lab_from_srgb(codes)
    return found.numpy().reshape(-1, found.bands)[:, :3].astype(float)


def converter(still: OpenStill) -> ToLab:
    """What turns a scan's codes (0..1) into CIELAB."""
    profile = profile_of(still)
    return lambda codes: lab_of(codes, profile)
