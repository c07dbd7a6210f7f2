"""Codes to CIELAB: against scikit-image (another computation), the engine of profiles, there and back."""

import numpy as np
import pytest
from skimage import color

from takeup.measure.scan import colour

CODES = np.random.default_rng(3).uniform(0, 1, (500, 3))


def test_lab_differs_as_scikit_images_does():
    """CIEDE2000 of 250 random pairs by scikit-image."""
    lab = colour.lab_from_srgb(CODES)
    wanted = color.deltaE_ciede2000(lab[:250], lab[250:])
    np.testing.assert_allclose(colour.ciede2000(lab[:250], lab[250:]), wanted, atol=1e-9)


def test_srgb_white_grey_and_red_in_d50():
    """White is (100, 0, 0); a grey of code 119 has L* 50.03 (hand: light .18447 -> 116 * .18447^(1/3) - 16); red by the
    sRGB profile's own numbers (54.29, 80.81, 69.89)."""
    found = colour.lab_from_srgb(np.array([[1, 1, 1], [119 / 255] * 3, [1, 0, 0]]))
    np.testing.assert_allclose(found, [[100, 0, 0], [50.03, 0, 0], [54.29, 80.81, 69.89]], atol=0.02)


def test_there_and_back():
    np.testing.assert_allclose(colour.srgb_from_lab(colour.lab_from_srgb(CODES)), CODES, atol=1e-6)
    np.testing.assert_allclose(colour.lab_from_srgb(np.array([[0.4]])), colour.lab_from_srgb(np.array([[0.4] * 3])))


@pytest.mark.parametrize("profile", ["srgb", "adobe", None])
def test_the_engine_that_reads_profiles_agrees(profile, tmp_path):
    """lcms by the profile in the file against the published matrices."""
    from PIL import ImageCms

    from takeup.media.still_colour import lab_of

    bytes_ = None
    if profile == "srgb":
        bytes_ = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    if profile == "adobe":
        bytes_ = adobe_profile()
    pure = colour.lab_from_adobe(CODES) if profile == "adobe" else colour.lab_from_srgb(CODES)
    apart = colour.ciede2000(lab_of(CODES, bytes_), pure)
    assert apart.max() < 0.3 and apart.mean() < 0.02


def adobe_profile() -> bytes:
    """A display profile with Adobe RGB (1998)'s primaries and gamma, built by hand after ICC.1 (version 2)."""
    import struct

    def xyz(values):
        return b"XYZ \0\0\0\0" + b"".join(struct.pack(">i", round(v * 65536)) for v in values)

    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(colour.ADOBE_GAMMA * 256)) + b"\0\0"
    desc = b"desc\0\0\0\0" + struct.pack(">I", 6) + b"hand \0" + bytes(78)
    columns = colour.ADOBE_TO_XYZ.T
    tags = [(b"desc", desc), (b"wtpt", xyz(colour.WHITE_D50)), (b"rXYZ", xyz(columns[0])), (b"gXYZ", xyz(columns[1])),
            (b"bXYZ", xyz(columns[2])), (b"rTRC", curve), (b"gTRC", curve), (b"bTRC", curve)]  # fmt: skip
    head, body, at = b"", b"", 128 + 4 + 12 * len(tags)
    for name, data in tags:
        data += bytes(-len(data) % 4)
        head += name + struct.pack(">II", at + len(body), len(data))
        body += data
    size = at + len(body)
    start = struct.pack(
        ">I4sI4s4s4s12s4s", size, b"\0\0\0\0", 0x02400000, b"mntr", b"RGB ", b"XYZ ", bytes(12), b"acsp"
    )
    start += bytes(68 - len(start)) + b"".join(struct.pack(">i", round(v * 65536)) for v in colour.WHITE_D50)
    return start + bytes(128 - len(start)) + struct.pack(">I", len(tags)) + head + body
