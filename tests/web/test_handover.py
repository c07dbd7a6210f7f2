"""Handing over, acted out: a drive tried, packed, copied, read back, the slip, a sister's drive, clearing, closing."""

import hashlib
import os
import shutil
import time
from datetime import date, timedelta
from pathlib import Path

import pytest
from make.handing import QUICK, do_work
from PIL import Image

from takeup.box.folder import Box
from takeup.box.record import Record
from takeup.files.mounted import drive_points
from takeup.lab.port import change, one, rows
from takeup.lab.schema import BOX, JOB, LOG, ORDER, PERSON
from takeup.plan.handing import Handing, against, left_s, wants_reason
from takeup.tables.loader import load_rows
from takeup.tasks.handing import receipt_facts
from takeup.tasks.take import Origin, take


def jobs(desk, kind):
    with desk.lab.reading() as db:
        return rows(db, JOB, JOB.c.kind == kind, order=JOB.c.id)


def url(box, step=""):
    return f"/boxes/{box['number']}/hand-over" + (f"/{step}" if step else "")


def row_of(desk, box):
    with desk.lab.reading() as db:
        return one(db, BOX, BOX.c.id == box["id"])


def hand_over(person, desk, box, drive):
    """Try, pack, copy, as somebody does it on the page."""
    for step, fields in (
        ("drive", {"path": str(drive), "own": "yes"}), ("pack", {"what": "all"}), ("copy", {}),
    ):  # fmt: skip
        answer = person.send(url(box), url(box, step), follow=False, **fields)
        assert answer.status_code == 303
        assert do_work(desk) == [{"copy": "deliver"}.get(step, step)]


def test_a_whole_hand_over_from_the_drive_to_the_closed_box(maren, desk, finished, stick):
    page = maren.look(url(finished)).text
    assert "2 finished files" in page and "No receipt covers this box yet" in page
    hand_over(maren, desk, finished, stick)
    page = maren.look(url(finished)).text
    assert str(stick) in page and "every byte read back" in page
    # the slip
    [name] = [path.stem for path in (finished["path"] / "receipts").glob("*.json")]
    slip = maren.look(f"/boxes/{finished['number']}/receipts/{name}").text
    assert finished["number"] in slip and str(stick) in slip
    whole = maren.look(f"/boxes/{finished['number']}/receipts/{name}/whole")
    assert whole.status_code == 200 and "attachment" in whole.headers["content-disposition"]
    # what would go is said before it goes
    assert str(finished["station_file"]) in page and finished["station_file"].exists()
    answer = maren.send(url(finished), url(finished, "clear"), looked="yes", follow=False)
    assert answer.status_code == 303 and do_work(desk) == ["clear"]
    assert not finished["station_file"].exists()
    assert "One file is cleared." in maren.look(url(finished)).text
    # counted out, one fewer than came in: said, asked for a reason, kept in the logbook
    with desk.lab.writing() as db:
        change(db, BOX, finished["id"], None, originals_in=3)
    maren.send(url(finished), url(finished, "count"), originals_out="2")
    assert "1 fewer than came in" in maren.look(url(finished)).text
    assert maren.send(url(finished), url(finished, "close"), why="").status_code == 400
    assert row_of(desk, finished)["closed_at"] is None
    assert maren.send(url(finished), url(finished, "close"), why="left on the scanner").status_code == 200
    row = row_of(desk, finished)
    with desk.lab.reading() as db:
        person = one(db, PERSON, PERSON.c.id == row["person_id"])
        log = rows(db, LOG, LOG.c.kind == "lost", LOG.c.state == "open")
    assert row["closed_at"] and row["code_sha256"] is None
    assert abs((date.fromisoformat(person["forget_on"]) - date.today()) - timedelta(days=90)) <= timedelta(days=1)
    assert [line["box_id"] for line in log] == [finished["id"]] and "left on the scanner" in log[0]["text"]
    # closed: it is found by its number, every step waits, and it can be reopened
    found = maren.look(f"/boxes?find={int(finished['number'])}")
    assert "This box is closed" in found.text and f'action="{url(finished, "copy")}"' not in found.text
    assert maren.send(url(finished), url(finished, "reopen")).status_code == 200
    assert row_of(desk, finished)["closed_at"] is None


def test_a_sisters_drive_gets_a_receipt_of_its_own(maren, desk, finished, stick, tmp_path):
    sister = tmp_path / "sister"
    sister.mkdir()
    hand_over(maren, desk, finished, stick)
    hand_over(maren, desk, finished, sister)
    names = {path.stem for path in (finished["path"] / "receipts").glob("*.json")}
    assert len(names) == 2
    told = [receipt_facts(finished["path"], QUICK, name) for name in sorted(names)]
    assert {facts["drive"] for facts in told} == {str(stick), str(sister)}
    assert any(sister.iterdir()) and any(stick.iterdir())


def test_steps_out_of_order_are_refused_in_words(maren, desk, box, stick):
    fields = maren.fields(url(box), url(box, "drive"))[1]
    for step, words in (
        ("pack", "Nothing is finished yet"), ("copy", "not packed yet"), ("clear", "No receipt covers this box yet"),
    ):  # fmt: skip
        token = maren.fields(url(box), url(box, "drive"))[1]["once"]
        more = {"drive": str(stick), "looked": "yes", "once": token}
        answer = maren.client.post(url(box, step), data=fields | more)
        assert answer.status_code == 409 and words in answer.text
    assert do_work(desk) == []


def test_only_a_drive_that_was_tried_last_is_copied_to(maren, desk, finished, stick, tmp_path):
    other = tmp_path / "other"
    other.mkdir()
    maren.send(url(finished), url(finished, "drive"), path=str(stick), own="yes")
    maren.send(url(finished), url(finished, "pack"))
    do_work(desk)
    answer = maren.send(url(finished), url(finished, "copy"), drive=str(other))
    assert answer.status_code == 409 and "was not tried" in answer.text
    assert do_work(desk) == [] and list(other.iterdir()) == []


def test_a_second_click_delivers_once_and_a_restart_goes_on(maren, desk, finished, stick):
    for step, fields in (("drive", {"path": str(stick), "own": "yes"}), ("pack", {})):
        maren.send(url(finished), url(finished, step), **fields)
        do_work(desk)
    maren.send(url(finished), url(finished, "copy"))
    waiting = maren.look(url(finished)).text
    assert "It waits its turn." in waiting and "data-busy" in waiting
    # a second window, filled before, is sent too
    maren.send(url(finished), url(finished, "copy"))
    assert len(jobs(desk, "deliver")) == 1
    # the desk ends in the middle: what ran waits again, the page says so, the work is done once
    row, _ = desk.workers._next()
    with desk.lab.writing() as db:
        change(
            db, JOB, row["id"], None, progress={"what": "x", "done": 40_000_000, "total": 160_000_000, "unit": "bytes"}
        )
    now = maren.look(url(finished, "now")).text
    assert "40 MB of 160 MB" in now and "25 %" in now
    with desk.lab.writing() as db:
        desk.workers._again(db, one(db, JOB, JOB.c.id == row["id"]))
    assert do_work(desk) == ["deliver"]
    assert len(list((finished["path"] / "receipts").glob("*.json"))) == 1
    assert "data-job" not in maren.look(url(finished, "now")).text


@pytest.mark.parametrize(
    "typed", ["", "stick", "../..", "/no/such/place", "/\u202e/\x00", "x" * 2000, "/", "<b>/mnt</b>"]
)
def test_a_drive_that_cannot_be_is_told_and_nothing_is_asked_for(maren, desk, box, typed):
    answer = maren.send(url(box), url(box, "drive"), path=typed, own="yes")
    assert answer.status_code == 400 and "note" in answer.text
    assert jobs(desk, "drive") == []


def test_the_labs_own_home_is_never_a_visitors_drive_and_the_own_disk_only_when_meant(maren, desk, box, stick):
    for folder in (desk.home, desk.home / "boxes", box["path"]):
        answer = maren.send(url(box), url(box, "drive"), path=str(folder), own="yes")
        assert answer.status_code == 400 and "own" in answer.text
    if os.stat(stick).st_dev == os.stat("/").st_dev:
        answer = maren.send(url(box), url(box, "drive"), path=str(stick))
        assert answer.status_code == 400 and "own disk" in answer.text and str(stick) in answer.text
    assert jobs(desk, "drive") == []


def test_the_drives_trial_is_said_in_words(maren, desk, finished, stick):
    maren.send(url(finished), url(finished, "drive"), path=str(stick), own="yes")
    do_work(desk, truly=True)
    page = maren.look(url(finished)).text
    for words in ("May be written", "Read by", "Speed", "what was written over"):
        assert words in page
    assert list(stick.iterdir()) == []
    chinese = maren.look(url(finished) + "?lang=zh-Hans").text
    assert "可以写入" in chinese and "May be written" not in chinese
    assert row_of(desk, finished)["drive"].startswith(str(stick))


def test_a_drive_pulled_out_is_said_and_not_copied_to(maren, desk, finished, stick):
    for step, fields in (("drive", {"path": str(stick), "own": "yes"}), ("pack", {})):
        maren.send(url(finished), url(finished, step), **fields)
        do_work(desk)
    fields = maren.fields(url(finished), url(finished, "copy"))[1]
    shutil.rmtree(stick)
    assert "not plugged in any more" in maren.look(url(finished)).text
    assert maren.client.post(url(finished, "copy"), data=fields, follow_redirects=False).status_code == 303
    assert do_work(desk) == ["deliver"]
    assert jobs(desk, "deliver")[0]["state"] == "stopped"
    page = maren.look(url(finished)).text
    assert str(stick) in page and not list((finished["path"]).glob("receipts/*.json"))


def test_clearing_is_the_librarians_and_only_of_what_was_shown(maren, ola, desk, finished, stick):
    hand_over(maren, desk, finished, stick)
    assert "The librarian clears." in ola.look(url(finished)).text
    action, fields = maren.fields(url(finished), url(finished, "clear"))
    refused = ola.client.post(action, data=ola.fields(url(finished), url(finished, "drive"))[1] | {"looked": "yes"})
    assert refused.status_code == 403
    assert maren.client.post(action, data=fields).status_code == 400  # the list was not ticked
    fields = maren.fields(url(finished), url(finished, "clear"))[1]
    later = maren.client.post(action, data=fields | {"looked": "yes", "seen": "0" * 24})
    assert later.status_code == 409 and "The list changed" in later.text
    # a file that changed after it was taken is said to stay, before anything is removed
    finished["station_file"].write_bytes(b"something else")
    page = maren.look(url(finished)).text
    assert "These stay, and why" in page and "it is not what was taken any more" in page
    assert finished["station_file"].read_bytes() == b"something else"


def test_a_file_on_a_stations_own_disk_becomes_an_order_once(maren, desk, finished, stick, tmp_path):
    came = tmp_path / "came" / "p1-b.tif"
    came.parent.mkdir()
    Image.new("RGB", (60, 40), (10, 20, 30)).save(came)
    os.utime(came, (time.time() - 3600,) * 2)
    origin = Origin(station="flatbed-1", source="/scans/p1-b.tif", modified_ns=1, part="",
                    sha256=hashlib.sha256(came.read_bytes()).hexdigest())  # fmt: skip
    assert take(finished["path"], [came], rows=load_rows(), settings=QUICK, item="p1", origin=origin).taken
    held = Box(finished["path"], Record(finished["path"], "test"))
    stored = held.record.latest("taken")[-1].facts["stored"]
    master = held.record.latest("made")[0]
    held.record.append("made", master.facts | {"from": [*master.facts["from"], stored]}, item="p1", key=master.key)
    hand_over(maren, desk, finished, stick)
    page = maren.look(url(finished)).text
    assert "/scans/p1-b.tif" in page and "flatbed-1, on its own disk" in page
    maren.send(url(finished), url(finished, "clear"), looked="yes")
    do_work(desk)
    with desk.lab.reading() as db:
        [order] = rows(db, ORDER)
    assert (order["station_id"], order["kind"], order["state"]) == ("flatbed-1", "clear", "waiting")
    assert order["facts"]["path"] == "/scans/p1-b.tif" and order["facts"]["receipt"].startswith("receipts/")
    page = maren.look(url(finished)).text
    assert "Asked of the stations" in page and f'action="{url(finished, "clear")}"' not in page


def test_two_people_counting_out_the_same_box(maren, ola, desk, box):
    mine = maren.fields(url(box), url(box, "count"))[1]
    assert ola.send(url(box), url(box, "count"), originals_out="3").status_code == 200
    answer = maren.client.post(url(box, "count"), data=mine | {"originals_out": "2"})
    assert answer.status_code == 409 and 'value="2"' in answer.text
    assert row_of(desk, box)["originals_out"] == 3
    for typed in ("", "many", "-1", "99999999999", "<b>", "٣ x"):
        assert maren.send(url(box), url(box, "count"), originals_out=typed).status_code == 400


def test_a_visitor_hands_nothing_over(tan, box, finished):
    assert tan.client.get(url(box)).status_code in (303, 403)
    assert tan.client.get(f"/boxes/{box['number']}/receipts/receipt-x").status_code in (303, 403)


def test_a_receipt_that_is_not_there_or_not_whole(maren, desk, finished, stick):
    hand_over(maren, desk, finished, stick)
    [path] = (finished["path"] / "receipts").glob("*.json")
    for name in ("nothing", "..%2F..%2Fx", "%3Cb%3E"):
        assert maren.look(f"/boxes/{finished['number']}/receipts/{name}").status_code == 404
    path.write_bytes(path.read_bytes() + b" ")
    assert maren.look(f"/boxes/{finished['number']}/receipts/{path.stem}").status_code == 404
    assert "not as it was written" in maren.look(url(finished)).text


# --- the rules, by hand ----------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("step", "stands", "tried", "key"),
    [
        ("pack", Handing(), "", "nothing-made"),
        ("pack", Handing(made=2), "", None),
        ("copy", Handing(made=2), "good", "not-packed"),
        ("copy", Handing(packed=True), "", "not-tried"),
        ("copy", Handing(packed=True), "no", "drive-no"),
        ("copy", Handing(packed=True), "look", None),
        ("clear", Handing(going=3), "", "no-receipt"),
        ("clear", Handing(receipts=1), "", "nothing-to-clear"),
        ("clear", Handing(receipts=1, going=1), "", None),
        ("close", Handing(busy=True), "", "busy"),
        ("pack", Handing(made=2, closed=True), "", "closed"),
    ],
)
def test_what_stands_against_a_step(step, stands, tried, key):
    why = against(step, stands, tried=tried)
    assert (why.key if why else None) == key


def test_a_closing_explains_what_is_not_as_it_should_be():
    assert wants_reason(Handing(receipts=1, originals_in=3, originals_out=3)) == []
    assert wants_reason(Handing(originals_in=3, originals_out=2)) == ["no-receipt", "fewer"]
    assert wants_reason(Handing(receipts=1, originals_in=3, originals_out=4)) == ["more"]
    assert wants_reason(Handing(receipts=1, originals_in=3)) == ["not-counted"]


def test_time_left_is_what_is_left_at_the_speed_so_far():
    """30 GB of 120 GB in 600 s: 50 MB/s; 90 GB more take 1800 s."""
    assert left_s(30e9, 120e9, 600.0) == pytest.approx(1800.0)
    assert left_s(30e9, 120e9, 1.0) is None and left_s(0, 0, 100.0) is None and left_s(1, 1000, 100.0) is None


def test_plugged_in_drives_are_read_from_the_mount_table():
    """Lines as proc(5) describes mountinfo: the fifth field is the mount point, blanks written as \\040."""
    table = "\n".join((
        "22 1 8:1 / / rw,relatime - ext4 /dev/sda1 rw",
        "40 22 8:17 / /media/maren/TAN\\040FAMILY rw,nosuid - exfat /dev/sdb1 rw",
        "41 22 0:40 / /run/user/1000 rw - tmpfs tmpfs rw",
        "42 22 8:33 / /run/media/maren/\\345\\256\\266 rw - vfat /dev/sdc1 rw",
        "40 22 8:17 / /media/maren/TAN\\040FAMILY rw - exfat /dev/sdb1 rw",
        "43 22 0:44 / /mnt/share rw - nfs4 server:/share rw",
        "short line",
    ))  # fmt: skip
    assert drive_points(table) == ["/media/maren/TAN FAMILY", "/run/media/maren/家"]


def test_the_path_of_a_drive_may_hold_signs_of_every_script(maren, desk, box, tmp_path):
    folder = tmp_path / "家庭 <b>硬盘 😀"
    folder.mkdir()
    maren.send(url(box), url(box, "drive"), path=str(folder), own="yes")
    do_work(desk)
    page = maren.look(url(box)).text
    assert "<b>硬盘" not in page and "家庭 &lt;b&gt;硬盘" in page
    assert Path(jobs(desk, "drive")[0]["asked"]["drive"]) == folder
