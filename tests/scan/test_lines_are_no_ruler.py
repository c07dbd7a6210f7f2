"""Lines of type at equal distances are no ruler, whatever their distance, in one column or three."""

import pytest
from make.typed import typed

from takeup.measure.scan.ticks import rulers


@pytest.mark.parametrize(
    ("leading", "columns"), [(14, 1), (16, 2), (18, 3), (20, 1), (22, 2), (24, 3), (28, 2), (32, 3)]
)
def test_lines_of_type_tell_no_scale(leading, columns):
    assert rulers(typed(leading, columns, seed=leading)) == ()
