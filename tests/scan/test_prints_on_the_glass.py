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
