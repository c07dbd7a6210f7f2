"""The outline of a capture that grows: right at any length, always small."""

from __future__ import annotations

import pytest

from takeup.web.outline import COLUMNS, MOST_CAPTURES, STEP_S, Outlines, loudest


def progress(capture, seconds, level, moments=None):
    return {"capture": capture, "seconds": seconds, "levels": {"left_dbfs": level}, "moments": moments or []}


@pytest.mark.parametrize("seconds", [1.0, 200.0, 239.0, 241.0, 5000.0, 4 * 3600.0])
def test_a_loud_place_stays_where_it_was_at_any_length(seconds):
    """Levels of -60 dBFS all along and one of -4 dBFS: (-4 + 60) / 56 = 1, drawn to full height."""
    outlines, loud_s = Outlines(), seconds * 0.3
    at = 0.0
    told = False
    while at < seconds:
        level = -60.0
        if not told and at >= loud_s:
            level, told = -4.0, True
        outlines.hear(progress("c", at, level))
        at += max(0.25, seconds / 3000)
    step_s, heights, heard = outlines.of("c")
    assert len(heights) <= COLUMNS and heard <= seconds
    loudest_at = max(range(len(heights)), key=lambda column: heights[column] or 0.0)
    assert heights[loudest_at] == 1.0
    assert loudest_at * step_s - step_s <= loud_s <= (loudest_at + 1) * step_s + max(0.25, seconds / 3000)


def test_what_was_not_told_is_a_gap_and_no_silence():
    outlines = Outlines()
    outlines.hear(progress("c", 0.0, -20.0))
    outlines.hear(progress("c", 10.0, -20.0))
    step_s, heights, _ = outlines.of("c")
    assert step_s == STEP_S and heights[0] is not None and heights[-1] is not None
    assert set(heights[1:-1]) == {None}


def test_moments_of_one_event_are_all_drawn_and_nonsense_is_passed_over():
    outlines = Outlines()
    outlines.hear(progress("c", 1.0, -20.0, [[0.1, {"left_dbfs": -20.0}], [0.9, {"right_dbfs": -4.0}]]))
    assert outlines.of("c")[1] == [pytest.approx(40 / 56), 1.0]
    for facts in (
        {},
        {"capture": ""},
        {"capture": "c", "seconds": None},
        {"capture": "c", "levels": {"left_dbfs": None}},
    ):
        outlines.hear(facts)
    assert outlines.of("never") == (STEP_S, [], 0.0)
    assert loudest(None) is None and loudest({"peak_dbfs": "loud"}) is None


def test_old_captures_are_let_go():
    outlines = Outlines()
    for number in range(3 * MOST_CAPTURES):
        outlines.hear(progress(f"c{number}", 1.0, -20.0))
    assert len(outlines.kept) == MOST_CAPTURES and outlines.of("c0")[1] == []
