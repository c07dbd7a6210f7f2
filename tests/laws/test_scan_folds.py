"""Any cutting of a scan into strips gives the same miniature, clipped counts and true bits."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as some

from takeup.measure.scan import depth, miniature, rails

RNG = np.random.default_rng(7)
SCANS = (RNG.integers(0, 256, (97, 41, 3)).astype(np.uint8), RNG.integers(0, 65536, (61, 30, 1)).astype(np.uint16))


def fold(scan, block, cuts):
    states = [miniature.begin(block), rails.begin(block, int(np.iinfo(scan.dtype).max))]
    bits = depth.begin(8 * scan.dtype.itemsize, every=3)
    for strip in np.split(scan, sorted(set(cuts))):
        states = [miniature.step(states[0], strip), rails.step(states[1], strip)]
        bits = depth.step(bits, strip)
    small, counts = miniature.finish(states[0]), rails.finish(states[1])
    return small.pixels, counts.low, counts.high, depth.finish(bits)


@settings(max_examples=60, deadline=None)
@given(scan=some.sampled_from(SCANS), block=some.integers(1, 7), cuts=some.lists(some.integers(1, 60), max_size=6))
def test_strips_do_not_matter(scan, block, cuts):
    whole, cut = fold(scan, block, []), fold(scan, block, cuts)
    for one, other in zip(whole[:3], cut[:3]):
        np.testing.assert_array_equal(one, other)
    assert whole[3] == cut[3]
