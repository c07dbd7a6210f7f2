"""Hard beds of the second maker (polygons in linear light, ``make.glass``): truth is each paper's own outline."""

import numpy as np
import pytest
from make.glass_scenes import SCENES
from make.scan import overlap

from takeup.measure.scan.pictures import pictures
from takeup.tables.loader import load_rows
from takeup.tasks.scan_looks import papers_of

PPI = 100


def seen_on(kind, seed):
    glass = SCENES[kind](seed, PPI)
    size = glass.pixels.shape[1::-1]
    return glass, pictures(glass.pixels, 1, size, ppi=PPI, many=True, papers=papers_of(load_rows()))


@pytest.mark.parametrize(("kind", "seed"), [("block", 1), ("row-bordered", 1), ("frame", 1)])
def test_touching_prints_and_a_scanners_frame(kind, seed):
    glass, seen = seen_on(kind, seed)
    assert len(seen.prints) == len(glass.laid) and not seen.unsure
    for one in glass.laid:
        best = max(seen.prints, key=lambda found: overlap(found.corners, one.corners))
        assert overlap(best.corners, one.corners) >= 0.97
        assert abs(best.tilt - one.tilt) <= 0.1


def test_a_dark_lid_seen_between_two_rows_of_prints_is_no_scanners_frame():
    """The prints' white borders end along one line near each limit, as the glass does inside a frame."""
    rng = np.random.default_rng(3)
    bed = np.full((640, 620, 3), 22.0)
    truth = [(x, y, x + 250, y + 262) for y in (34, 344) for x in (36, 334)]
    for left, top, right, bottom in truth:
        bed[top:bottom, left:right] = 236.0
        tones = rng.uniform(40, 200, (8, 7, 3)).repeat(29, axis=0).repeat(30, axis=1)
        bed[top + 15 : top + 247, left + 20 : left + 230] = tones
    seen = pictures(np.rint(bed + rng.normal(0, 1.2, bed.shape)).clip(0, 255).astype(np.uint8), 1, (620, 640), ppi=PPI,
                    many=True, papers=papers_of(load_rows()))  # fmt: skip
    assert not seen.unsure and not any(any(one.meets) for one in seen.prints)
    boxes = [(*np.min(one.corners, axis=0), *np.max(one.corners, axis=0)) for one in seen.prints]
    np.testing.assert_allclose(boxes, truth, atol=1.5)


@pytest.mark.parametrize(("kind", "meets"), [("past", True), ("near", False)])
def test_a_print_a_millimetre_over_the_limit_meets_it_and_one_that_stays_inside_does_not(kind, meets):
    """Seed 2: 1.0 mm over the scan's limit, or 0.8 mm inside it."""
    glass, seen = seen_on(kind, 2)
    best = max(seen.prints, key=lambda found: overlap(found.corners, glass.laid[0].corners))
    assert overlap(best.corners, glass.laid[0].corners) >= 0.97
    assert any(best.meets) is meets


def test_one_print_over_another_is_left_to_a_person():
    glass, seen = seen_on("overlap", 1)
    whole, doubtful = glass.laid[2], np.concatenate([one.corners for one in glass.laid[:2]])
    assert len(seen.prints) == 1 and overlap(seen.prints[0].corners, whole.corners) >= 0.97
    (box,) = seen.unsure
    low, high = doubtful.min(0), doubtful.max(0)
    np.testing.assert_allclose([box[0], box[1], box[0] + box[2], box[1] + box[3]], [*low, *high], atol=10)
