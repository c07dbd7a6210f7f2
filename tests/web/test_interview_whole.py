"""An interview from the first word to the drive: put on at a station, recorded, checked while it grows, finished, given
and taken home with what each speaker signed. Acted out through the station's own words, tasks and the desk's forms."""

from __future__ import annotations

import hashlib
import json
import queue
import re
import struct
import threading

import av
import numpy as np
import pytest
from make.handing import QUICK, do_work
from make.tiny import sound_samples, write_wav
from starlette.testclient import TestClient

from takeup.judge.sound_born import KEPT, judge_born, notice_of_born
from takeup.judge.sound_notice import Notice
from takeup.lab.places import pair
from takeup.lab.port import now
from takeup.streams import Finding, Original
from takeup.tasks.box_show import box_show
from takeup.tasks.checking import Asked
from takeup.tasks.follow import follow
from takeup.tasks.reporting import facts_from, finding_facts
from takeup.tasks.station_told import known_at
from takeup.words.sentences import load_sentences

ID = "feedbeef0123456789abcdef"
RATE = 48_000
TOLD = {
    "title": "How the harbour froze", "language": "English", "place": "the lab", "date": "2027-03-02",
    "interviewer": "Maren", "speaker-1": "Old Tan", "signed-1": "yes", "levels": "yes", "silence": "yes",
}  # fmt: skip


@pytest.fixture(scope="module")
def talk(tmp_path_factory):
    """A quiet room, then one voice before two microphones; from 6 s to 7 s it is far too loud. 24 bits, 11 s, and it
    stops in the middle of a word."""
    voice = 0.35 * sound_samples(11.0)
    voice[: 3 * RATE] = np.random.default_rng(4).normal(0, 4e-4, (3 * RATE, 2))
    voice[6 * RATE : 7 * RATE] = np.clip(12 * voice[6 * RATE : 7 * RATE], -0.9999, 0.9999)
    return write_wav(tmp_path_factory.mktemp("talk") / "talk.wav", voice, bits=24).read_bytes()


def recorded(path, data, original):
    """The file grows while it is followed; events as they come, then the report. Its header is open until it ends."""
    heard: queue.Queue = queue.Queue()
    came = 44 + 9 * RATE * 6
    head = bytearray(data[:came])
    struct.pack_into("<I", head, 4, 0)
    struct.pack_into("<I", head, 40, 0)
    path.write_bytes(head)
    made, asked = [], Asked(original=original)
    work = threading.Thread(
        target=lambda: made.append(follow(path, asked, 1.0, lambda kind, _, finding: heard.put((kind, finding))))
    )
    work.start()
    with path.open("r+b", buffering=0) as file:
        file.seek(came)
        early = ("", None)
        while early[0] != "finding":  # somebody hears of it while the talk goes on
            try:
                early = heard.get(timeout=0.1)
            except queue.Empty:
                came += file.write(data[came : came + 600])
        file.write(data[came:])
        file.seek(0)
        file.write(data[:44])
    work.join(timeout=60)
    return early[1], made[0]


def test_an_interview_from_the_first_word_to_the_drive(desk, app, maren, somebody, box, talk, tmp_path):
    url = f"/boxes/{box['number']}/interview"
    assert maren.send(url, url, follow=False, **TOLD).status_code == 303
    # put on at a station: what grows there is this interview
    page = maren.send(url, f"{url}/record", station="cassette-1").text
    assert "It is on at cassette-1" in page
    screen, pairing = somebody(), "/stations/cassette-1/screen"
    code = re.search(r'class="code" role="status">([^<]+)<', maren.send(pairing, f"{pairing}/code").text)[1]
    screen.send("/station", "/station/pair", code=code)
    shown = screen.look("/station?view=steps").text
    assert ">i1<" in shown and "Everybody who speaks has read the release" in shown
    assert "How the harbour froze" not in maren.look(f"/boxes/{box['number']}/slips/labels").text  # nothing to stick on
    known = known_at(desk.lab, desk.boxes, desk.settings, "cassette-1")
    assert (known["item"], known["original"]["carrier"]) == ("i1", "interview")
    # recorded and checked while it grows
    early, report = recorded(tmp_path / "rec0001.wav", talk, Original(**known["original"] | {"condition": ()}))
    assert (early.name, early.says, early.verdict) == ("clipping", "clipping.interview", "redo")
    assert {finding.name for finding in report.findings} <= {"clipping", "too_loud"}  # nothing is said of a tape
    assert report.measures["wow_flutter"].why == "sound.no-tape"
    # the station tells the desk, whose page has it at once, and brings the file
    with desk.lab.writing() as db:
        key = pair(db, "cassette-1")
    station = TestClient(app, headers={"authorization": f"Bearer {key}", "accept": "application/json"})
    sha256, path = hashlib.sha256(talk).hexdigest(), str(tmp_path / "elsewhere" / "rec0001.wav")

    def tell(number, kind, **facts):
        event = {"number": number, "kind": kind, "capture": ID, "at": now(), "facts": facts}
        body = {"stream": "s", "first": number, "now": now(), "events": [event]}
        assert station.post("/station-api/events", content=json.dumps(body)).json()["upto"] == number

    tell(1, "begin", name="rec0001.wav", path=path, carrier="interview", family="sound", anew=False)
    tell(2, "finding", key=f"{ID}/clipping/6", finding=finding_facts(early))
    page = maren.look(url).text
    assert f"/boxes/{box['number']}/coming/{ID}" in page and "being recorded now" in page
    page = maren.look(f"/boxes/{box['number']}/coming/{ID}").text
    assert "a voice came in louder" in page and "still at the station" in page
    from takeup import __version__

    tell(3, "end", bytes=len(talk), carrier="interview", by=__version__, report=facts_from(report), fault=None)
    tell(4, "whole", bytes=len(talk), sha256=sha256, path=path, modified_ns=1_800_000_000_000_000_000)
    for at in range(0, len(talk), 4 << 20):
        piece = talk[at : at + (4 << 20)]
        head = {"x-piece-sha256": hashlib.sha256(piece).hexdigest()}
        assert station.post(f"/station-api/captures/{ID}/pieces/{at}", content=piece, headers=head).status_code == 200
    played = maren.look(f"/boxes/{box['number']}/coming/{ID}/play?from=4")
    assert played.status_code == 200 and played.headers["content-type"] == "audio/wav"  # before it is in the box
    from takeup.tasks.station_taking import take_in

    take_in(desk.lab, desk.home, desk.settings, ID)
    # looked at: kept with a reason, for nobody tells it twice
    captures = f"/boxes/{box['number']}/captures"
    page = maren.look(f"/boxes/{box['number']}/coming/{ID}").text  # leads to the capture's own page
    assert "a voice came in louder" in page and f"{captures}/1/play?from=" in page
    assert maren.send(f"{captures}/1", f"{captures}/1", said="accept", why="It was a laugh").status_code == 200
    # finished, described
    maren.send(f"/boxes/{box['number']}/finish", f"/boxes/{box['number']}/finish")
    assert do_work(desk) == ["finish"]
    master, copy = box["path"] / "masters/i1/i1.wav", box["path"] / "copies/i1/i1.m4a"
    assert b"A=ANALOGUE" not in master.read_bytes()[:4096] and b"A=PCM,F=48000,W=24" in master.read_bytes()
    with av.open(str(copy)) as file:
        assert file.metadata["title"] == "How the harbour froze" and "Old Tan" in file.metadata["comment"]
    _, standing = box_show(box["path"], QUICK)
    (one,) = [item for item in standing.items if item.original.id == "i1"]
    assert one.done["checked"] and one.done["finished"] and one.done["described"] and not one.done["packed"]
    # given to the library: its release is signed, so nothing of that speaks against it
    gift = f"/boxes/{box['number']}/gift"
    answers = {
        "share-i1": "library", "rights": "mine", "people": "Old Tan", "people_agree": "agree", "minors": "none",
        "published": "no", "release": "yes", "named": "The Tan family",
    }  # fmt: skip
    assert maren.send(gift, gift, follow=False, **answers).status_code == 303
    assert "not every speaker has signed" not in maren.look("/gifts").text
    # taken home: the letter says who speaks and what was signed
    maren.send(f"/boxes/{box['number']}/hand-over", f"/boxes/{box['number']}/hand-over/pack", what="all")
    assert do_work(desk) == ["pack"]
    (letter,) = box["path"].glob("parcel*/**/open-me.html") or box["path"].glob("**/open-me.html")
    text = letter.read_text("utf-8")
    assert "Old Tan read the release (release-0) and signed it on" in text and "Asked by Maren." in text
    assert "How the harbour froze" in text
    # another speaker is named afterwards: the parcel is out of date, for its letter does not say so
    assert maren.send(f"{url}?item=i1", url, **{"speaker-2": "Ida"}).status_code == 200
    _, standing = box_show(box["path"], QUICK)
    assert not [item for item in standing.items if item.original.id == "i1"][0].done["packed"]


def test_putting_on_needs_an_interview_and_a_sound_station(maren, tan, box):
    url = f"/boxes/{box['number']}/interview"
    maren.send(url, url, **TOLD)
    where, fields = maren.fields(url, f"{url}/record")
    for wrong in ({"item": "k1"}, {"item": ""}, {"station": "video-1"}, {"station": "../x"}):
        fields = maren.fields(url, f"{url}/record")[1]
        assert maren.client.post(where, data=fields | wrong).status_code == 400
    assert tan.client.post(where, data=fields).status_code in (303, 403)


def test_only_what_holds_without_a_tape_is_said_of_a_talk():
    """Every sentence that a talk can get stands in the words, in both languages."""
    known = load_sentences("findings")
    assert all(f"{says}.{lang}" in known for says in KEPT.values() for lang in ("en", "zh", "do.en", "do.zh"))
    given = [
        Finding(name="reversed", verdict="redo", again="helps", says="reversed.side"),
        Finding(name="ends_early", verdict="redo", again="helps", says="ends_early.in-sound"),
        Finding(name="ends_early", verdict="redo", again="helps", says="ends_early.cut-file"),
        Finding(name="hum", verdict="redo", again="helps", says="hum.station"),
    ]
    assert [(one.says, one.verdict, one.again) for one in judge_born(given)] == [
        ("ends_early.interview", "redo", "may help"), ("hum.interview", "look", "may help"),
    ]  # fmt: skip
    assert notice_of_born(Notice(says="level-low")).says == "level-low.interview"
    assert notice_of_born(Notice(says="level-high")).says == "level-high" and notice_of_born(None) is None
    for says in ("nothing-heard", "nothing-left", "nothing-right", "level-low"):
        assert all(f"{says}.interview.{lang}" in load_sentences("notices") for lang in ("en", "zh", "do.en", "do.zh"))
