"""Levels over time: columns by hand arithmetic on traces of a few bytes, written as the trace's own codes."""

from __future__ import annotations

import math

import numpy as np
import pytest

from takeup.pages.history import cells, history, tones
from takeup.streams import Trace


def test_history_column_holds_least_mean_of_power_and_greatest():
    """Codes 80, 60 are -20 and -40 dBFS: powers .01 and .0001, their mean .00505, which is -22.97 dBFS."""
    (quiet,), (mean,), (loud,) = (
        getattr(history(Trace(level=bytes([80, 60]), recorded=b"\1\1"), 0.2, 1), name)
        for name in ("quiet", "mean", "loud")
    )
    assert (quiet, loud) == (-40, -20)
    assert mean == pytest.approx(10 * math.log10(0.00505))


def test_history_columns_share_the_steps_evenly():
    """Four steps in two columns: the first two, the last two."""
    levels = history(Trace(level=bytes([90, 80, 70, 60]), recorded=b"\1" * 4), 0.4, 2)
    assert levels.loud.tolist() == [-10, -30] and levels.quiet.tolist() == [-20, -40]


def test_history_leaves_out_what_was_not_recorded():
    levels = history(Trace(level=bytes([90, 50, 50, 50]), recorded=b"\1\0\0\0"), 0.4, 2)
    assert levels.quiet[0] == levels.loud[0] == -10
    assert np.isnan([levels.quiet[1], levels.mean[1], levels.loud[1]]).all()


def test_history_trace_without_flags_is_all_recorded():
    assert history(Trace(level=bytes([90, 70])), 0.2, 2).mean.tolist() == [-10, -30]


def test_history_more_columns_than_steps_repeat_them():
    levels = history(Trace(level=bytes([90, 70]), recorded=b"\1\1"), 0.2, 4)
    assert levels.mean.tolist() == [-10, -10, -30, -30]


def test_history_trace_that_ends_before_the_capture_says_nothing_after_it():
    assert np.isnan(history(Trace(level=bytes([90] * 10), recorded=b"\1" * 10), 2.0, 4).mean[2:]).all()


def test_history_floor_code_is_dbfs_plus_140_and_none_where_it_is_0():
    floor = history(Trace(level=bytes(40), floor=bytes([80, 0]), floor_step_s=2.0), 4.0, 4).floor
    assert floor[:2].tolist() == [-60, -60] and np.isnan(floor[2:]).all()


def test_history_without_a_floor_has_none():
    assert np.isnan(history(Trace(level=bytes([90])), 0.1, 3).floor).all()


def strip(*columns: list[int], step_s: float = 1.0) -> Trace:
    hz = (100.0, 1000.0)
    return Trace(strip=b"".join(bytes(column) for column in columns), strip_step_s=step_s, strip_hz=hz)


def test_tones_keep_each_band_in_its_row():
    """Codes 100, 60: -40 dBFS in the low band, -80 in the high one."""
    assert tones(strip([100, 60], [90, 60]), 2.0, 10) == pytest.approx(np.array([[-40, -50], [-80, -80]]))


def test_tones_columns_are_joined_as_power():
    """-40 and -50 dBFS: (1e-4 + 1e-5) / 2 = 5.5e-5, which is -42.6 dBFS."""
    joined = tones(strip([100, 100], [90, 100]), 2.0, 1)
    assert joined == pytest.approx(np.array([[10 * math.log10(5.5e-5)], [-40]]))


def test_tones_nothing_at_all_is_minus_infinity():
    assert tones(strip([0, 100]), 1.0, 5)[0, 0] == -math.inf


@pytest.mark.parametrize("trace", [Trace(), Trace(strip=b"\1", strip_step_s=1.0, strip_hz=(1.0, 2.0))])
def test_tones_without_a_strip_are_empty(trace):
    assert tones(trace, 10.0, 5).size == 0


@pytest.mark.parametrize("seconds,step_s,count", [(2699.7, 1.365, 1056), (2699.7, 0.1, 528), (3.0, 0.1, 528)])
def test_cells_leave_no_step_out_and_no_column_empty(seconds, step_s, count):
    found = cells(seconds, step_s, count)
    assert len(found) == count and all(begin < end for begin, end in found)
    assert found[0][0] == 0 and found[-1][1] >= int(seconds / step_s)
    assert all(later[0] <= earlier[1] for earlier, later in zip(found, found[1:]))
