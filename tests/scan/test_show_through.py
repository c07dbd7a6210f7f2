"""The other side's ghost: how much of it shows, where the other side lies, pages without it. Drawn pages of print."""

from functools import cache

import cv2
import numpy as np
import pytest
from make.both_sides import COLUMNS, LIGHT, PAPER, ROWS, scanned

from takeup.measure.scan.density import density
from takeup.measure.scan.show_through import GhostSweep, find_ghost, ghost_of, papers_of, warped

EDGE = 60


@cache
def ghost_in(share, blur):
    (front, back), _, _ = scanned(share, blur)
    return find_ghost(LIGHT[front], LIGHT[back])


def plain_paper(front):
    """Where the front is paper, away from its own ink and from the edges."""
    paper = cv2.erode((front < density(PAPER) + 0.01).astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    paper[:EDGE] = paper[-EDGE:] = paper[:, :EDGE] = paper[:, -EDGE:] = False
    return paper


@pytest.mark.parametrize(("share", "blur"), [(0.09, 2.5), (0.18, 1.8)])
def test_the_ghost_is_measured_laid_and_taken_off(share, blur):
    """Targets: share within 2 %, registered to 0.3 pixels, ghost within 1.1 times the noise, ink moved by 0.01 at most.
    Where much shows (0.18) the ghost is left at 1.3 times the noise."""
    (front, back), true, there = scanned(share, blur)
    ghost = ghost_in(share, blur)
    assert ghost.share == pytest.approx(share, rel=0.02) and abs(ghost.blur - blur) < 0.3
    y, x = np.mgrid[0:ROWS, 0:COLUMNS] / ghost.size
    found = [row @ [np.ones(x.size), *(t.ravel() for t in (x, y, x * x, x * y, y * y))] for row in ghost.warp]
    apart = np.hypot(*(one.reshape(x.shape) - other for one, other in zip(found, there)))[EDGE:-EDGE, EDGE:-EDGE]
    assert apart.mean() < 0.3
    seen = density(LIGHT[front])
    laid = density(warped(LIGHT[back], ghost.warp, ghost.size, front.shape, PAPER))
    cleared = seen - ghost_of(seen, laid, ghost)
    paper, ink = plain_paper(true), true > 1
    (quiet, _), _, _ = scanned(0.0, 1.0)
    floor = density(LIGHT[quiet])[paper].std()
    assert seen[paper].std() > 1.8 * floor
    assert cleared[paper].std() < (1.1 if share < 0.1 else 1.3) * floor
    assert abs((cleared - true)[ink].mean()) < 0.01


def test_a_page_that_nothing_shows_through_and_a_back_of_another_are_left():
    (front, back), _, _ = scanned(0.0, 1.0)
    assert find_ghost(LIGHT[front], LIGHT[back]).why == "unsure"
    (front, _), _, _ = scanned(0.09, 2.5)
    (_, other), _, _ = scanned(0.09, 2.5, seed=7)
    assert find_ghost(LIGHT[front], LIGHT[other]).why == "unsure"


def test_however_the_strips_are_cut_the_page_is_the_same():
    (front, back), true, _ = scanned(0.09, 2.5)
    ghost = ghost_in(0.09, 2.5)
    papers = papers_of(LIGHT[front][..., None], LIGHT[back][..., None])
    made = []
    for rows in (ROWS, 128, 300):
        strips = iter([front[top : top + rows, :, None] for top in range(0, ROWS, rows)])
        sweep = GhostSweep(np.ascontiguousarray(back[..., None]), LIGHT, ghost, papers)
        made.append(np.concatenate(list(sweep.through(strips)))[..., 0])
    assert np.array_equal(made[0], made[1]) and np.array_equal(made[0], made[2])
    paper = plain_paper(true)
    assert made[0][paper].std() < 0.75 * front[paper].std()
