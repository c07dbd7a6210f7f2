"""The solver's plan against every plan there is, on small cases; the enumeration shares no code with the solver."""

import pytest
from make.visits import best_by_enumeration, document_minute, keeps_the_rules, minute, small_case

from takeup.plan.schedule import plan_schedule
from takeup.plan.schedule_reading import read_requests
from takeup.tables.loader import load_rows
from takeup.tasks.schedule import schedule_answer

ROWS = load_rows()


def answer(document):
    asked = read_requests(document, ROWS.section("booking.rules"), 366)
    made = plan_schedule(asked.requests, asked.lab, asked.first, asked.last, promised=asked.promised)
    return made, schedule_answer(asked, made, "en")


def whole_requests(document, said):
    """The visits of the answer, given to the requests of their visitor and kind that they fill (each whole)."""
    kinds = {station["id"]: station["station"] for station in document["stations"]}
    unplaced = [(one["visitor"], one["station"], one["minutes"]) for one in said["unplaced"]]
    placed = list(document["requests"])
    for visitor, kind, minutes in unplaced:
        placed.remove(next(r for r in placed if (r["visitor"], r["station"], r["minutes"]) == (visitor, kind, minutes)))
    want = sorted((r["visitor"], r["station"], r["minutes"]) for r in placed)
    have = {}
    for visit in said["visits"]:
        key = visit["visitor"], kinds[visit["station"]]
        have[key] = have.get(key, 0) + visit["minutes"]
    sums = {}
    for visitor, kind, minutes in want:
        sums[visitor, kind] = sums.get((visitor, kind), 0) + minutes
    return placed, sums == have


@pytest.mark.parametrize("seed", range(120))
def test_schedule_of_a_small_case_is_the_best_of_all_plans(seed):
    document = small_case(seed)
    made, said = answer(document)
    visits = [(v["visitor"], v["station"], v["date"], minute(v["from"]), minute(v["to"])) for v in said["visits"]]
    assert (said["best_possible"], said["order_proven"]) == (True, True)
    assert keeps_the_rules(document, visits)
    placed, whole = whole_requests(document, said)
    assert whole
    minutes, count, order = best_by_enumeration(document)
    assert (said["minutes_placed"], len(placed)) == (minutes, count)
    assert sum(v["minutes"] for v in said["visits"]) == minutes
    assert all(one["why"].strip() for one in said["unplaced"])
    names = [request["visitor"] for request in document["requests"]]
    if len(set(names)) == len(names):  # else a visit cannot be told to be whose request's without our own numbering
        turns = sorted(document["requests"], key=lambda request: request["asked"])
        found = []
        for request in turns:
            own = [v for v in visits if v[0] == request["visitor"]]
            found.append((-len(own), -sum(document_minute(document, v[2], v[3]) for v in own)) if own else (-99, 0))
        assert tuple(found) == order
