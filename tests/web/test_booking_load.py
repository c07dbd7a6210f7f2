"""Many book at once: exactly one wins each time; everybody else gets one sentence; nobody has two stations a day."""

from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest

from takeup.lab import visits
from takeup.lab.book import Slot, bookings_between
from takeup.lab.places import add_station
from takeup.lab.port import IntegrityError, add, now, open_lab, rows
from takeup.lab.schema import PERSON, STEP, TURN, VISIT
from takeup.lab.visits import NotFree, book
from takeup.words.sentences import say

DAY = dt.date(2031, 3, 4)  # a Tuesday; the house hours are 10 to 18
THREADS = 24

BOOKS_ALONE = """
import datetime as dt, json, sys
from pathlib import Path
from takeup.lab.port import open_lab
from takeup.lab.book import Slot
from takeup.lab.visits import NotFree, book
lab, told = open_lab(Path(sys.argv[1])), []
print("ready", flush=True)
sys.stdin.readline()  # all at once
for person, station, start, end in json.loads(sys.argv[2]):
    try:
        with lab.writing() as db:
            slot = Slot(station_id=station, day=dt.date(2031, 3, 4), start=start, end=end)
            told.append(["booked", book(db, slot, person_id=person, by="one of many")])
    except NotFree as no:
        told.append([no.why.key, 0])
print(json.dumps(told))
"""


@pytest.fixture
def lab(tmp_path):
    made = open_lab(tmp_path)
    with made.writing() as db:
        for place, name in enumerate(("video-1", "video-2", "film-1")):
            add_station(db, name, name[:-2], name, name, place=place)
        for number in range(40):
            add(db, PERSON, name=f"Visitor {number}", lang="en", made_at=now(), forget_on="")
    yield made
    made.close()


def _at_once(lab, wishes):
    """Book all of these, a thread each, let go together: what each was told."""
    together = Barrier(len(wishes))

    def one(wish):
        person, station, start, end = wish
        together.wait()
        try:
            with lab.writing() as db:
                slot = Slot(station_id=station, day=DAY, start=start, end=end)
                return "booked", book(db, slot, person_id=person, by="one of many")
        except NotFree as no:
            return no.why.key, 0

    with ThreadPoolExecutor(len(wishes)) as pool:
        return list(pool.map(one, wishes))


def _nothing_twice(lab):
    """What the tables hold: visits that overlap, and people with two visits, counted from the visits themselves."""
    with lab.reading() as db:
        standing = bookings_between(db, DAY, DAY)
        steps = Counter((row["station_id"], row["at_min"]) for row in rows(db, STEP))
        assert len(rows(db, VISIT)) == len(standing), "a refused visit left a row"
        assert len(rows(db, TURN)) == len(standing)
    minutes = Counter((one.station, minute) for one in standing for minute in range(one.start, one.end, visits.GRAIN))
    assert minutes == steps
    assert max(minutes.values()) == 1
    assert max(Counter(one.visitor for one in standing).values()) == 1
    return standing


def test_the_same_time_wanted_by_many_threads_goes_to_one(lab):
    told = _at_once(lab, [(n + 1, "video-1", 600, 720) for n in range(THREADS)])
    assert Counter(word for word, _ in told) == {"booked": 1, "booking.taken": THREADS - 1}
    assert len(_nothing_twice(lab)) == 1


def test_overlapping_times_never_both_stand(lab):
    """Two-hour visits at eight starts half an hour apart, three people each: two of them fit 10:00 to 15:30."""
    wishes = [(n + 1, "video-1", 600 + 30 * (n % 8), 720 + 30 * (n % 8)) for n in range(THREADS)]
    told = _at_once(lab, wishes)
    standing = _nothing_twice(lab)
    assert sum(word == "booked" for word, _ in told) == len(standing)
    assert 1 <= len(standing) <= 2  # 600 to 930 holds two visits of 120 that do not overlap, never three
    assert {word for word, _ in told} == {"booked", "booking.taken"}


def test_one_visitor_wanted_at_every_station_at_once_gets_one(lab):
    wishes = [
        (7, f"{('video-1', 'video-2', 'film-1')[n % 3]}", 600 + 60 * (n % 7), 660 + 60 * (n % 7)) for n in range(21)
    ]
    told = _at_once(lab, wishes)
    assert Counter(word for word, _ in told) == {"booked": 1, "booking.own-day": 20}
    assert len(_nothing_twice(lab)) == 1


def test_the_database_refuses_even_when_nobody_looks_first(lab, monkeypatch):
    """With the rules left out of the way, the steps and turns alone still let one through."""
    monkeypatch.setattr(visits, "_hold_to_rules", lambda *_args, **_more: None)
    told = _at_once(lab, [(n + 1, "video-1", 600, 720) for n in range(THREADS)])
    assert Counter(word for word, _ in told) == {"booked": 1, "visit.taken": THREADS - 1}
    told = _at_once(lab, [(40, "film-1", 600 + 60 * n, 660 + 60 * n) for n in range(7)])
    assert Counter(word for word, _ in told) == {"booked": 1, "visit.own-day": 6}
    _nothing_twice(lab)


def test_a_step_written_past_everything_is_refused_by_the_table(lab):
    with lab.writing() as db:
        book(db, Slot(station_id="video-1", day=DAY, start=600, end=660), person_id=1, by="first")
    with pytest.raises(IntegrityError), lab.writing() as db:
        db.execute(STEP.insert().values(station_id="video-1", day=DAY.isoformat(), at_min=630, visit_id=1))


def test_several_processes_on_one_file_share_out_every_time_once(lab):
    """Three processes want the same fourteen hours (two stations, seven starts), each with people of its own."""
    hours = [(station, 600 + 60 * n) for station in ("video-1", "video-2") for n in range(7)]
    wanted = [
        [(10 * process + 1 + n % 10, station, start, start + 60) for n, (station, start) in enumerate(hours)]
        for process in range(3)
    ]
    running = [
        subprocess.Popen(
            [sys.executable, "-c", BOOKS_ALONE, str(lab.home), json.dumps(wishes)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )
        for wishes in wanted
    ]  # fmt: skip
    assert [one.stdout.readline() for one in running] == ["ready\n"] * 3
    for one in running:
        one.stdin.write("now\n")
        one.stdin.flush()
    told = [json.loads(one.communicate(timeout=60)[0]) for one in running]
    assert [one.returncode for one in running] == [0] * 3
    standing = _nothing_twice(lab)
    assert sum(word == "booked" for process in told for word, _ in process) == len(standing)
    assert {word for process in told for word, _ in process} <= {"booked", "booking.taken", "booking.own-day"}
    assert len({(one.station, one.start) for one in standing}) == len(standing)


@pytest.mark.parametrize("key", ["visit.taken", "visit.own-day", "visit.no-station", "visit.past"])
@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
def test_each_refusal_of_the_book_is_one_sentence(key, lang):
    said = say("whys", key, lang, {"most": 1})
    assert said.count(".") + said.count("。") == 1 and "{" not in said
