"""The loops over every pixel: the trial that compiles them leaves none out; no picture makes them leave their room."""

from __future__ import annotations

import numpy as np
from make.calling import listened_to

from takeup.measure.video import levels
from takeup.measure.video.loops import Loops, compiled_loops
from takeup.tasks import sound_loops
from takeup.tasks.video_trial import look_at_some


def test_the_loops_in_use_agree_with_the_compiled_ones():
    """Second computation: numba's own call of the same source."""
    ours = look_at_some(sound_loops.ready_pictures())
    for one, other in zip(ours, look_at_some(compiled_loops()), strict=True):
        assert np.array_equal(one, other)


def test_the_trial_calls_every_loop():
    """A loop the trial leaves out is not compiled, and then none is kept: the first check waits for the compiler."""
    loops, called = listened_to(compiled_loops(), sound_loops.VIDEO_ARGUMENTS)
    found = look_at_some(Loops(**loops))
    assert called == set(sound_loops.VIDEO_ARGUMENTS) == set(Loops.__slots__)
    assert all(one.any() for one in found), "a trial that finds nothing compares nothing"


def test_codes_of_more_bits_than_stated_are_left_out():
    """A damaged file of 10 bits may hold 16: they are no level, and are written to no foreign memory."""
    luma = np.full((96, 128), 700, np.uint16)
    luma[::2] = 65535
    counted = levels.step(levels.begin(96, 128, 10), luma)
    for codes in (counted.bars, counted.sides, counted.middle):
        assert codes.sum() > 0 and np.flatnonzero(codes.reshape(-1, 1024).sum(axis=0)).tolist() == [700]
