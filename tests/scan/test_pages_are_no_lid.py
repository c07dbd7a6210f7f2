"""A page that fills the glass is no lid, whatever stands among its lines; a mount is what a slide's picture lies on."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from make.scan import photographs
from make.typed import typed

from takeup.measure.scan.pictures import pictures
from takeup.measure.scan.seams_sizes import Papers

PAPERS = Papers(sides_mm=((89.0, 127.0), (102.0, 152.0)), smaller_mm=2.0, larger_mm=2.0)


def seen(small, *, many=False, framed=True, ppi=150.0):
    codes = np.repeat(np.clip(np.rint(small), 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    size = (codes.shape[1], codes.shape[0])
    return pictures(codes, 1, size, ppi=ppi, many=many, papers=PAPERS, framed=framed)


@pytest.mark.parametrize("what", ["picture", "margin"])
def test_paper_with_lines_round_a_picture_is_the_page(what):
    """A photograph among the lines, or a dark strip of film at one side, was once the one thing on a lid of paper."""
    page = typed(18, 2, seed=3)
    if what == "picture":
        page[820:1220, 520:860] = cv2.resize(photographs()[0].mean(axis=2).astype(np.float32), (340, 400))
    else:
        page[:, 860:] = 40 + np.random.default_rng(8).normal(0, 2, page[:, 860:].shape)
    found = seen(page)
    assert found.ground == "whole" and [one.corners[2] for one in found.prints] == [(940.0, 1300.0)]


def test_a_pale_page_over_most_of_a_dirty_lid_is_cut_out():
    """Paper 11 codes under its lid, with 150 specks beside it, more than twice what a bed usually has."""
    rng = np.random.default_rng(5)
    glass = 246 + rng.normal(0, 1.2, (1600, 1200))
    for x, y, r in zip(rng.uniform(20, 1180, 150), rng.uniform(20, 1580, 150), rng.uniform(0.5, 2.6, 150)):
        cv2.circle(glass, (int(x), int(y)), max(1, round(r)), float(rng.uniform(60, 200)), -1)
    glass[150:1450, 100:1040] = 235 + rng.normal(0, 2, (1300, 940))
    found = seen(glass)
    assert found.ground == "lid" and len(found.prints) == 1
    assert found.prints[0].corners[0] == pytest.approx((100, 150), abs=2)


def test_a_slides_picture_is_cut_from_its_dark_mount():
    """36 x 24 mm at 750 px to the inch in an even black mount; without film's rule the mount was taken for a frame."""
    rng = np.random.default_rng(6)
    scan = 6 + np.abs(rng.normal(0, 0.8, (760, 1100)))
    scan[40:720, 50:1050] = cv2.resize(photographs()[1].mean(axis=2).astype(np.float32), (1000, 680)) * 0.8 + 30
    found = seen(scan, many=True, framed=False, ppi=750.0)
    assert found.ground == "lid" and len(found.prints) == 1
    assert np.array(found.prints[0].corners) == pytest.approx(
        np.array([(50, 40), (1050, 40), (1050, 720), (50, 720)]), abs=2
    )
