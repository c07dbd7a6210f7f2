"""A straight line right across a print is not where two prints part: truth by construction, drawn in light."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from takeup.measure.scan.seams_proof import LINE, OPEN, PAPER, proof
from takeup.measure.scan.seams_steps import is_drawn

LID = 247.0
ROWS, COLUMNS, AT = 600, 400, 200


def _scene(seed: int) -> np.ndarray:
    """Light of a picture, a fifth to a half of the lid's: blobs so large that they go on beyond a seam."""
    rng = np.random.default_rng(seed)
    layers = [cv2.GaussianBlur(rng.standard_normal((ROWS, COLUMNS)), (0, 0), size) * size for size in (4.0, 8.0, 20.0)]
    mixed = sum(layers)
    return np.asarray(0.2 + 0.3 * (mixed - mixed.min()) / np.ptp(mixed))


def _shown(light: np.ndarray) -> np.ndarray:
    """Codes above the lid, as a lens and a scanner's curve give them."""
    soft = cv2.GaussianBlur(light, (0, 0), 0.6)
    noise = np.random.default_rng(9).normal(0, 1.5, soft.shape)
    return (255 * soft ** (1 / 2.2) + noise - LID).astype(np.float32)[..., None]


def _lid() -> float:
    return float((LID / 255) ** 2.2)


def test_a_line_through_one_picture_is_no_end_of_paper() -> None:
    light = _scene(1)
    light[:, AT:] *= 0.7
    assert proof(_shown(light), AT, 150.0, LID) == LINE


@pytest.mark.parametrize("gap", [0.3, 0.6, 1.0])
def test_ground_between_two_pictures_proves_two_papers(gap: float) -> None:
    light = np.concatenate([_scene(2)[:, :AT], _scene(3)[:, AT:]], axis=1)
    light[:, AT] = (1 - gap) * light[:, AT] + gap * _lid()
    assert proof(_shown(light), AT, 150.0, LID) == PAPER


def test_two_pictures_side_by_side_without_ground_are_for_a_person() -> None:
    light = np.concatenate([_scene(2)[:, :AT], _scene(3)[:, AT:]], axis=1)
    assert proof(_shown(light), AT, 150.0, LID) == OPEN


def test_ruled_lines_are_drawn_and_one_step_is_none() -> None:
    light = np.full((ROWS, COLUMNS), 0.85)
    light[20::40] *= 0.6
    whole = np.ones((ROWS, COLUMNS), bool)
    assert is_drawn(_shown(light), whole)
    parted = np.concatenate([_scene(2)[:, :AT], _scene(3)[:, AT:]], axis=1)
    assert not is_drawn(_shown(parted), whole)
