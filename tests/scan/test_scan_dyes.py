"""Faded dyes: told of pictures with greys after the check values' fade (part 4), never of pictures that did not."""

import cv2
import numpy as np
import pytest
from make.photographs import photograph

from takeup.judge.scan import Seen
from takeup.judge.scan_dyes import dye_findings
from takeup.measure.scan.fade import Fade, find_fade
from takeup.streams import StillImage
from takeup.tables.loader import load_rows

MATRIX = np.array([[0.55, 0.03, 0.02], [0.04, 0.85, 0.03], [0.02, 0.04, 0.70]])
STAIN = np.array([0.02, 0.06, 0.12])
NAMES = ("astronaut", "coffee", "chelsea", "rocket", "motorcycle")
LIGHTS = {  # what unfaded pictures look like: light multiplied, or brought to one colour
    "plain": lambda light: light,
    "sunset": lambda light: light * [1, 0.62, 0.3],
    "sepia": lambda light: (light @ [0.2126, 0.7152, 0.0722])[..., None] * [1, 0.88, 0.7],
    "night": lambda light: light**1.5 * [0.25, 0.3, 0.45],
    "snow": lambda light: 1 - (1 - light) * [0.6, 0.54, 0.44],
}


@pytest.fixture(scope="module")
def photos():
    found = {}
    for name in NAMES:
        image = photograph(name)
        image = cv2.resize(image[..., :3], (200, 150), interpolation=cv2.INTER_AREA) / 255
        found[name] = np.where(image <= 0.04045, image / 12.92, ((image + 0.055) / 1.055) ** 2.4)
    return found


def coded(light):
    """As eight bits of sRGB with a scanner's noise hold it."""
    light = np.clip(light, 0, 1)
    codes = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    codes = np.clip(np.rint(codes * 255 + np.random.default_rng(3).normal(0, 1.2, codes.shape)), 0, 255) / 255
    return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)


def faded(light):
    return 10 ** -(-np.log10(np.maximum(light, 10**-2.2)) @ MATRIX.T + STAIN)


def findings(fade, carrier="print"):
    image = StillImage(
        codec="tiff", compression=None, width=10, height=10, channels=3, bits_stated=8, ppi_stated=600.0,
        ppi_y_stated=600.0, profile=None, lossy=False,
    )  # fmt: skip
    return dye_findings(Seen(image=image, fades=(Fade(why="grey"), fade)), carrier, load_rows())


@pytest.mark.parametrize("light", LIGHTS)
@pytest.mark.parametrize("name", NAMES)
def test_pictures_that_did_not_fade_are_left_alone(photos, name, light):
    assert find_fade(coded(LIGHTS[light](photos[name]))).why in ("even", "unsure", "grey")


@pytest.mark.parametrize("name", ["astronaut", "motorcycle"])
def test_a_faded_picture_is_told_by_the_dye_that_lost_most(photos, name):
    """Greys keep the sums of the matrix's rows: 0.60, 0.92, 0.76; red lost 1 - 0.60 / 0.92 against green."""
    (told,) = findings(find_fade(coded(faded(photos[name]))))
    assert (told.name, told.verdict, told.again, told.says) == ("faded", "look", "no", "faded.red")
    assert told.value == pytest.approx(1 - 0.60 / 0.92, abs=0.05) and told.facts["picture"] == 2
    assert told.facts["blue"] == pytest.approx(1 - 0.76 / 0.92, abs=0.05)


def test_a_negative_with_its_mask_is_never_called_faded(photos):
    fade = find_fade(coded(faded(photos["astronaut"])))
    assert fade.why == "" and findings(fade, "negative") == []


@pytest.mark.parametrize("veil", [(0.04, 0.016, 0.01), (0.027, 0.015, 0.009), (0.06, 0.045, 0.03)])
@pytest.mark.parametrize("name", ["astronaut", "chelsea", "motorcycle"])
def test_a_coloured_veil_of_light_is_no_fading(photos, name, veil):
    """Light that is added lifts each black to a colour, as dyes that went do; but light then adds up, not density."""
    assert find_fade(coded(0.92 * photos[name] + np.array(veil))).why in ("even", "unsure")
