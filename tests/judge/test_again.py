"""Is it the same recording again? Truth by construction: one history played twice, and histories that are not."""

import numpy as np
import pytest
from make.histories import as_bytes, played_again, song, talk

from takeup.judge.again import align, thumb_likeness, tried_twice
from takeup.streams import Finding, Report, Trace
from takeup.tables.loader import load_rows

ROWS = load_rows()


def trace(history) -> Trace:
    return Trace(level=as_bytes(history), recorded=b"\1" * len(history))


@pytest.mark.parametrize("kind", [talk, song])
@pytest.mark.parametrize("seconds", [20, 40, 300, 1800])
@pytest.mark.parametrize(
    ("start_s", "rate", "gain_db"), [(0, 1.0, 0), (2.3, 1.0, -9), (1.1, 1.003, 6), (4.0, 0.994, -3)]
)
def test_align_same_recording_is_found_with_its_offset(kind, seconds, start_s, rate, gain_db):
    first = kind(seconds, seed=seconds)
    again = played_again(first, start_s=start_s, rate=rate, gain_db=gain_db, seed=5)
    found = align(trace(again), trace(first), ROWS)
    assert found is not None
    middle = len(again) * 0.05
    assert found.earlier(middle) == pytest.approx(start_s + rate * middle, abs=0.3)


def test_align_different_recordings_are_never_the_same():
    seconds = [14, 20, 60, 240, 900]
    pieces = [kind(length, seed=100 + at) for at, length in enumerate(seconds * 5) for kind in (talk, song)]
    traces = [trace(piece) for piece in pieces]
    wrong = [
        (one, other)
        for one in range(len(traces))
        for other in range(one)
        if align(traces[one], traces[other], ROWS) is not None
    ]
    assert len(traces) * (len(traces) - 1) // 2 == 1225
    assert wrong == []


def test_align_steady_tone_cannot_be_told():
    tone = np.full(600, -20.0) + np.random.default_rng(1).normal(0, 0.2, 600)
    assert align(trace(tone), trace(tone), ROWS) is None


def test_align_short_capture_cannot_be_told():
    short = talk(3, seed=3)
    assert align(trace(short), trace(short), ROWS) is None


def test_align_part_of_a_recording_is_found_in_the_whole():
    whole = talk(600, seed=8)
    found = align(trace(whole[2000:3500]), trace(whole), ROWS)
    assert found is not None and found.earlier(0) == pytest.approx(200, abs=0.2)


def report(*findings: Finding) -> Report:
    return Report(medium="sound", seconds=60.0, measures={}, findings=findings)


def fault(name="dropout", again="may help", verdict="redo", from_s=20.0, to_s=20.5) -> Finding:
    return Finding(name=name, verdict=verdict, again=again, from_s=from_s, to_s=to_s, rows=("again.same.near_s",))


def test_fault_at_the_same_place_twice_is_the_originals():
    first = talk(60, seed=2)
    again = played_again(first, start_s=2.0, rate=1.0, gain_db=0, seed=3)
    alignment = align(trace(again), trace(first), ROWS)
    judged = tried_twice(report(fault(from_s=18.0, to_s=18.5)), report(fault()), alignment, ROWS)
    assert judged.findings[0].verdict == "look" and judged.findings[0].again == "no"
    assert judged.findings[0].facts["both_times"] is True


def test_fault_elsewhere_or_of_another_kind_stays():
    first = talk(60, seed=2)
    alignment = align(trace(first), trace(first), ROWS)
    elsewhere = tried_twice(report(fault(from_s=40.0, to_s=40.5)), report(fault()), alignment, ROWS)
    another = tried_twice(report(fault(name="hum")), report(fault()), alignment, ROWS)
    assert elsewhere.findings[0].verdict == another.findings[0].verdict == "redo"


def test_fault_of_the_station_stays_redo_however_often():
    first = talk(60, seed=2)
    alignment = align(trace(first), trace(first), ROWS)
    clipped = fault(name="clipping", again="helps")
    assert tried_twice(report(clipped), report(clipped), alignment, ROWS).findings[0].verdict == "redo"


def test_thumb_likeness_of_nothing_is_none():
    assert thumb_likeness(Trace(), Trace()) == 0.0
    assert thumb_likeness(Trace(thumb=bytes(1024)), Trace(thumb=bytes(1024))) == 0.0
