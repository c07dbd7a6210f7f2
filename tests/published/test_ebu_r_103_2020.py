"""EBU R 103 (v2 2016, v3 2020), limits as EBU's quality-control item 0051B repeats them: 5 to 246, 20 to 984."""

import numpy as np
import pytest

from takeup.measure.video import levels
from takeup.tables.loader import load_rows


@pytest.mark.parametrize(("bits", "low", "high"), [(8, 5, 246), (10, 20, 984)])
def test_luma_is_beyond_the_limits_only_outside_five_and_two_hundred_forty_six(bits, low, high):
    """Truth by construction: a hundredth of the pixels on each of ten codes around both limits, the rest grey."""
    limits = tuple(load_rows().value("video.levels.within"))
    luma = np.full((576, 720), 100 << (bits - 8), np.uint16 if bits > 8 else np.uint8)
    luma[100:400, 100] = low - 1
    luma[100:400, 101] = low
    luma[100:400, 102] = high
    luma[100:400, 103] = high + 1
    state = levels.step(levels.begin(576, 720, bits), luma)
    found = levels.finish(state, noise=0.0, bar=0, rails=(1, 254), limits=limits)
    counted = int(found.codes.sum())
    assert found.beyond_share == pytest.approx(2 * 300 / counted)
