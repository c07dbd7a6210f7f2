"""Colour as an eye tells it: CIELAB under D50, and the difference of two colours (CIEDE2000). Pure arrays.

Pixels of a scan with a profile of its own are brought to CIELAB by a colour engine (``media.still_colour``); what says
nothing of itself is read as sRGB here.
"""

from __future__ import annotations

import numpy as np

from takeup.errors import UnusableSamples

WHITE_D50 = np.array([0.9642, 1.0, 0.8249])  # the ICC profile connection space's own (ICC.1, 6.3.4.3)
SRGB_TO_XYZ = np.array([
    [0.4360747, 0.3850649, 0.1430804], [0.2225045, 0.7168786, 0.0606169], [0.0139322, 0.0971045, 0.7141733],
])  # fmt: skip
SRGB_TO_XYZ *= (WHITE_D50 / SRGB_TO_XYZ.sum(axis=1))[:, None]  # white to the last digit
"""IEC 61966-2-1 primaries, brought from D65 to D50 by the Bradford transform."""
ADOBE_TO_XYZ = np.array([
    [0.6097559, 0.2052401, 0.1492240], [0.3111242, 0.6256560, 0.0632197], [0.0194811, 0.0608902, 0.7448387],
])  # fmt: skip
ADOBE_TO_XYZ *= (WHITE_D50 / ADOBE_TO_XYZ.sum(axis=1))[:, None]
"""Adobe RGB (1998) primaries, brought from D65 to D50 by the Bradford transform."""
ADOBE_GAMMA = 563 / 256  # Adobe RGB (1998) 4.3.1.2: 2.19921875


def srgb_linear(codes: np.ndarray) -> np.ndarray:
    """Light from sRGB codes in 0..1 (IEC 61966-2-1)."""
    codes = np.asarray(codes, float)
    return np.where(codes <= 0.04045, codes / 12.92, ((np.maximum(codes, 0) + 0.055) / 1.055) ** 2.4)


def srgb_codes(light: np.ndarray) -> np.ndarray:
    """sRGB codes in 0..1 from light in 0..1; not cut off."""
    light = np.asarray(light, float)
    bent = 1.055 * np.maximum(light, 1e-12) ** (1 / 2.4) - 0.055
    return np.where(light <= 0.0031308, light * 12.92, bent)


def lab_from_srgb(codes: np.ndarray) -> np.ndarray:
    """CIELAB (D50) of sRGB codes in 0..1, shape (..., 3); one channel (..., 1) is a grey."""
    codes = np.asarray(codes, float)
    if codes.shape[-1] == 1:
        codes = np.repeat(codes, 3, axis=-1)
    if codes.shape[-1] != 3:
        raise UnusableSamples("samples.unusable", reason=f"shape {codes.shape}")
    return lab_from_xyz(srgb_linear(codes) @ SRGB_TO_XYZ.T)


def lab_from_adobe(codes: np.ndarray) -> np.ndarray:
    """CIELAB (D50) of Adobe RGB (1998) codes in 0..1, shape (..., 3)."""
    return lab_from_xyz(np.maximum(np.asarray(codes, float), 0) ** ADOBE_GAMMA @ ADOBE_TO_XYZ.T)


def srgb_from_lab(lab: np.ndarray) -> np.ndarray:
    """sRGB codes of CIELAB (D50); outside 0..1 where sRGB does not hold the colour."""
    return srgb_codes(xyz_from_lab(lab) @ np.linalg.inv(SRGB_TO_XYZ).T)


def lab_from_xyz(xyz: np.ndarray, white: np.ndarray = WHITE_D50) -> np.ndarray:
    """CIELAB of tristimulus values (CIE 15; white at Y = 1)."""
    ratio = np.asarray(xyz, float) / white
    cut = (6 / 29) ** 3
    f = np.where(ratio > cut, np.cbrt(np.maximum(ratio, cut)), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack(
        [116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1
    )  # fmt: skip


def xyz_from_lab(lab: np.ndarray, white: np.ndarray = WHITE_D50) -> np.ndarray:
    """Tristimulus values of CIELAB (CIE 15; white at Y = 1)."""
    lab = np.asarray(lab, float)
    y = (lab[..., 0] + 16) / 116
    f = np.stack([y + lab[..., 1] / 500, y, y - lab[..., 2] / 200], axis=-1)
    return np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * white


def ciede2000(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Difference of two colours.

    Parameters
    ----------
    one, other : ndarray, shape (..., 3)
        CIELAB; the order does not matter.

    Notes
    -----
    CIE 142-2001 with all weights 1, as written out by Sharma, Wu and Dalal, Color Res. Appl. 30(1), 2005, whose table
    of pairs it answers (``tests/published``).
    """
    one, other = np.asarray(one, float), np.asarray(other, float)
    chroma = (np.hypot(one[..., 1], one[..., 2]) + np.hypot(other[..., 1], other[..., 2])) / 2
    stretch = 1 + 0.5 * (1 - np.sqrt(chroma**7 / (chroma**7 + 25.0**7)))
    c1, h1 = _chroma_hue(one, stretch)
    c2, h2 = _chroma_hue(other, stretch)
    grey = c1 * c2 == 0
    turn = (h2 - h1 + 180) % 360 - 180
    turn = np.where(np.isclose(np.abs(h2 - h1), 180, atol=1e-9, rtol=0), h2 - h1, turn)
    d_hue = np.where(grey, 0.0, 2 * np.sqrt(c1 * c2) * np.sin(np.deg2rad(turn) / 2))
    far = np.abs(h1 - h2) > 180 + 1e-9
    hue = np.where(far, (h1 + h2 + np.where(h1 + h2 < 360, 360, -360)) / 2, (h1 + h2) / 2)
    hue = np.where(grey, h1 + h2, hue)
    light, c = (one[..., 0] + other[..., 0]) / 2, (c1 + c2) / 2
    s_l = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)
    t = (
        1 - 0.17 * _cos(hue - 30) + 0.24 * _cos(2 * hue) + 0.32 * _cos(3 * hue + 6) - 0.20 * _cos(4 * hue - 63)
    )  # fmt: skip
    s_c, s_h = 1 + 0.045 * c, 1 + 0.015 * c * t
    blue = 60 * np.exp(-(((hue - 275) / 25) ** 2))
    r_t = -2 * np.sqrt(c**7 / (c**7 + 25.0**7)) * np.sin(np.deg2rad(blue))
    dl, dc, dh = (other[..., 0] - one[..., 0]) / s_l, (c2 - c1) / s_c, d_hue / s_h
    return np.sqrt(np.maximum(dl**2 + dc**2 + dh**2 + r_t * dc * dh, 0))


def _chroma_hue(lab: np.ndarray, stretch: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    a = stretch * lab[..., 1]
    return np.hypot(a, lab[..., 2]), np.rad2deg(np.arctan2(lab[..., 2], a)) % 360


def _cos(degrees: np.ndarray) -> np.ndarray:
    return np.cos(np.deg2rad(degrees))
