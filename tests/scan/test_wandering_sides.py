"""Prints with deckle edges are put at their outer teeth, straight ones stay where they are (truth by construction)."""

import cv2
import numpy as np
import pytest

from takeup.measure.scan.sides import Box, Fitted
from takeup.measure.scan.sides_wander import at_teeth

LEVEL, WIDTH, HEIGHT = 247.0, 300.0, 420.0


def drawn(teeth_px, tone, seed=3):
    """A print of one tone 300 x 420 pixels; its teeth are cut ``teeth_px`` deep into it, 11 pixels apart."""
    rng = np.random.default_rng(seed)
    box = Box(x=300, y=300, width=WIDTH, height=HEIGHT, tilt=3.0)
    corners = box.corners()
    outline = []
    for first, last in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        length = np.hypot(*(last - first))
        share = np.arange(int(length)) / length
        inward = np.array([-(last - first)[1], (last - first)[0]]) / length
        cut = teeth_px * (0.5 - 0.5 * np.cos(2 * np.pi * share * round(length / 11)))
        outline.append(first + (last - first) * share[:, None] + inward * cut[:, None])
    mask = np.zeros((2400, 2400), np.uint8)
    cv2.fillPoly(mask, [np.rint((np.concatenate(outline) * 4 - 0.5) * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
    covered = cv2.resize(mask, (600, 600), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    bed = cv2.GaussianBlur(covered * (tone - LEVEL), (0, 0), 0.6)
    return box, (bed[..., None] + rng.normal(0, 1.5, (600, 600, 3))).astype(np.float32)


@pytest.mark.parametrize("tone", [120.0, 215.0])
def test_a_deckle_edge_keeps_its_teeth(tone):
    box, away = drawn(3.0, tone)
    middle = Box(x=box.x, y=box.y, width=box.width - 3.0, height=box.height - 3.0, tilt=box.tilt)
    found = at_teeth(away, np.zeros((600, 600), np.uint8), Fitted(box=middle, sure=(9.0,) * 4), 1.5, (False,) * 4).box
    assert abs(found.width - box.width) <= 1.2 and abs(found.height - box.height) <= 1.2
    np.testing.assert_allclose([found.x, found.y], [box.x, box.y], atol=0.5)


@pytest.mark.parametrize("tone", [120.0, 240.0])
def test_straight_paper_stays(tone):
    box, away = drawn(0.0, tone)
    fitted = Fitted(box=box, sure=(9.0,) * 4)
    assert at_teeth(away, np.zeros((600, 600), np.uint8), fitted, 1.5, (False,) * 4) == fitted
