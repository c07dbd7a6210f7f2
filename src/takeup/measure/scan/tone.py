"""Light for each code of a scan, by the name of its colour profile."""

from __future__ import annotations

import numpy as np

LINEAR = ("linear", "gamma 1.0", "g1.0", "scrgb")
POWERS = (("adobe", 563 / 256), ("prophoto", 1.8), ("romm", 1.8), ("gamma 1.8", 1.8), ("2.2", 2.2))


def tone_curve(profile: str | None, full_scale: int) -> np.ndarray | None:
    """Light (0 to 1) for each code, or None when codes are light already.

    Parameters
    ----------
    profile : str or None
        The profile's name; one that says nothing of its curve, or none, is read as sRGB (IEC 61966-2-1).
    full_scale : int
        The highest code.
    """
    name = (profile or "").lower()
    codes = np.arange(full_scale + 1, dtype=np.float32) / full_scale
    if any(word in name for word in LINEAR):
        return None
    if "ecirgb" in name:  # lightness L*
        curve = np.where(codes > 0.08, ((codes + 0.16) / 1.16) ** 3, codes * 2700 / 24389)
        return curve.astype(np.float32)
    for word, power in POWERS:
        if word in name:
            return (codes**power).astype(np.float32)
    return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4).astype(np.float32)
