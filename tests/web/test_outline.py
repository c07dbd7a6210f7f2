"""The outline of a capture that grows: right at any length, always small."""

from __future__ import annotations

import pytest

from takeup.plan.outline import COLUMNS, STEP_S, Outline, loudest, outline_of_trace
from takeup.web.outline import MOST_CAPTURES, Outlines


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


@pytest.mark.parametrize("seconds", [3.0, 700.0, 4 * 3600.0])
def test_what_a_station_kept_joins_what_the_desk_heard_since(seconds):
    """A desk started again has the last tenth only; the station's outline gives the rest, and both agree where both
    know: heights travel in steps of 1/200, so they differ by half of that at most."""
    kept, desk = Outline(), Outlines()
    whole = Outlines()
    steps = 2000
    for step in range(steps):
        at, level = seconds * step / steps, -60.0 + 56.0 * (step % 97) / 96
        kept.hear(at, [[at, {"left_dbfs": level}]])
        whole.hear(progress("c", at, level))
        if step > 0.9 * steps:
            desk.hear(progress("c", at, level))
    desk.take_up({"capture": "c"}, kept.as_told())
    (step_s, heights, heard), (wanted_step_s, wanted, wanted_s) = desk.of("c"), whole.of("c")
    assert (step_s, len(heights)) == (wanted_step_s, len(wanted)) and heard == pytest.approx(wanted_s, abs=0.06)
    assert [one is None for one in heights] == [one is None for one in wanted]
    assert max(abs(one - other) for one, other in zip(heights, wanted) if one is not None) <= 0.0026
    assert len(str(kept.as_told())) < 4000


def test_nonsense_instead_of_an_outline_is_passed_over():
    desk = Outlines()
    desk.hear(progress("c", 1.0, -4.0))
    before = desk.of("c")
    for told in (None, [], "x", {}, {"step_s": 0, "heights": [1]}, {"step_s": 0.5, "heights": "no"},
                 {"step_s": 1e9, "heights": [9]}, {"step_s": 0.5, "heights": ["a", None, {}]}):  # fmt: skip
        desk.take_up({"capture": "c"}, told)
    desk.hear({"capture": "c", "seconds": "soon", "moments": [1, [2], [None, {}], ["x", {"left_dbfs": 0}]]})
    assert desk.of("c") == before
    desk.begin("c")
    assert desk.of("c") == (STEP_S, [], 0.0)


def test_an_ended_capture_is_drawn_from_its_report():
    """Trace bytes are dBFS + 100: 96 is -4 dBFS, drawn full; 40 is -60 dBFS, drawn as nothing. Steps of 0.1 s."""
    made = outline_of_trace(bytes([40] * 10 + [96] + [40] * 9), 0.1)
    assert made.heights == [0.0, 0.0, 1.0, 0.0] and made.step_s == 0.5 and made.seconds == pytest.approx(2.0)


def test_a_desk_started_again_gets_the_outline_from_the_station(app, desk, tmp_path):
    """The station's half by its own outlet, the desk's half by its own address: what is drawn is what was heard."""
    import json

    from starlette.testclient import TestClient

    from takeup.lab.places import pair
    from takeup.settings import Settings
    from takeup.tasks.watch_capture import Capture
    from takeup.tasks.watch_desk import DeskOutlet
    from takeup.tasks.watch_folder import History, Sight
    from takeup.tasks.watch_spool import Spool
    from takeup.tasks.watch_talk import Said

    with desk.lab.writing() as db:
        key = pair(db, "cassette-1")
    client = TestClient(app)

    class Talk:
        def post(self, path, facts):
            answer = client.post(path, content=json.dumps(facts), headers={"authorization": f"Bearer {key}"})
            return Said(answer.status_code, answer.json())

    sight = Sight(tmp_path / "k1.wav", 1, 1, (1, 1))
    capture = Capture(id="0123456789abcdef01234567", path=sight.path, history=History(sight, 0.0, 0.0))
    spool = Spool(tmp_path / "spool")
    outlet = DeskOutlet("http://127.0.0.1:9", key, spool, "cassette", Settings(), lambda *_: None)
    try:
        for step in range(100):
            outlet.tell("progress", capture, {"seconds": step / 10, "levels": {"left_dbfs": -32.0}})
        outlet._send_meters(Talk())
    finally:
        outlet.stop()
        spool.close()
    _, heights, seconds = desk.wire.outlines.of(capture.id)
    assert heights == pytest.approx([0.5] * 20) and seconds == pytest.approx(9.9)
