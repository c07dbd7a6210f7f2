"""Seeded request files, and every possible plan of a small one by plain enumeration."""

import itertools
import random

DAYS = ["2027-03-01", "2027-03-02", "2027-03-03"]  # a Monday and the days after it
WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def clock(minutes):
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def minute(text):
    hours, minutes = text.split(":")
    return int(hours) * 60 + int(minutes)


def request_file(requests, stations=("video",), *, opening=("10:00", "14:00"), days=DAYS, closed=(), down=(), **rules):
    """A request file: each request is (visitor, kind, minutes, windows, asked)."""
    return {
        "from": days[0],
        "to": days[-1],
        "opening": dict.fromkeys(WEEK, [list(opening)]),
        "closed": list(closed),
        "stations": [
            {"id": f"{kind}-{number}", "station": kind, "down": list(dict(down).get(f"{kind}-{number}", ()))}
            for number, kind in enumerate(stations, 1)
        ],
        "rules": {"step_minutes": 30, "shortest_minutes": 60, "longest_minutes": 120} | rules,
        "requests": [
            dict(zip(("visitor", "station", "minutes", "can", "asked"), (v, k, m, [list(w) for w in can], asked)))
            for v, k, m, can, asked in requests
        ],
    }


def small_case(seed):
    """A few requests on few stations over two days, with every rule drawn anew."""
    draw = random.Random(seed)
    kinds = draw.choice([("video",), ("video", "video"), ("video", "film"), ("video", "video", "film")])
    days = DAYS[: draw.choice([1, 2, 2, 2])]
    requests = []
    for number in range(draw.choice([2, 3, 4])):
        minutes = draw.choice([60, 60, 90, 120, 120, 150, 180, 30])
        can = []
        for day in draw.sample(days, draw.randint(1, len(days))):
            start = draw.choice(range(600, 720, 30))
            can.append((day, clock(start), clock(draw.choice(range(start + 60, 841, 30)))))
        visitor = f"v{draw.choice([number, number, number, 0])}"
        asked = f"2027-02-{draw.randint(10, 13)}T09:00"
        requests.append((visitor, draw.choice(kinds), minutes, can, asked))
    promised = []
    for number, kind in enumerate(kinds, 1):
        if draw.random() < 0.4:
            start = draw.choice(range(600, 750, 15))
            visit = {"visitor": draw.choice(["p", "v0"]), "station": f"{kind}-{number}", "date": draw.choice(days)}
            promised.append(visit | {"from": clock(start), "to": clock(start + 60)})
    down = {"video-1": draw.sample(days, 1)} if draw.random() < 0.2 else {}
    return request_file(
        requests, kinds, days=days, down=down, opening=("10:00", draw.choice(["13:00", "14:00"])),
        per_visitor_per_day=draw.choice([1, 1, 2, None]), turn_round_minutes=draw.choice([0, 0, 15, 30]),
        starts_per_step=draw.choice([None, None, 1]), promised=promised,
    )  # fmt: skip


def single_visits(document, request, minutes):
    """Every (station, day, start, end) for a visit of so many minutes, by the hours and the visitor's windows alone."""
    rules = document["rules"]
    for station in document["stations"]:
        if station["station"] != request["station"]:
            continue
        for day, begins, ends in request["can"]:
            if not document["from"] <= day <= document["to"] or day in station["down"] or day in document["closed"]:
                continue
            opens, closes = (minute(text) for text in document["opening"]["mon"][0])
            for start in range(opens, closes, rules["step_minutes"]):
                if start >= minute(begins) and start + minutes <= min(closes, minute(ends)):
                    yield station["id"], day, start, start + minutes


def ways(document, request):
    """Every way to place one request whole: a tuple of visits. None of them: the empty tuple."""
    rules = document["rules"]
    total, shortest, longest = request["minutes"], rules["shortest_minutes"], rules["longest_minutes"]
    yield ()
    if total < shortest:
        return
    if total <= longest:
        yield from ((visit,) for visit in dict.fromkeys(single_visits(document, request, total)))
        return
    days = sorted({day for day, _, _ in request["can"]})
    lengths = range(shortest, longest + 1, rules["step_minutes"])
    for chosen in itertools.chain.from_iterable(itertools.combinations(days, n) for n in range(2, len(days) + 1)):
        for parts in itertools.product(lengths, repeat=len(chosen)):
            if sum(parts) == total:
                choices = [
                    sorted({v for v in single_visits(document, request, part) if v[1] == day})
                    for day, part in zip(chosen, parts)
                ]
                yield from itertools.product(*choices)


def keeps_the_rules(document, visits):
    """Whether visits (visitor, station, day, start, end) stand together, by the letter of the rules."""
    rules = document["rules"]
    turn, most, starts = (rules.get(n) for n in ("turn_round_minutes", "per_visitor_per_day", "starts_per_step"))
    promised = {
        (p["visitor"], p["station"], p["date"], minute(p["from"]), minute(p["to"])) for p in rules.get("promised", [])
    }
    everything = [*visits, *promised]
    for one, other in itertools.combinations(everything, 2):
        if one in promised and other in promised:
            continue  # the lab's own doing
        same_day = one[2] == other[2]
        if same_day and one[1] == other[1] and one[3] < other[4] + turn and other[3] < one[4] + turn:
            return False
        if same_day and one[0] == other[0] and one[3] < other[4] and other[3] < one[4]:
            return False
    for visitor, _, day, _, _ in visits:
        if most is not None and sum(v[0] == visitor and v[2] == day for v in everything) > most:
            return False
    step = rules["step_minutes"]
    for _, _, day, start, _ in visits:
        if (
            starts is not None
            and sum(v[2] == day and (v[3] - 600) // step == (start - 600) // step for v in everything) > starts
        ):
            return False
    return True


def best_by_enumeration(document):
    """The best (minutes, requests, order) over every plan there is; order as docs/decisions/0068 states it.

    The order is a tuple over the requests by moment of asking: (visits, sum of the starts), nothing placed last of all.
    """
    requests = document["requests"]
    turns = sorted(range(len(requests)), key=lambda number: requests[number]["asked"])
    best = None

    def walk(at, chosen):
        nonlocal best
        if at == len(requests):
            placed = [number for number, way in enumerate(chosen) if way]
            order = []
            for number in turns:
                way = chosen[number]
                when = sum(document_minute(document, day, start) for _, day, start, _ in way)
                order.append((-len(way), -when) if way else (-99, 0))
            score = (sum(requests[n]["minutes"] for n in placed), len(placed), tuple(order))
            best = score if best is None or score > best else best
            return
        for way in ways(document, requests[at]):
            visits = [(requests[n]["visitor"], *v) for n, w in enumerate([*chosen, way]) for v in w]
            if keeps_the_rules(document, visits):
                walk(at + 1, [*chosen, way])

    walk(0, [])
    return best


def document_minute(document, day, start):
    return (int(day[-2:]) - int(document["from"][-2:])) * 1440 + start
