"""Oval prints are found with their true outline, along their axes; a round one has no turn."""

import numpy as np
import pytest
from make import scan as made

from takeup.measure.scan.ovals import oval_of
from takeup.measure.scan.sides import Box


@pytest.mark.parametrize(("size", "tilt", "told"), [((300, 210), 4.0, 4.0), ((260, 256), -5.0, 0.0)])
def test_an_oval_lies_along_its_axes(size, tilt, told):
    """The outline is given 4 pixels too far out at its shadow's side, as what stands out from the lid is."""
    rng = np.random.default_rng(7)
    pixels = made.lid(rng, 400, 440, 246, 0)
    level = pixels.copy()
    corners = made.outline((220, 200), size, tilt)
    made.put(pixels, made.art_for(rng, np.array(size), 100, "clean"), corners, "oval", shadow=(1, 2, 1.6, 25.0))
    away = (pixels - level + rng.normal(0, 1.5, pixels.shape)).astype(np.float32)
    found = oval_of(away, Box(x=221, y=202, width=size[0] + 4, height=size[1] + 4, tilt=tilt + 0.4), 1.5)
    np.testing.assert_allclose([found.x, found.y, found.width, found.height], [220, 200, *size], atol=1.5)
    assert abs(found.tilt - told) <= 0.25
