"""The station's own screen, acted out: paired, opened by a slip, steps, a finding that stays until it is answered."""

from __future__ import annotations

import json
import re

import pytest
from sqlalchemy import select

from takeup.lab.asked import answer, ask_somebody
from takeup.lab.boxes import end_slip_code, new_slip_code, open_box
from takeup.lab.live import findings_of, keep_event
from takeup.lab.port import add, change, now, one, rows
from takeup.lab.schema import ASKED, CAPTURE, EVENT, SITTING, STATION
from takeup.lab.sittings import sitting_now
from takeup.tasks.guide import first_steps

WORDS = {
    "en": {"why": "The loudest moments from 4:10 on were cut off flat. This is certain.", "do": "Turn the input down."},
    "zh-Hans": {"why": "从 4:10 起，最响的地方被削平了。这一点可以确定。", "do": "请把输入调低。"},
}


@pytest.fixture
def place(maren):
    """Pairs a browser as the screen of cassette-1."""

    def pair(person, station="cassette-1"):
        page = maren.send(f"/stations/{station}/screen", f"/stations/{station}/screen/code").text
        code = re.search(r'class="code" role="status">([^<]+)<', page)[1]
        assert person.send("/station", "/station/pair", code=code, follow=False).status_code == 303
        return person

    return pair


@pytest.fixture
def screen(place, somebody):
    return place(somebody())


def sit(screen, box, item="k1", part="a"):
    assert screen.send("/station", "/station/begin", code=box["code"], follow=False).status_code == 303
    return choose(screen, item, part)


def choose(screen, item="k1", part="a"):
    return screen.send("/station?view=choose", "/station/choose", item=item, part=part)


def capture(desk, box, *, state="growing", item="k1", part="a", seconds=754.0, key="c1", **more):
    with desk.lab.writing() as db:
        sitting = sitting_now(db, "cassette-1")
        add(
            db, CAPTURE, id=key, station_id="cassette-1", sitting_id=sitting and sitting["id"], box_id=box["id"],
            item=item, part=part, name=f"{item}-side-{part}.wav", state=state, seconds=seconds, begun_at=now(),
            heard_at=now(), sha256="", verdict="", stored="", why="", **more,
        )  # fmt: skip


def find(desk, box, *, at_s=250.0, verdict="redo", key="c1", name="clipping", words=WORDS, number=1):
    """What the station's API does with a finding: kept, asked when it is to be done again, told on the wire."""
    with desk.lab.writing() as db:
        finding = {"name": name, "verdict": verdict, "again": "helps", "from_s": at_s, "to_s": at_s + 1}
        facts = {"capture": key, "key": f"{key}/{name}/{at_s}", "finding": finding, "words": words, "asked": None}
        if verdict == "redo":
            facts["asked"] = ask_somebody(
                db, "cassette-1", "finding", facts["key"], verdict="redo", facts=facts, capture_id=key,
                box_id=box["id"], item="k1",
            )  # fmt: skip
        seq = keep_event(db, "cassette-1", f"t-{key}", number, "finding", facts, capture_id=key)
    desk.wire.tell("cassette-1", "finding", facts, seq)
    return facts["asked"]


def test_a_screen_that_is_not_paired_says_how_and_nothing_else(somebody, box):
    page = somebody().look("/station")
    assert page.status_code == 200
    assert "belongs to no station yet" in page.text
    assert box["number"] not in page.text
    for url in ("/station/now", "/station/live", "/station/listen?capture=c1&at=1", "/station/size.css"):
        assert somebody().client.get(url).status_code == 403


def test_a_pairing_code_works_once_and_a_wrong_one_is_counted(maren, place, somebody):
    page = maren.send("/stations/cassette-1/screen", "/stations/cassette-1/screen/code").text
    code = re.search(r'class="code" role="status">([^<]+)<', page)[1]
    first, second = somebody(), somebody()
    assert first.send("/station", "/station/pair", code=code.lower(), follow=False).status_code == 303
    assert second.send("/station", "/station/pair", code=code).status_code == 403
    for _ in range(9):
        second.send("/station", "/station/pair", code="AAAA-AAAA")
    assert second.send("/station", "/station/pair", code="AAAA-AAAA").status_code == 429
    third = maren.send("/stations/cassette-1/screen", "/stations/cassette-1/screen/code").text
    right = re.search(r'class="code" role="status">([^<]+)<', third)[1]
    assert second.send("/station", "/station/pair", code=right).status_code == 429  # the right one is refused too


def test_parting_with_the_screens_closes_them(maren, screen):
    assert "Type the code on your slip" in screen.look("/station").text
    maren.send("/stations/cassette-1/screen", "/stations/cassette-1/screen/part")
    assert "belongs to no station yet" in screen.look("/station").text


def test_a_visitor_sits_down_with_the_slip_and_sees_only_what_this_machine_plays(desk, screen, box):
    page = screen.send("/station", "/station/begin", code=box["code"]).text
    assert "Which one is in front of you?" in page and "您面前的是哪一件" in page
    assert "k1" in page and "v1" not in page and "p1" not in page
    assert "Tan" not in page  # no names on a station's screen
    with desk.lab.reading() as db:
        assert one(db, SITTING)["box_id"] == box["id"]


def test_a_guessed_slip_code_is_counted_with_those_of_the_front_door(screen, somebody, box):
    for _ in range(10):
        assert screen.send("/station", "/station/begin", code="AAAA-BBBB").status_code == 403
    assert screen.send("/station", "/station/begin", code=box["code"]).status_code == 429
    assert somebody().send("/code", code=box["code"]).status_code == 429  # the same address


def test_steps_go_one_at_a_time_forward_and_back_to_the_live_page(screen, box):
    page = sit(screen, box).text
    steps = first_steps("cassette", "en")
    assert steps[0].text in page and "Yes, it is k1" in page
    page = screen.send("/station", "/station/step", to="1").text
    assert steps[1].text in page and steps[0].text not in page and first_steps("cassette", "zh-Hans")[1].text in page
    page = screen.send("/station", "/station/step", to="0").text
    assert steps[0].text in page
    page = screen.send("/station", "/station/step", to=str(len(steps))).text
    assert "Start the recording at the machine" in page


def test_a_step_from_a_page_out_of_date_is_told(screen, box):
    sit(screen, box)
    where, fields = screen.fields("/station", "/station/step")
    screen.send("/station", "/station/step", to="2")
    late = screen.client.post(where, data=fields | {"to": "1", "once": "other"})
    assert late.status_code == 409


def test_the_live_page_shows_reels_times_thread_and_meters(desk, screen, box):
    sit(screen, box)
    capture(desk, box)
    desk.wire.levels["cassette-1"] = {"levels": {"left_dbfs": -20.0, "left_peak_dbfs": -9.0, "right_dbfs": -21.0}}
    page = screen.look("/station").text
    assert 'data-view="live"' in page and 'data-growing="1"' in page
    assert "12:34" in page and "about 17 min to go" in page  # a side of a 60-minute cassette: 1800 s - 754 s
    assert 'class="reels"' in page and 'class="thread live"' in page and "−9 dB" in page
    assert "Nothing to do now" in page


def test_a_finding_to_do_again_takes_the_screen_and_stays_until_it_is_answered(desk, screen, box):
    sit(screen, box)
    capture(desk, box)
    asked = find(desk, box)
    for url in ("/station", "/station?view=steps", "/station?view=choose", "/station/now"):
        page = screen.look(url).text
        assert "cut off flat" in page and "被削平了" in page and "Turn the input down." in page
        assert "Start this side again" in page and "Go on for now" in page and "Call the librarian" in page
    assert "Can be heard as soon as it has come to the desk" in page
    screen.send("/station", "/station/answer", said="go-on")
    with desk.lab.reading() as db:
        kept = one(db, ASKED, ASKED.c.id == asked)
    assert kept["answer"] == "go-on" and kept["who"] == f"visitor, box {box['number']}" and kept["answered_at"]
    page = screen.look("/station").text
    assert "Go on for now" not in page and "cut off flat" in page  # it stays among what was found so far


def test_an_answer_sent_twice_or_late_changes_nothing(desk, screen, box):
    sit(screen, box)
    capture(desk, box)
    asked = find(desk, box)
    where, fields = screen.fields("/station", "/station/answer")
    with desk.lab.writing() as db:
        answer(db, asked, 1, said="accept", who="Maren", why="the tape is so")
    late = screen.client.post(where, data=fields | {"said": "again"}, follow_redirects=False)
    assert late.status_code == 303
    with desk.lab.reading() as db:
        assert one(db, ASKED, ASKED.c.id == asked)["who"] == "Maren"


def test_start_again_after_the_end_leads_back_to_the_steps(desk, screen, box):
    sit(screen, box)
    capture(desk, box)
    find(desk, box)
    with desk.lab.writing() as db:
        change(db, CAPTURE, "c1", None, state="whole", verdict="redo")
    assert "cut off flat" in screen.look("/station").text
    page = screen.send("/station", "/station/answer", said="again").text
    assert 'data-view="steps"' in page


def test_the_end_is_told_with_its_verdict(desk, screen, box):
    sit(screen, box)
    capture(desk, box)
    for verdict, sentence in (("good", "This recording is whole."), ("look", "A few places"), ("", "is being looked")):
        with desk.lab.writing() as db:
            change(db, CAPTURE, "c1", None, state="whole", verdict=verdict)
        assert sentence in screen.look("/station").text


def test_the_bell_is_one_call_and_stays_until_staff_answer(desk, screen, box, maren):
    sit(screen, box)
    screen.send("/station", "/station/bell")
    page = screen.look("/station").text
    assert "The librarian is called" in page
    where, fields = screen.fields("/station", "/station/bell")
    screen.client.post(where, data=fields)
    with desk.lab.reading() as db:
        assert len(rows(db, ASKED, ASKED.c.kind == "bell")) == 1
    assert "The librarian is called" in screen.look("/station").text
    maren.send("/stations/cassette-1/screen", "/stations/cassette-1/answer", said="done", why="showed the tab")
    assert "The librarian is called" not in screen.look("/station").text
    with desk.lab.reading() as db:
        kept = one(db, ASKED, ASKED.c.kind == "bell")
    assert (kept["who"], kept["why"]) == ("Maren", "showed the tab")


def test_leaving_and_the_end_of_the_visit_close_the_box(desk, screen, box):
    sit(screen, box)
    capture(desk, box)
    find(desk, box)
    screen.send("/station", "/station/leave")
    for _ in range(2):
        page = screen.look("/station").text
        assert "Type the code on your slip" in page
        assert "k1" not in page and "cut off flat" not in page and box["number"] not in page
        assert "waits for the librarian" in page  # that something waits, not what
        with desk.lab.writing() as db:
            box["code"] = new_slip_code(db, box["id"])
        assert "cut off flat" in screen.send("/station", "/station/begin", code=box["code"]).text  # it waited
        with desk.lab.writing() as db:
            end_slip_code(db, box["id"])
    assert screen.client.get("/station/listen?capture=c1&at=4").status_code == 403


def test_the_end_is_warned_of_and_one_button_gives_ten_minutes_more(desk, screen, box):
    from datetime import UTC, datetime, timedelta

    from takeup.lab.schema import BOX

    sit(screen, box)
    assert "This screen closes" not in screen.look("/station").text
    soon = (datetime.now(UTC) + timedelta(minutes=4.6)).isoformat(timespec="milliseconds")
    with desk.lab.writing() as db:
        change(db, BOX, box["id"], None, code_until=soon)
    assert "closes in 5 min" in screen.look("/station").text
    where, fields = screen.fields("/station", "/station/longer")
    screen.client.post(where, data=fields)
    page = screen.client.post(where, data=fields, follow_redirects=True).text  # a double click is one
    assert "This screen closes" not in page
    with desk.lab.reading() as db:
        until = datetime.fromisoformat(one(db, BOX, BOX.c.id == box["id"])["code_until"])
    assert until == datetime.fromisoformat(soon) + timedelta(minutes=10)
    assert screen.client.post(where, data=fields | {"once": "later"}).status_code == 409  # not long before the end


def test_a_station_of_scans_counts_them_and_has_no_reels(desk, place, somebody, box):
    flatbed = place(somebody(), "flatbed-1")
    flatbed.send("/station", "/station/begin", code=box["code"])
    flatbed.send("/station?view=choose", "/station/choose", item="p1", part="")
    for number, verdict in enumerate(("good", "redo")):
        with desk.lab.writing() as db:
            add(
                db, CAPTURE, id=f"s{number}", station_id="flatbed-1", box_id=box["id"], item="p1", part="",
                name="p1.tif", state="whole", begun_at=now(), heard_at=now(), sha256="", verdict=verdict, stored="",
                why="",
            )  # fmt: skip
        page = flatbed.look("/station").text
        assert f"so far: {number + 1}" in page and "reels" not in page and 'class="meters"' not in page
        assert ("This scan is fine" in page) == (verdict == "good")


def test_another_visitor_sees_nothing_of_the_one_before(desk, screen, box, tmp_path):
    sit(screen, box)
    capture(desk, box)
    find(desk, box)
    with desk.lab.writing() as db:
        other = open_box(db, None, "Others")
        code = new_slip_code(db, other["id"])
    page = screen.send("/station", "/station/leave").text
    page = screen.send("/station", "/station/begin", code=code).text
    assert "cut off flat" not in page and ">k1<" not in page and f"Box {other['number']}" in page
    with desk.lab.reading() as db:
        asked = one(db, ASKED, ASKED.c.kind == "finding")
    where, fields = screen.fields("/station", "/station/bell")
    sent = screen.client.post("/station/answer", data=fields | {"asked": str(asked["id"]), "said": "go-on"})
    assert sent.status_code == 403


def test_two_screens_of_one_station_do_not_overwrite_each_other(place, somebody, screen, box):
    second = place(somebody())
    sit(screen, box)
    where, fields = second.fields("/station?view=choose", "/station/choose")
    choose(screen, "k1", "b")
    late = second.client.post(where, data=fields | {"item": "k1", "part": "a"})
    assert late.status_code == 409


def test_a_place_is_heard_from_two_seconds_before_it_when_it_is_stored(desk, screen, box):
    import io
    import wave

    import numpy as np

    sit(screen, box)
    stored = box["path"] / "captures" / "k1-side-a.wav"
    stored.parent.mkdir(exist_ok=True)
    samples = np.zeros((48_000 * 12, 2), "<i2")
    samples[48_000 * 8 :] = 8000  # from second 8 on
    with wave.open(str(stored), "wb") as file:
        file.setnchannels(2), file.setsampwidth(2), file.setframerate(48_000), file.writeframes(samples.tobytes())
    capture(desk, box, state="taken")
    with desk.lab.writing() as db:
        change(db, CAPTURE, "c1", None, stored="captures/k1-side-a.wav")
    heard = screen.client.get("/station/listen?capture=c1&at=7")  # 5 s to 10 s
    assert heard.headers["content-type"] == "audio/wav"
    with wave.open(io.BytesIO(heard.content)) as file:
        got = np.frombuffer(file.readframes(file.getnframes()), "<i2").reshape(-1, 2)
    assert abs(len(got) - 5 * 48_000) < 480
    assert abs(int(np.argmax(got[:, 0] > 4000)) - 3 * 48_000) < 480  # second 8 is the third of what is heard
    for wrong in ("at=99999", "at=-1", "at=nan", "at=x", "at=1e9"):
        assert screen.client.get(f"/station/listen?capture=c1&{wrong}").status_code in (404,)
    with desk.lab.writing() as db:
        change(db, CAPTURE, "c1", None, stored="../../../../etc/hostname")
    assert screen.client.get("/station/listen?capture=c1&at=7").status_code == 404


@pytest.mark.parametrize(
    "typed",
    ["", "x" * 20_001, "<script>alert(1)</script>", "\u202eabc", "😀😀😀😀😀😀😀😀", "a\tb\nc", "../..", "0" * 99],
)
def test_whatever_is_typed_is_one_sentence(screen, box, typed):
    for action in ("/station/begin", "/station/pair"):
        where, fields = screen.fields("/station", "/station/begin")
        answer_ = screen.client.post(action, data=fields | {"code": typed})
        assert answer_.status_code in (400, 403)
        assert "<script>alert" not in answer_.text


def test_choosing_what_is_not_here_or_a_side_that_is_not_is_refused(screen, box):
    sit(screen, box)
    for item, part in (("v1", ""), ("nobody", "a"), ("k1", "z"), ("k1", ""), ("../k1", "a")):
        where, fields = screen.fields("/station?view=choose", "/station/choose")
        assert screen.client.post(where, data=fields | {"item": item, "part": part}).status_code == 400


def test_the_screens_unit_comes_from_its_millimetres(maren, screen):
    maren.send(
        "/stations/cassette-1/screen", "/stations/cassette-1/screen/look", screen_mm="476", px="1920", volume="5"
    )
    assert screen.look("/station/size.css").text == ":root { --mm: 4.0336px; }\n"  # 1920 / 476
    maren.send("/stations/cassette-1/screen", "/stations/cassette-1/screen/look", screen_mm="531", px="", dim="on")
    assert screen.look("/station/size.css").text == ":root { --mm: calc(100vw / 531); }\n"
    assert "at-station dim" in screen.look("/station").text
    bad = maren.send("/stations/cassette-1/screen", "/stations/cassette-1/screen/look", screen_mm="many")
    assert bad.status_code == 400


def fill(lang_steps, **changed):
    """What a browser would send of the table's own steps, with some of it changed."""
    rows_ = {}
    for lang, steps in lang_steps.items():
        rows_ |= {f"{lang}-{at}": step.text for at, step in enumerate(steps)}
    return rows_ | {name.replace("__", "-"): text for name, text in changed.items()}


def test_the_lab_writes_its_own_steps_in_both_languages_and_keeps_editions(desk, maren, ola, screen, box):
    url, action = "/stations/cassette-1/steps?carrier=cassette", "/stations/cassette-1/steps"
    own = {lang: first_steps("cassette", lang) for lang in ("en", "zh-Hans")}
    changed = fill(own) | {"en-0": "Say hello to the tape", "zh-Hans-0": "跟磁带打个招呼", "en-1": "", "zh-Hans-1": ""}
    assert maren.send(url, action, **changed).status_code == 200
    page = sit(screen, box).text
    assert "Say hello to the tape" in page and "跟磁带打个招呼" in page
    assert f"of {len(own['en']) - 1}" in page
    one_language = maren.send(url, action, **changed | {"en-0": "Only here", "zh-Hans-0": ""})
    assert one_language.status_code == 400 and "Only here" in one_language.text  # what was typed is still there
    where, fields = maren.fields(url, action)
    second = changed | {"en-0": "A second edition", "zh-Hans-0": "第二版"}
    assert maren.send(url, action, **second).status_code == 200
    late = maren.client.post(where, data=fields | changed | {"en-0": "From an old page", "zh-Hans-0": "旧"})
    assert late.status_code == 409
    assert ola.send(url, action, **changed).status_code == 403
    assert "edition 2" in maren.look(url).text
    assert maren.send(url, action, **second | {"place-0": "3.5"}).status_code == 200
    assert "A second edition" not in screen.look("/station").text  # place 3.5 is behind the third, the second is empty
    screen.send("/station", "/station/step", to="1")
    assert "A second edition" in screen.look("/station").text
    for wrong in ({"en-0": "x" * 500, "zh-Hans-0": "字"}, dict.fromkeys(changed, "")):
        assert maren.send(url, action, **changed | wrong).status_code == 400


def test_the_guide_of_a_station_is_there_to_print(maren):
    page = maren.look("/stations/cassette-1/guide").text
    assert first_steps("cassette", "en")[6].text.replace("'", "&#39;") in page
    assert "cut off flat at full scale" in page and "clipping." in page
    assert maren.client.get("/stations/nothing/guide").status_code == 404


def test_what_was_missed_is_told_once_from_the_last_number_on(desk, screen, box):
    from takeup.web.live import missed

    sit(screen, box)
    capture(desk, box)
    find(desk, box, number=1)
    with desk.lab.reading() as db:
        seq = max(db.execute(select(EVENT.c.seq)).scalars())
    find(desk, box, at_s=300.0, number=2)

    class Asked:
        headers = {"last-event-id": str(seq)}
        given: dict = {}

    Asked.desk = desk
    told = missed(Asked, frozenset(["cassette-1"]))()
    assert [facts["finding"]["from_s"] for _, _, kind, facts in told if kind == "finding"] == [300.0]
    with desk.lab.reading() as db:
        assert len(findings_of(db, "c1")) == 2


def test_the_fragment_is_the_same_text_as_in_the_page(screen, box):
    sit(screen, box)
    page, fragment = screen.look("/station").text, screen.look("/station/now").text
    strip = re.compile(r'name="once" value="[^"]*"|\s+')
    assert strip.sub("", fragment) in strip.sub("", page)
    assert json.dumps(fragment)  # plain text, no binary


def test_no_station_no_page_and_no_fault(desk, screen, box):
    sit(screen, box)
    with desk.lab.writing() as db:
        change(db, STATION, "cassette-1", None, kind="something-else")
    assert screen.look("/station").status_code == 200
