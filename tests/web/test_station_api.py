"""What a station may say to the desk: decision 0069; issue 4, items 3 and 9 and its bad input."""

from __future__ import annotations

import hashlib
import json
import os
import random
import time

import pytest
from make.tiny import sound_samples, write_wav
from starlette.testclient import TestClient

from takeup.box.folder import look_into
from takeup.lab import live
from takeup.lab.asked import waiting
from takeup.lab.people import TRIES
from takeup.lab.places import pair
from takeup.lab.port import add, now, rows
from takeup.lab.schema import EVENT, JOB, SITTING
from takeup.settings import Settings
from takeup.streams import Finding, Report, Trace
from takeup.tasks.reporting import facts_from, finding_facts
from takeup.web.station_api import take_what_waits

CAPTURE = "0123456789abcdef01234567"
PIECE = 4 << 20
REDO = Finding(name="clipping", verdict="redo", again="helps", says="clipping.at-input", from_s=12.1, unit="samples")
LOOK = Finding(name="dc_offset", verdict="look", again="helps", value=0.02, unit="")


class Station:
    """One station's takeup, by hand: numbers its events, speaks with its key."""

    def __init__(self, app, key: str, stream: str = "s1") -> None:
        self.client = TestClient(app, raise_server_exceptions=True)
        self.client.headers |= {"authorization": f"Bearer {key}", "accept": "application/json"}
        self.stream, self.number = stream, 0

    def event(self, kind, facts, capture=CAPTURE, number=None, at=None):
        self.number = number or self.number + 1
        return {"number": self.number, "kind": kind, "capture": capture, "at": at or now(), "facts": facts}

    def send(self, *events, first=None):
        first = first or (events[0]["number"] if events else 1)
        body = {"stream": self.stream, "first": first, "now": now(), "events": list(events)}
        return self.client.post("/station-api/events", content=json.dumps(body))

    def begin(self, name="side-a.wav", path="/captures/side-a.wav", capture=CAPTURE, **more):
        facts = {"name": name, "path": path, "carrier": "cassette", "family": "sound", "anew": False} | more
        return self.event("begin", facts, capture)

    def end(self, data, report=None, capture=CAPTURE, carrier="cassette"):
        from takeup import __version__

        facts = {"bytes": len(data), "carrier": carrier, "by": __version__, "report": report, "fault": None}
        return self.event("end", facts, capture)

    def whole(self, data, path="/captures/side-a.wav", capture=CAPTURE, modified_ns=1_700_000_000_000_000_000):
        sha256 = hashlib.sha256(data).hexdigest()
        facts = {"bytes": len(data), "sha256": sha256, "path": path, "modified_ns": modified_ns}
        return self.event("whole", facts, capture)

    def piece(self, at, data, sha256=None, capture=CAPTURE):
        head = {"x-piece-sha256": sha256 or hashlib.sha256(data).hexdigest()}
        return self.client.post(f"/station-api/captures/{capture}/pieces/{at}", content=data, headers=head)

    def stands(self, capture=CAPTURE):
        return self.client.get(f"/station-api/captures/{capture}").json()

    def bring(self, data, capture=CAPTURE):
        """Every piece, then until it is in its box or waits."""
        for at in range(0, len(data), PIECE):
            assert self.piece(at, data[at : at + PIECE], capture=capture).status_code == 200
        return self.take(capture)

    def take(self, capture=CAPTURE):
        self.client.post(f"/station-api/captures/{capture}/whole", content="{}")
        until = time.monotonic() + 20
        while (stands := self.stands(capture))["state"] not in ("taken", "refused") and time.monotonic() < until:
            time.sleep(0.05)
        return stands


@pytest.fixture
def station(desk, app):
    with desk.lab.writing() as db:
        return Station(app, pair(db, "cassette-1"))


@pytest.fixture
def sits(desk, box):
    """The box's visitor sits at the station with a cassette."""
    with desk.lab.writing() as db:
        return add(
            db, SITTING, station_id="cassette-1", box_id=box["id"], item="k1", part="a", begun_at="2020-01-01T00:00:00"
        )  # fmt: skip


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    return write_wav(tmp_path_factory.mktemp("sound") / "s.wav", sound_samples(3.0)).read_bytes()


def tiny_wav(seed):
    """A few milliseconds of noise of its own, by hand."""
    samples = random.Random(seed).randbytes(4000)
    head = (
        b"WAVEfmt " + (16).to_bytes(4, "little") + bytes.fromhex("0100010080bb000000770100020010 00".replace(" ", ""))
    )
    body = head + b"data" + len(samples).to_bytes(4, "little") + samples
    return b"RIFF" + len(body).to_bytes(4, "little") + body


def report(*findings):
    made = Report(medium="sound", seconds=3.0, measures={}, findings=findings, trace=Trace(level=b"\x50" * 30))
    return facts_from(made)


def kinds(desk):
    with desk.lab.reading() as db:
        return [row["kind"] for row in rows(db, EVENT, order=EVENT.c.seq)]


# --- pairing ---
def code_on_the_page(maren):
    html = maren.send("/stations", "/stations/pair", station="cassette-1").text
    return html.split('class="code" role="status">')[1][:9]


def pair_with(somebody, code, station_id="cassette-1"):
    return somebody().send("/pair", "/pair", station=station_id, code=code, follow=False)


def test_code_gives_a_key_once_and_a_second_use_is_refused(desk, app, maren, somebody):
    code = code_on_the_page(maren)
    first, second = pair_with(somebody, code), pair_with(somebody, code)
    assert first.status_code == 200 and second.status_code == 403
    assert Station(app, first.json()["key"]).client.get("/station-api/hello").json()["station"] == "cassette-1"


def test_code_of_one_station_pairs_no_other(maren, somebody):
    assert pair_with(somebody, code_on_the_page(maren), "video-1").status_code == 403


def test_pairing_again_makes_the_old_key_worthless(app, maren, somebody):
    old = Station(app, pair_with(somebody, code_on_the_page(maren)).json()["key"])
    new = Station(app, pair_with(somebody, code_on_the_page(maren)).json()["key"])
    assert old.client.get("/station-api/hello").status_code == 403
    assert new.client.get("/station-api/hello").status_code == 200


def test_unpairing_shuts_the_station_out(app, maren, somebody):
    station = Station(app, pair_with(somebody, code_on_the_page(maren)).json()["key"])
    maren.send("/stations", "/stations/unpair", station="cassette-1")
    assert station.client.get("/station-api/hello").status_code == 403


def test_guessed_codes_shut_the_address(maren, somebody):
    code = code_on_the_page(maren)
    for n in range(TRIES):
        assert pair_with(somebody, f"AAAA-AAA{n}").status_code == 403
    assert pair_with(somebody, code).status_code == 429


def test_code_sent_without_the_forms_token_changes_nothing(maren, somebody):
    code = code_on_the_page(maren)
    answer = somebody().client.post("/pair", data={"station": "cassette-1", "code": code})
    assert answer.status_code == 403 and pair_with(somebody, code).status_code == 200


def test_wrong_key_is_403_everywhere(app):
    client = TestClient(app)
    for key in ("", "x", "Bearer", "é" * 10, "a" * 5000):
        headers = {"authorization": f"Bearer {key}".encode()}
        for url in ("/station-api/hello", "/station-api/orders", f"/station-api/captures/{CAPTURE}"):
            assert client.get(url, headers=headers).status_code == 403
        for url in ("/station-api/events", "/station-api/now", f"/station-api/captures/{CAPTURE}/pieces/0"):
            assert client.post(url, headers=headers, content=b"{}").status_code == 403


def test_staffs_session_is_no_stations_key(maren):
    assert maren.client.get("/station-api/hello").status_code == 403


# --- events ---
def test_events_that_come_twice_are_kept_once(desk, station):
    events = [station.begin(), station.event("finding", {"finding": finding_facts(LOOK)})]
    assert station.send(*events).json() == {"upto": 2}
    assert station.send(*events).json() == {"upto": 2}
    assert kinds(desk) == ["begin", "finding"]


def test_event_that_comes_before_another_waits_for_it(desk, station):
    first, second = station.begin(), station.event("finding", {"finding": finding_facts(LOOK)})
    third = station.event("lost", {"what": "gone"})
    assert station.send(first).json() == {"upto": 1}
    assert station.send(third, first=2).json() == {"upto": 1}
    assert station.send(second, third).json() == {"upto": 3}
    assert kinds(desk) == ["begin", "finding", "lost"]


def test_desk_brought_back_from_an_older_backup_goes_on(desk, station):
    """Events 1 to 40 were acknowledged by the desk that is gone: the first that the station still has is 41."""
    assert station.send(station.begin() | {"number": 41}, first=41).json() == {"upto": 41}
    assert kinds(desk) == ["begin"]


def test_event_that_nobody_understands_holds_up_none_behind_it(desk, station):
    self_contrary = {"name": "x", "verdict": "redo", "again": "no", "from_s": None}
    odd = [
        {"kind": "finding", "facts": {}}, {"kind": "nonsense", "facts": {}}, {"kind": "begin", "facts": {"name": 3}},
        {"kind": "finding", "facts": {"finding": self_contrary}}, {"kind": "said", "facts": {"what": "?"}},
        {"kind": "begin", "capture": "../../etc", "facts": {"name": "a", "path": "a", "carrier": "", "family": ""}},
        {"kind": "end", "facts": {"bytes": "many", "carrier": None}},
        {"kind": "whole", "facts": {"sha256": "x" * 64, "bytes": 1, "path": "", "modified_ns": 0}},
    ]  # fmt: skip
    events = [station.begin(), *(station.event("?", {}) | one for one in odd)]
    last = station.event("finding", {"finding": finding_facts(LOOK)})
    assert station.send(*events, last).json() == {"upto": len(odd) + 2}
    assert kinds(desk) == ["begin", "finding"]


def test_streams_of_two_stations_do_not_mix(desk, app, station):
    with desk.lab.writing() as db:
        other = Station(app, pair(db, "video-1"), stream="s1")
    assert station.send(station.begin()).json() == {"upto": 1}
    assert other.send(other.begin(capture="ab" * 12)).json() == {"upto": 1}
    assert other.send(other.event("finding", {"finding": finding_facts(REDO)})).json() == {"upto": 2}
    with desk.lab.reading() as db:
        assert not waiting(db), "a station told of a finding in another one's capture"
    assert other.client.get(f"/station-api/captures/{CAPTURE}").status_code == 404


def test_redo_finding_becomes_one_question_that_learns_its_end(desk, station, sits, box):
    from dataclasses import replace

    open_, closed = finding_facts(REDO), finding_facts(replace(REDO, to_s=12.42, value=31))
    station.send(station.begin(), station.event("finding", {"finding": open_}))
    station.send(
        station.event("finding", {"finding": closed}), station.event("finding", {"finding": finding_facts(LOOK)})
    )
    with desk.lab.reading() as db:
        (asked,) = waiting(db)
        found = live.findings_of(db, CAPTURE)
    assert (asked["key"], asked["box_id"], asked["item"]) == (f"{CAPTURE}/clipping/12.1", box["id"], "k1")
    assert asked["facts"]["finding"]["to_s"] == 12.42
    assert [facts["finding"]["name"] for facts in found] == ["clipping", "dc_offset"]
    assert "capture this side again" in found[0]["words"]["en"]["do"] and found[0]["words"]["zh-Hans"]["why"]
    assert [facts["asked"] for facts in found] == [asked["id"], None]


def test_pages_hear_a_finding_with_its_number(desk, station):
    told = []
    desk.wire.tell = lambda *args: told.append(args)
    station.send(station.begin(), station.event("finding", {"finding": finding_facts(REDO)}))
    assert [(one[0], one[1], one[3]) for one in told if one[1] != "here"] == [
        ("cassette-1", "begin", 1),
        ("cassette-1", "finding", 2),
    ]


def test_meters_are_handed_through_and_kept_nowhere(desk, station):
    told = []
    desk.wire.tell = lambda *args: told.append(args)
    levels = {"left_dbfs": -20.0}
    now_ = {"capture": CAPTURE, "seconds": 1.2, "bytes": 9, "levels": levels, "moments": [[1.1, levels], [1.2, levels]]}
    now_["notice"] = {"says": "level-high", "facts": {"peak": -0.1}}
    assert station.client.post("/station-api/now", json={"captures": [now_]}).json() == {"orders": 0}
    ((place, kind, facts),) = [one for one in told if one[1] == "progress"]
    assert (place, facts["seconds"], len(facts["moments"])) == ("cassette-1", 1.2, 2)
    assert facts["notice"]["name"] == "level-high" and set(facts["notice"]["words"]) == {"en", "zh-Hans"}
    assert kinds(desk) == []


def test_capture_belongs_to_who_sat_there_when_it_began(desk, station, box):
    """The event comes an hour late, when somebody else sits there; the station's clock is a day behind."""
    day, hour = 86400, 3600

    def moment(ago_s):
        from datetime import UTC, datetime, timedelta

        return (datetime.now(UTC) - timedelta(seconds=ago_s)).isoformat(timespec="milliseconds")

    with desk.lab.writing() as db:
        about = {"station_id": "cassette-1", "box_id": box["id"]}
        add(db, SITTING, **about, item="k1", begun_at=moment(2 * hour), ended_at=moment(hour / 2))
        add(db, SITTING, **about, item="v1", begun_at=moment(hour / 2))
    body = {"stream": "s", "first": 1, "now": moment(day), "events": [station.begin() | {"at": moment(day + hour)}]}
    assert station.client.post("/station-api/events", json=body).json() == {"upto": 1}
    with desk.lab.reading() as db:
        assert live.capture(db, CAPTURE)["item"] == "k1"


# --- pieces ---
def test_capture_comes_into_its_box_and_its_check_with_it(desk, station, sits, box, sound):
    station.send(station.begin(), station.end(sound, report(REDO)), station.whole(sound))
    stands = station.bring(sound)
    assert (stands["state"], stands["stored"]) == ("taken", "captures/k1/side-a.wav")
    record = look_into(box["path"], Settings()).record
    (taken,) = record.latest("taken", "k1")
    assert (box["path"] / taken.facts["stored"]).read_bytes() == sound
    assert (taken.facts["source"], taken.facts["station"], taken.facts["part"]) == (
        "/captures/side-a.wav", "cassette-1", "a",
    )  # fmt: skip
    (checked,) = record.latest("checked", "k1")
    assert checked.facts["sha256"] == hashlib.sha256(sound).hexdigest() and checked.facts["report"]["verdict"] == "redo"
    assert not list((desk.home / "incoming").rglob("*")), "what was gathered stays behind"
    assert kinds(desk)[-1] == "taken"


def test_capture_measured_as_another_carrier_is_checked_again(desk, station, sits, sound):
    station.send(station.begin(), station.end(sound, report(), carrier="vhs"), station.whole(sound))
    assert station.bring(sound)["state"] == "taken"
    until = time.monotonic() + 10
    jobs = []
    while not jobs and time.monotonic() < until:
        with desk.lab.reading() as db:
            jobs = rows(db, JOB)
    assert [(job["kind"], job["asked"]) for job in jobs] == [("check", {"item": "k1"})]


def test_desk_that_ended_before_the_box_had_it_goes_on_when_it_starts(desk, station, sits, sound):
    station.send(station.begin(), station.end(sound), station.whole(sound))
    station.piece(0, sound)
    take_what_waits(desk)
    until = time.monotonic() + 20
    while (state := station.stands()["state"]) != "taken" and time.monotonic() < until:
        time.sleep(0.05)
    assert state == "taken"


def test_damaged_piece_is_refused_and_sent_again(desk, station, sits):
    data = os.urandom(PIECE + 1000)
    station.send(station.begin(), station.end(data), station.whole(data))
    assert station.piece(0, data[:PIECE]).json()["received"] == PIECE
    changed = b"\0" + data[PIECE + 1 :]
    assert station.piece(PIECE, changed, hashlib.sha256(data[PIECE:]).hexdigest()).status_code == 400
    assert station.stands()["received"] == PIECE
    assert station.piece(PIECE, data[PIECE:]).json()["received"] == len(data)


def test_pieces_go_on_from_what_is_proved_whatever_lies_behind_it(desk, station, sits, sound):
    """A stop between writing and noting leaves bytes that nobody proved."""
    data = sound * 20
    station.send(station.begin(), station.end(data), station.whole(data))
    station.piece(0, data[:PIECE])
    (part,) = (desk.home / "incoming").rglob("pieces")
    with part.open("ab") as file:
        file.write(b"unproved" * 1000)
    assert station.stands()["received"] == PIECE
    for at in range(PIECE, len(data), PIECE):
        assert station.piece(at, data[at : at + PIECE]).status_code == 200
    assert part.read_bytes() == data


def test_piece_out_of_its_place_changes_nothing(desk, station, sits):
    data = os.urandom(5000)
    station.send(station.begin(), station.end(data), station.whole(data))
    for at in (1, PIECE, 10**15, "x", "-1", "1e3"):
        answer = station.piece(at, data)
        assert (answer.status_code, answer.json()["received"]) == (409, 0)


def test_more_than_the_capture_holds_is_not_taken(station, sits):
    data = os.urandom(5000)
    station.send(station.begin(), station.end(data), station.whole(data))
    assert station.piece(0, data + b"more").status_code == 409


def test_pieces_that_make_another_whole_are_sent_again(desk, station, sits, sound):
    """Every piece is as it was sent, yet the file is not the one whose SHA-256 the station told."""
    other = sound[:-4] + b"\1\2\3\4"
    station.send(station.begin(), station.end(sound), station.whole(sound))
    station.piece(0, other)
    station.client.post(f"/station-api/captures/{CAPTURE}/whole", content="{}")
    until = time.monotonic() + 20
    while station.stands()["received"] and time.monotonic() < until:
        time.sleep(0.05)
    assert (station.stands()["received"], station.stands()["state"]) == (0, "moving")
    assert station.bring(sound)["state"] == "taken"


def test_no_name_leaves_its_place(desk, station, sits, box):
    """Each name with a recording of its own, so that none is known already."""
    names = ["../../x.wav", "C:\\x.wav", "/etc/x.wav", "..", ".hidden.wav", "CON.wav", "a" * 5000 + ".wav",
             "带子 🎞.wav", "\u202evaw.exe", "a\0b.wav", "side a.wav\n", ""]  # fmt: skip
    before = {path for path in desk.home.parent.rglob("*") if desk.home not in path.parents}
    for number, name in enumerate(names):
        data, capture = tiny_wav(number), f"{number:024x}"
        station.send(
            station.begin(name=name, path=name, capture=capture), station.end(data, capture=capture),
            station.whole(data, path=name, capture=capture),
        )  # fmt: skip
        stands = station.bring(data, capture)
        stored = (box["path"] / stands["stored"]).resolve()
        assert stands["state"] == "taken" and stored.parent == (box["path"] / "captures" / "k1").resolve(), name
        assert stored.read_bytes() == data
    assert {path for path in desk.home.parent.rglob("*") if desk.home not in path.parents} == before


def test_capture_that_begins_anew_drops_what_came_of_it(desk, station, sits, sound):
    station.send(station.begin(), station.end(sound), station.whole(sound))
    station.piece(0, sound)
    station.send(station.begin(anew=True))
    assert (station.stands()["state"], station.stands()["received"]) == ("growing", 0)
    assert not list((desk.home / "incoming").iterdir())


# --- for whom ---
def test_capture_of_nobody_waits_until_staff_say_whose(desk, station, maren, box, sound):
    station.send(station.begin(), station.end(sound, report()), station.whole(sound))
    for at in range(0, len(sound), PIECE):
        station.piece(at, sound[at : at + PIECE])
    station.client.post(f"/station-api/captures/{CAPTURE}/whole", content="{}")
    assert station.stands()["known"] is False and "for-whom" in kinds(desk)
    page = maren.look("/stations").text
    assert "side-a.wav" in page and f"{box['number']}/k1" in page
    assert maren.send("/stations", "/stations/for-whom", whose=f"{box['number']}/nothing").status_code == 400
    maren.send("/stations", "/stations/for-whom", whose=f"{box['number']}/k1", part="b")
    assert station.take()["stored"] == "captures/k1/side-a.wav"
    (taken,) = look_into(box["path"], Settings()).record.latest("taken", "k1")
    assert taken.facts["part"] == "b"
    assert "For whom" not in maren.look("/stations").text


# --- one disk shared by the lab ---
def test_capture_on_a_shared_disk_is_taken_where_it_lies(desk, station, sits, box, sound, tmp_path):
    path = tmp_path / "shared" / "side-a.wav"
    path.parent.mkdir()
    path.write_bytes(sound)
    stamp = path.stat().st_mtime_ns
    station.send(station.begin(path=str(path)), station.end(sound), station.whole(sound, str(path), modified_ns=stamp))
    assert station.stands()["shared"] is True and station.take()["state"] == "taken"
    (taken,) = look_into(box["path"], Settings()).record.latest("taken", "k1")
    assert (taken.facts["source"], taken.facts.get("station", "")) == (str(path), "")
    assert path.read_bytes() == sound


def test_like_path_with_other_bytes_is_no_shared_disk(desk, station, sits, box, sound, tmp_path):
    path = tmp_path / "mine" / "side-a.wav"
    path.parent.mkdir()
    path.write_bytes(sound[:-1] + b"\1")
    stamp = path.stat().st_mtime_ns
    station.send(station.begin(path=str(path)), station.end(sound), station.whole(sound, str(path), modified_ns=stamp))
    station.client.post(f"/station-api/captures/{CAPTURE}/whole", content="{}")
    until = time.monotonic() + 20
    while station.stands()["shared"] and time.monotonic() < until:
        time.sleep(0.05)
    assert station.bring(sound)["state"] == "taken"
    (taken,) = look_into(box["path"], Settings()).record.latest("taken", "k1")
    assert taken.facts["station"] == "cassette-1"


def test_file_of_the_desks_own_home_is_no_stations(desk, station, sits, box, sound):
    inside = box["path"] / "captures" / "secret.wav"
    inside.parent.mkdir(exist_ok=True)
    inside.write_bytes(sound)
    facts = station.whole(sound, str(inside), modified_ns=inside.stat().st_mtime_ns)
    station.send(station.begin(path=str(inside)), facts | {"number": 2})
    assert station.stands()["shared"] is False


# --- hostile requests ---
def test_fuzzed_requests_get_no_500(desk, station):
    rng = random.Random(5)
    station.send(station.begin())
    odd = [None, True, -1, 1e308, "", "x" * 3000, [], {}, [[]], {"a": {}}, "\u202e", "NaN", 2**70]

    def anything(depth=0):
        if depth > 3 or rng.random() < 0.4:
            return rng.choice(odd)
        names = ["stream", "first", "now", "events", "number", "kind", "capture", "at", "facts", "finding", "captures",
                 "seconds", "levels", "moments", "notice", "why", "says", "removed"]  # fmt: skip
        if rng.random() < 0.5:
            return [anything(depth + 1) for _ in range(rng.randrange(4))]
        return {rng.choice(names): anything(depth + 1) for _ in range(rng.randrange(6))}

    urls = ["/station-api/events", "/station-api/now", f"/station-api/captures/{CAPTURE}/whole",
            "/station-api/orders/1", "/station-api/orders/x", f"/station-api/captures/{CAPTURE}/pieces/0"]  # fmt: skip
    for n in range(300):
        body = json.dumps(anything()).encode() if n % 5 else rng.randbytes(200)
        if n % 7 == 0:
            kind = rng.choice(["begin", "end", "finding", "whole", "said"])
            event = {"number": n, "kind": kind, "capture": CAPTURE, "at": "?", "facts": anything(2)}
            body = json.dumps({"stream": "f", "first": n, "events": [event]}).encode()
        answer = station.client.post(urls[n % len(urls)], content=body)
        assert answer.status_code < 500, (urls[n % len(urls)], body)


def test_body_larger_than_a_piece_is_told(station, sits):
    data = os.urandom(PIECE + 1)
    station.send(station.begin(), station.end(data), station.whole(data))
    assert station.piece(0, data).status_code == 413


def test_pairing_form_with_anything_in_it_is_one_sentence(maren):
    for name in ("", "x" * 4000, "nowhere", "<b>"):
        assert maren.send("/stations", "/stations/pair", station=name).status_code == 400


def test_pages_of_stations_in_both_languages(maren, station):
    assert "Nothing is captured here now." in maren.look("/stations").text
    assert "这里现在没有采集" in maren.look("/stations?lang=zh-Hans").text
