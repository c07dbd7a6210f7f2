"""Looking at captures: the picture, the places, a few seconds to play, who decided what and why."""

from __future__ import annotations

import io
import json
import wave

import numpy as np
import pytest
from make import tiny
from make.looked_at import CLIPPED, bed, side

from takeup.box.folder import look_into
from takeup.lab.asked import waiting
from takeup.settings import Settings
from takeup.tasks.chapters import keep_chapter


@pytest.fixture
def clipped(desk, box, tmp_path):
    """The visitor's box with one side that was recorded too loud."""
    side(look_into(box["path"], Settings()), tmp_path, CLIPPED)
    return f"/boxes/{box['number']}/captures/1"


def test_a_box_without_captures_says_so(maren, box):
    answer = maren.look(f"/boxes/{box['number']}/captures")
    assert answer.status_code == 200 and "Nothing has been captured" in answer.text


def test_the_page_tells_the_place_and_what_to_do_in_the_readers_language(maren, clipped):
    english, chinese = maren.look(clipped).text, maren.look(f"{clipped}?lang=zh-Hans").text
    assert "cut off flat" in english and "What to do" in english and "0:03" in english
    assert "怎么办" in chinese and "cut off flat" not in chinese


def test_play_gives_eight_seconds_at_most_from_two_before_the_place(maren, clipped, box):
    """The capture has six seconds: from 1.0 s on five are left, and their samples are those that were written."""
    page = maren.look(clipped).text
    assert f"{clipped}/play?from=1.0" in page
    answer = maren.look(f"{clipped}/play?from=1.0")
    assert answer.headers["content-type"] == "audio/wav"
    with wave.open(io.BytesIO(answer.content)) as piece:
        assert (piece.getframerate(), piece.getnchannels(), piece.getsampwidth()) == (48000, 2, 2)
        heard = np.frombuffer(piece.readframes(piece.getnframes()), "<i2").reshape(-1, 2)
    whole = np.round(tiny.sound_samples(6.0) * 2**15).clip(-(2**15), 2**15 - 1)
    assert len(heard) == 5 * 48000
    assert np.abs(heard - whole[48000:]).max() <= 1


def test_a_piece_is_made_once_and_lies_outside_the_box(maren, clipped, desk, box):
    before = sorted(path for path in box["path"].rglob("*"))
    maren.look(f"{clipped}/play?from=1.0")
    pieces = list((desk.home / "excerpts").rglob("piece-*"))
    made = {path: path.stat().st_ino for path in pieces}
    maren.look(f"{clipped}/play?from=1.0")
    assert len(pieces) == 1 and {path: path.stat().st_ino for path in pieces} == made
    assert sorted(path for path in box["path"].rglob("*")) == before


@pytest.mark.parametrize("wanted", ["", "-1", "nan", "inf", "1e9", "../../etc", "5" * 300])
def test_a_place_that_is_none_is_told(maren, clipped, wanted):
    answer = maren.look(f"{clipped}/play?from={wanted}")
    assert answer.status_code in ((200,) if wanted == "" else (400, 404))


def test_a_place_behind_the_end_is_told_and_nothing_is_left_half_made(maren, clipped, desk):
    answer = maren.look(f"{clipped}/play?from=400")
    assert answer.status_code == 400 and "nothing to play" in answer.text
    assert not list((desk.home / "excerpts").rglob("*.wav"))


@pytest.mark.parametrize("number", ["0", "2", "x", "1x", "9" * 30])
def test_a_capture_that_is_not_there(maren, clipped, number):
    assert maren.look(clipped[:-1] + number).status_code == 404


def test_the_picture_is_a_drawing_of_our_own_in_the_readers_language(maren, clipped):
    answer = maren.look(f"{clipped}/picture.svg?lang=zh-Hans")
    assert answer.headers["content-type"].startswith("image/svg+xml") and 'lang="zh-Hans"' in answer.text
    assert "script" not in answer.text


def test_measurements_are_folded_and_only_what_was_measured(maren, clipped, box, tmp_path):
    page = maren.look(clipped).text
    assert "<details" in page and "-23 LUFS" in page
    bed(look_into(box["path"], Settings()), tmp_path)
    sparse = maren.look(f"/boxes/{box['number']}/captures/2").text
    assert "Level and tones" not in sparse and "<audio" not in sparse


def test_staff_accept_with_a_reason_and_it_holds_the_box_up_no_longer(maren, clipped, box):
    answer = maren.send(clipped, clipped, said="accept", why="")
    assert answer.status_code == 400 and "few words why" in answer.text
    answer = maren.send(clipped, clipped, said="accept", why="the tape is <b>like that</b>")
    assert answer.status_code == 200 and "Kept" in answer.text
    assert "the tape is &lt;b&gt;like that&lt;/b&gt;" in answer.text and "Maren" in answer.text
    fact = look_into(box["path"], Settings()).record.latest("decided")[-1]
    assert (fact.facts["said"], fact.facts["who"]) == ("accept", "Maren")


def test_a_decision_is_taken_back(maren, clipped, box):
    maren.send(clipped, clipped, said="accept", why="so it is")
    where, fields = maren.fields(clipped, clipped)
    answer = maren.client.post(where, data=fields | {"said": ""}, follow_redirects=True)
    assert answer.status_code == 200 and "Taken back" in answer.text
    assert [fact.facts["said"] for fact in look_into(box["path"], Settings()).record.facts("decided")] == ["accept", ""]


def test_nothing_chosen_keeps_what_was_typed(maren, clipped):
    answer = maren.send(clipped, clipped, why="something long and careful")
    assert answer.status_code == 400 and "something long and careful" in answer.text


def test_a_visitor_may_ask_and_no_more(tan, maren, clipped, desk, box):
    assert 'value="accept"' not in tan.look(clipped).text
    where, fields = tan.fields(clipped, clipped)
    assert tan.client.post(where, data=fields | {"said": "accept", "why": "x"}).status_code == 403
    assert tan.send(clipped, clipped, said="ask", why="is that uncle Wen?").status_code == 200
    with desk.lab.reading() as db:
        (row,) = waiting(db)
    assert (row["kind"], row["item"], row["facts"]["why"]) == ("capture", "k1", "is that uncle Wen?")
    maren.send(clipped, clipped, said="accept", why="heard together")
    with desk.lab.reading() as db:
        assert waiting(db) == []


def test_a_visitor_sees_no_other_box(tan, desk, maren):
    assert tan.look("/boxes/0999/captures").status_code == 403


def test_two_who_decide_the_second_is_told(maren, ola, clipped, box):
    where, fields = ola.fields(clipped, clipped)
    maren.send(clipped, clipped, said="accept", why="kept")
    answer = ola.client.post(where, data=fields | {"said": "again", "why": "cable"})
    assert answer.status_code == 409
    assert len(look_into(box["path"], Settings()).record.facts("decided")) == 1


@pytest.mark.parametrize("said", ["", "maybe", "🎄", "x" * 3000])
def test_a_decision_that_is_none_is_told_and_nothing_kept(maren, clipped, box, said):
    where, fields = maren.fields(clipped, clipped)
    answer = maren.client.post(where, data=fields | {"said": said, "why": "\u202eabc"})
    assert answer.status_code in (303, 400)
    assert all(not fact.facts["said"] for fact in look_into(box["path"], Settings()).record.facts("decided"))


def test_a_piece_of_a_tape_is_described_and_shown_on_the_line(maren, clipped, box):
    to = f"{clipped}/chapters"
    answer = maren.client.post(
        to,
        data=fields_of(maren, clipped)
        | {"from": "0:01", "to": "0:04", "title": "The ferry song", "date": "summer 1983"},
    )
    assert "summer 1983" in answer.text and "1983-22" in answer.text, "the date is said back first"
    done = fields_of(maren, clipped) | {
        "from": "0:01", "to": "0:04", "title": "The ferry song", "date": "summer 1983", "date_seen": "summer 1983",
        "date_is": "1983-22",
    }  # fmt: skip
    assert maren.client.post(to, data=done, follow_redirects=True).text.count("The ferry song") == 1
    (fact,) = look_into(box["path"], Settings()).record.latest("chapter", "k1")
    assert (fact.facts["from_s"], fact.facts["to_s"], fact.facts["date"]) == (1.0, 4.0, "1983-22")
    dropped = maren.client.post(to, data=fields_of(maren, clipped) | {"drop": "1"}, follow_redirects=True)
    assert "Bring it back" in dropped.text
    back = maren.client.post(to, data=fields_of(maren, clipped) | {"restore": "1"}, follow_redirects=True)
    assert "The ferry song" in back.text


def test_a_piece_is_changed_in_its_own_form_and_keeps_what_was_not_asked(maren, clipped, box):
    settings = Settings()
    keep_chapter(
        box["path"], settings, item="k1", stored=look_into(box["path"], settings).record.latest("taken", "k1")[0].key,
        from_s=1.4, to_s=4.0, told={"title": "Song", "people": ["Tan"], "description": "with a drum"}, seconds=None,
    )  # fmt: skip
    action, fields = maren.fields(f"{clipped}?piece=1", f"{clipped}/chapters#chapters")
    assert (fields["from"], fields["to"], fields["title"], fields["people"]) == ("0:01.4", "0:04", "Song", "Tan")
    maren.client.post(action, data=fields | {"title": "The ferry song"})
    (fact,) = look_into(box["path"], settings).record.latest("chapter", "k1")
    assert (fact.facts["title"], fact.facts["from_s"], fact.facts["description"]) == (
        "The ferry song", 1.4, "with a drum",
    )  # fmt: skip


def test_recordings_that_were_measured_are_proposed_and_taken_over_once(maren, clipped, box):
    box_ = look_into(box["path"], Settings())
    (fact,) = box_.record.latest("checked", "k1")
    facts = json.loads(json.dumps(fact.facts))
    extra = {"from_s": [0.4, 2.0], "programme": [0.4, 5.0]}
    facts["report"]["measures"]["recordings"] = {"value": 2, "unit": "recordings", "extra": extra}
    box_.record.append("checked", facts, item="k1", key=fact.key)
    action, fields = maren.fields(clipped, f"{clipped}/chapters")
    assert fields["take"] == "recordings"
    for _ in range(2):
        maren.client.post(action, data=fields)
    found = look_into(box["path"], Settings()).record.latest("chapter", "k1")
    assert [(one.facts["from_s"], one.facts["to_s"]) for one in found] == [(0.4, 2.0), (2.0, 5.0)]
    assert 'value="recordings"' not in maren.look(clipped).text, "proposed only while there are no pieces"


@pytest.mark.parametrize(
    ("first", "last"), [("0:04", "0:01"), ("soon", "0:01"), ("0:01", ""), ("0:01", "9:00"), ("-1", "2")]
)
def test_times_that_are_none_are_told_and_what_was_typed_stays(maren, clipped, box, first, last):
    typed = {"from": first, "to": last, "title": "A song"}
    answer = maren.client.post(f"{clipped}/chapters", data=fields_of(maren, clipped) | typed)
    assert answer.status_code == 400
    assert not look_into(box["path"], Settings()).record.latest("chapter")


def fields_of(person, url):
    """The hidden fields of a page's form."""
    _, fields = person.fields(url, url)
    return {name: fields[name] for name in ("form_token", "once")}
