"""EBU Tech 3342 (v3, 2016): loudness range of the signals 1 to 4 (levels per public test suites; grade: secondary).

The document allows 1 LU; these four are exact by arithmetic, so 0.1 LU is asked. 5 and 6 are the EBU's own files.
"""

from __future__ import annotations

import numpy as np
import pytest
from make.meter import energy_of, staircase

from takeup.measure.sound.loudness import loudness_range

CASES = {
    "1": ((-20, -30), 10.0),
    "2": ((-20, -15), 5.0),
    "3": ((-40, -20), 20.0),
    "4": ((-50, -35, -20, -35, -50), 15.0),
}


@pytest.mark.parametrize("case", CASES)
def test_loudness_range_of_steps(case):
    """signals-1 to 4: 20 s a step."""
    levels, wanted = CASES[case]
    assert loudness_range(energy_of(staircase([(level, 20) for level in levels]))) == pytest.approx(wanted, abs=0.1)


def test_loudness_range_of_one_level_is_nothing():
    assert loudness_range(np.full(6500, 0.01)) == pytest.approx(0.0, abs=1e-9)
