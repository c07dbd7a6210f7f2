"""Laws of the video measures: where a walk is cut, and what came before it was cut, changes nothing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from make.video import Tape, coded, render

from takeup.measure.video import change, dropouts, levels, presence, sampled
from takeup.measure.video.fields import fields
from takeup.measure.video.stretches import Running, stretches
from takeup.tables.loader import load_rows

PICTURES = [coded(planes, "uyvy422") for planes in render(Tape(pictures=5, lines=160, seed=91))]
SECTIONS = {name: load_rows().section(f"video.{name}") for name in ("sampled", "half_height", "dropout")}
LIMITS = SECTIONS | {"sampled": SECTIONS["sampled"] | {"every": 2}}
KINDS = ("picture", "black", "flat", "snow", "lifted")


@pytest.mark.parametrize("fold", ["levels", "change", "dropouts", "sampled"])
def test_a_state_is_not_altered_by_the_steps_taken_from_it(fold):
    """Walk, keep every state, walk on from each: the same results as the one straight walk."""
    begins = {
        "levels": lambda: levels.begin(160, 720, 8),
        "change": change.begin,
        "dropouts": dropouts.begin,
        "sampled": sampled.begin,
    }
    steps = {
        "levels": lambda state, planes: (levels.step(state, planes[0]), None),
        "change": lambda state, planes: change.step(state, planes[0], 8, 1.5),
        "dropouts": lambda state, planes: dropouts.step(state, fields(planes[0]), planes[1:3], 8, LIMITS["dropout"]),
        "sampled": lambda state, planes: (sampled.step(state, planes, 8, LIMITS), None),
    }

    def walk(state, pictures):
        told = []
        for planes in pictures:
            state, result = steps[fold](state, planes)
            told.append(result)
        return state, told

    states = [begins[fold]()]
    for planes in PICTURES:
        states.append(steps[fold](states[-1], planes)[0])
    whole, told = walk(begins[fold](), PICTURES)
    for at, state in enumerate(states):
        again, rest = walk(state, PICTURES[at:])
        assert rest == told[at:]
        if fold == "levels":
            assert np.array_equal(again.middle, whole.middle) and np.array_equal(again.sides, whole.sides)
        if fold == "sampled":
            assert again.noise == whole.noise and again.jitter == whole.jitter
            assert np.array_equal(again.lags.across.counts, whole.lags.across.counts)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 5000), max_size=12), st.integers(0, 3))
def test_any_cutting_of_sound_gives_the_same_presence(cuts, seed):
    samples = np.random.default_rng(seed).normal(0, 0.01, (5000, 2)).astype(np.float32)
    samples[1000:2500] = 0
    state = presence.begin(1000, 2)
    for piece in np.split(samples, sorted(cuts)):
        state = presence.step(state, piece)
    once = presence.finish(presence.step(presence.begin(1000, 2), samples))
    assert presence.finish(state) == once


@settings(max_examples=200, deadline=None)
@given(st.lists(st.sampled_from(KINDS), max_size=40), st.integers(0, 3))
def test_stretches_told_while_they_come_are_those_found_in_the_end(kinds, gap):
    kinds = ["picture" if kind == "lifted" else kind for kind in kinds]
    running, told = Running(0.04, gap=gap), []
    for number, kind in enumerate(kinds):
        told += running.step(kind, number * 0.04)
    told += running.finish()
    assert told == stretches(kinds, [number * 0.04 for number in range(len(kinds))], 0.04, gap=gap)
