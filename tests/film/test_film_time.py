"""True time of a film: exact fractions. Expected values: check values for film 3.1 and hand arithmetic beside each."""

from fractions import Fraction

import pytest

from takeup.plan.film_time import decide_rate, frame_times, picture_times, rate_in, screen_time, whole_seconds
from takeup.streams import Original
from takeup.tables.loader import load_rows


@pytest.mark.parametrize(
    ("file_rate", "true_rate", "factor"),
    [  # check values 3.1: S / F
        ("20", "16", "5/4"), ("20", "18", "10/9"), ("20", "24", "5/6"), ("24", "16", "3/2"), ("24", "18", "4/3"),
        ("30", "16", "15/8"), ("30", "18", "5/3"), ("30", "24", "5/4"), ("30000/1001", "16", "1875/1001"),
        ("30000/1001", "18", "5000/3003"), ("30000/1001", "24", "1250/1001"),
    ],
)  # fmt: skip
def test_frame_times_one_picture_per_frame_stretches_by_the_exact_factor(file_rate, true_rate, factor):
    times = frame_times(600, [(0, 599)], [], Fraction(1), Fraction(true_rate))
    assert times[-1] / (600 / Fraction(file_rate)) == Fraction(factor)


@pytest.mark.parametrize(("rate", "seconds"), [(20, 180), (18, 200), (16, 225)])
def test_screen_time_3600_pictures(rate, seconds):
    """Check values 3.1: 180, 200, 225 s, drift 0."""
    assert screen_time(3600, Fraction(rate)) == seconds


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("18", "18"), ("16 2/3", "50/3"), ("16.67", "50/3"), ("23.976", "24000/1001"), ("24000/1001", "24000/1001"),
        ("24 fps", "24"), ("29.97", "30000/1001"), ("16,5", "33/2"),
    ],
)  # fmt: skip
def test_rate_in_reads_what_people_write(text, rate):
    assert rate_in(text) == Fraction(rate)


@pytest.mark.parametrize("text", [None, "", "sp", "0", "18/0", "400", "-18"])
def test_rate_in_says_none_where_no_film_has_such_a_rate(text):
    assert rate_in(text) is None


@pytest.mark.parametrize(
    ("carrier", "speed", "rate", "by"),
    [
        ("8mm", None, 16, "gauge"),
        ("super8", None, 18, "gauge"),
        ("super8", "24", 24, "item"),
        ("8mm", "sp", 16, "gauge"),
    ],
)
def test_decide_rate_item_first_then_gauge(carrier, speed, rate, by):
    decided = decide_rate(Original(id="f1", carrier=carrier, speed=speed), load_rows())
    assert (decided.rate, decided.by) == (rate, by)


def test_frame_times_even_pattern_keeps_every_frame_equally_long():
    """18 in 24, shown at 18: each frame 1/24 s; shown at 16: 3/4 / 16 = 3/64 s."""
    kept = [(at, at) for at in range(24) if (at * 3) // 4 > ((at - 1) * 3) // 4]
    for rate, step in ((18, Fraction(1, 24)), (16, Fraction(3, 64))):
        times = frame_times(24, kept, [], Fraction(3, 4), Fraction(rate))
        assert times == [at * step for at in range(25)]


def test_frame_times_odd_repeats_share_their_picture_s_time():
    """Pictures 0, 1 (three frames), 2 at 18: begin at 0, 1/18, 2/18; the repeats divide the second into thirds."""
    times = frame_times(5, [(0, 1), (4, 4)], [], None, Fraction(18))
    assert times == [0, Fraction(1, 18), Fraction(4, 54), Fraction(5, 54), Fraction(2, 18), Fraction(3, 18)]


def test_frame_times_undetermined_frames_last_their_share():
    """3 frames of which nothing can tell, 2/3 picture each: 3 * 2/3 / 18 = 1/9 s."""
    assert frame_times(3, [(0, 2)], [(0, 2)], Fraction(2, 3), Fraction(18))[-1] == Fraction(1, 9)


def test_picture_times_each_picture_once_at_the_rate():
    shown, end = picture_times([True, False, True, True, False], [], Fraction(3, 5), Fraction(18))
    assert shown == [(0, 0), (2, Fraction(1, 18)), (3, Fraction(2, 18))]
    assert end == Fraction(3, 18)


def test_whole_seconds_rounds_halves_to_even():
    """Check values 1.3: 25 ft of Super 8 at 16: 1800 / 16 = 112.5 s is 1:52."""
    assert whole_seconds(screen_time(1800, Fraction(16))) == 112
