"""Laws of the film measures: any cutting into blocks gives the same; marking and unmarking stretches are inverses."""

from fractions import Fraction

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from takeup.measure.film.cadence import is_new
from takeup.measure.film.glances import COLUMNS, begin_glances, finish_glances, glances, step_glances
from takeup.measure.film.stretches import marks, stretches
from takeup.plan.film_time import frame_times

CHANCE = np.random.default_rng(4)
FILM = [[CHANCE.integers(0, 256, (36, 48), dtype=np.uint8) for _ in range(3)] for _ in range(13)]
WHOLE = glances(FILM)


@given(st.lists(st.integers(0, 13), max_size=6))
@settings(max_examples=40, deadline=None)
def test_glances_any_cutting_gives_the_same(cuts):
    state = begin_glances()
    edges = sorted({0, 13, *cuts})
    for first, last in zip(edges[:-1], edges[1:]):
        state = step_glances(state, FILM[first:last])
    found = finish_glances(state)
    for name in (*COLUMNS, "grid"):
        assert np.array_equal(getattr(found, name), getattr(WHOLE, name)), name


@given(st.lists(st.booleans(), max_size=60))
def test_stretches_and_marks_are_inverses(marked):
    there = np.array(marked, dtype=bool)
    assert np.array_equal(marks(stretches(there), len(there)), there)


@given(st.integers(1, 20), st.integers(1, 30), st.integers(0, 40), st.integers(0, 200), st.integers(1, 200))
def test_is_new_counts_pictures_evenly(p, q, phase, first, count):
    ratio = Fraction(min(p, q), max(p, q))
    found = int(is_new(ratio, phase, first, count).sum())
    assert abs(found - count * ratio) <= 1


@given(st.lists(st.booleans(), min_size=1, max_size=60), st.sampled_from([16, 18, 24, Fraction(24000, 1001)]))
def test_frame_times_last_as_long_as_the_pictures_and_never_go_back(new, rate):
    new[0] = True
    kept = [(at, at) for at, one in enumerate(new) if one]
    times = frame_times(len(new), kept, [], None, Fraction(rate))
    assert times[-1] == sum(new) / Fraction(rate)
    assert all(before < after for before, after in zip(times[:-1], times[1:]))
