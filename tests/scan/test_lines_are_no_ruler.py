"""Lines of type at equal distances are no ruler, whatever their distance, in one column or three."""

import cv2
import numpy as np
import pytest
from make.typed import typed

from takeup.measure.scan.ticks import rulers


@pytest.mark.parametrize(
    ("leading", "columns"), [(14, 1), (16, 2), (18, 3), (20, 1), (22, 2), (24, 3), (28, 2), (32, 3)]
)
def test_lines_of_type_tell_no_scale(leading, columns):
    assert rulers(typed(leading, columns, seed=leading)) == ()


@pytest.mark.parametrize(("lines", "leading"), [(31, 22.0), (34, 24.4), (32, 26.0)])
def test_a_soft_page_whose_lines_fill_it_is_no_ruler(lines, leading):
    """Past the lines lies the lid, so their beat ends there, but they are longer than any tick."""
    rng, wide = np.random.default_rng(lines), 28 * leading
    page = np.full((int(lines * leading) + 100, int(wide) + 110), 225.0, np.float32)
    for top in (50 + leading * np.arange(lines)).astype(int):
        left = 55.0
        while left < 25 + wide:
            word = rng.uniform(12, 70)
            page[top : top + 11, int(left) : int(min(left + word, 55 + wide))] = rng.uniform(95, 130)
            left += word + 7
    bed = cv2.copyMakeBorder(page, 100, 100, 100, 100, cv2.BORDER_CONSTANT, value=20.0)
    assert rulers(cv2.GaussianBlur(bed, (0, 0), 2.7) + rng.normal(0, 1.2, bed.shape)) == ()
