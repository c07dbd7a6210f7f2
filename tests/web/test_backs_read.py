"""What stands on a back: read by a person, at most suggested by the computer; it goes into the files of the back."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from make.handing import do_work
from PIL import Image

from takeup.box.folder import look_into
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tasks.backs_read import suggested_reading

SAID = ("Harbour Street", "PRINTED 1974")


@pytest.fixture
def pair(maren, scan, box, desk):
    """The blue print is the back of the red one; both are finished. The address of describing the front."""
    maren.send(scan, scan, back2="p1-1", do="keep")
    where = f"/boxes/{box['number']}/finish"
    maren.send(where, where)
    assert do_work(desk) == ["finish"]
    return f"/boxes/{box['number']}/describe"


def words_in(box, name):
    """Title, description, people as the JPEG's own packet says them, found by plain text."""
    packet = (box["path"] / "copies" / "p1" / name).read_bytes()
    packet = packet[packet.index(b"<x:xmpmeta") : packet.index(b"</x:xmpmeta>")].decode()
    return packet.split("<dc:title>")[1].split("</dc:title>")[0], packet


def test_what_is_read_on_a_back_goes_into_the_backs_files_with_its_fronts_who_and_where(tan, pair, box, desk):
    fields = {"title": "The quay", "people": "Ilse Tan", "place": "Old harbour", "back-p1-2": "Aunt, 1974"}
    page = tan.look(f"{pair}?id=p1-1").text
    assert 'name="back-p1-2"' in page and "Suggest what it says" in page
    tan.client.post(pair, data=tan.fields(f"{pair}?id=p1-1", pair)[1] | fields)
    assert do_work(desk) == ["describe"]
    title, packet = words_in(box, "p1-2.jpg")
    assert "The quay, back" in title and "Aunt, 1974" in packet and "Ilse Tan" in packet and "Old harbour" in packet
    title, packet = words_in(box, "p1-1.jpg")
    assert "The quay<" in title and "Aunt, 1974" not in packet
    assert ">Aunt, 1974</textarea>" in tan.look(f"{pair}?id=p1-1").text, "and it stands there for the next time"


def test_a_back_follows_when_its_front_is_described_anew_and_stays_read(tan, pair, box, desk):
    for title in ("The quay", "The pier"):
        fields = tan.fields(f"{pair}?id=p1-1", pair)[1] | {"title": title, "once": title}
        tan.client.post(pair, data=fields | {"back-p1-2": "Aunt"})
        assert do_work(desk) == ["describe"]
    title, packet = words_in(box, "p1-2.jpg")
    assert "The pier, back" in title and ">Aunt<" in packet


def test_printed_words_are_suggested_and_a_plain_back_suggests_none(tmp_path):
    """Words drawn with strokes of OpenCV's plain font, 300 px to the inch, on paper with a little noise."""
    paper = np.random.default_rng(5).normal(231, 1.5, (700, 1400)).clip(0, 255).astype(np.uint8)
    Image.fromarray(paper).save(tmp_path / "plain.jpg", dpi=(300, 300))
    for at, text in enumerate(SAID):
        cv2.putText(paper, text, (90, 250 + 160 * at), cv2.FONT_HERSHEY_SIMPLEX, 2.4, 40, 5, cv2.LINE_AA)
    Image.fromarray(paper).save(tmp_path / "words.jpg", dpi=(300, 300))
    original = Original(id="p1", carrier="print", label="Harbour")
    assert suggested_reading(tmp_path / "words.jpg", original, Settings()).split("\n") == list(SAID)
    assert suggested_reading(tmp_path / "plain.jpg", original, Settings()) == ""


def test_only_a_back_is_read(tan, pair, box):
    numbers = {fact.key: at for at, fact in enumerate(look_into(box["path"], Settings()).record.latest("made"), 1)}
    here = f"/boxes/{box['number']}/made"
    back = tan.look(f"{here}/{numbers['copies/p1/p1-2.jpg']}/reading")
    assert back.status_code == 200 and back.json() == {"text": ""}, "150 plain blue pixels a side say nothing"
    assert tan.look(f"{here}/{numbers['copies/p1/p1-1.jpg']}/reading").status_code == 404
