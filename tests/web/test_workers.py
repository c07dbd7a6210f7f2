"""Long work in line: done in a process of its own, taken up again after a stop, and one that stumbles stops nothing."""

from __future__ import annotations

import time

from takeup.lab.port import now, one, rows
from takeup.lab.schema import JOB
from takeup.work.workers import MOST_TRIES, ask_for


def _ended(desk, number, seconds=60.0):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        with desk.lab.reading() as db:
            row = one(db, JOB, JOB.c.id == number)
        if row["state"] in ("done", "stopped"):
            return row
        desk.workers.news.wait(0.05)
    raise AssertionError(row)


def _asked(desk, box, kind="check", **asked):
    with desk.lab.writing() as db:
        return ask_for(db, kind, box and box["id"], asked, "Maren")


def test_a_check_of_an_empty_box_is_done_and_answered(desk, box):
    number = _asked(desk, box)
    desk.workers.start()
    row = _ended(desk, number)
    assert (row["state"], row["answer"], row["tries"]) == ("done", {"files": 0}, 1)


def test_the_same_work_is_put_in_line_once(desk, box):
    assert _asked(desk, box, item="k1") == _asked(desk, box, item="k1") != _asked(desk, box, item="p1")


def test_what_cannot_be_done_is_told_by_its_key(desk, box):
    number = _asked(desk, box, item="nowhere")
    desk.workers.start()
    row = _ended(desk, number)
    assert row["state"] == "stopped" and row["answer"]["fault"]["key"]


def test_work_that_dies_is_begun_again_three_times_and_then_said_to_have_stopped(desk, box):
    number = _asked(desk, box, kind="no such kind")
    after = _asked(desk, None, kind="no such kind either")
    desk.workers.start()
    row = _ended(desk, number)
    assert (row["state"], row["tries"]) == ("stopped", MOST_TRIES) and "KeyError" in row["answer"]["died"]
    assert _ended(desk, after)["state"] == "stopped"


def test_work_that_ran_when_the_desk_ended_waits_again(desk, box):
    number = _asked(desk, box)
    with desk.lab.writing() as db:
        db.execute(JOB.update().values(state="running", begun_at=now(), tries=1))
    desk.workers.start()
    assert _ended(desk, number)["state"] == "done"
    with desk.lab.reading() as db:
        assert len(rows(db, JOB)) == 1


def test_a_worker_that_stumbles_goes_on_with_the_next(desk, box, monkeypatch):
    first, second = _asked(desk, box), _asked(desk, box, item="k1", anew=True)
    real = desk.workers._do

    def stumble(row, about):
        if row["id"] == first:
            raise RuntimeError("out of the blue")
        real(row, about)

    monkeypatch.setattr(desk.workers, "_do", stumble)
    desk.workers.start()
    assert _ended(desk, first)["answer"] == {"died": "RuntimeError: out of the blue"}
    assert _ended(desk, second)["state"] == "done"
