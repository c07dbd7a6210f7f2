"""The picture of a capture: well-formed whatever is in it, by the ending of its name, whole or not at all."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest
from make.family import CLIPPED, FLICKER, WORN, sound_report, still

from takeup.errors import NotPossible
from takeup.pages.capture import Place, capture_picture, cut, width_of, wrapped
from takeup.streams import Finding, Measured, Original, Report, Trace
from takeup.tasks.picture import draw

CASSETTE = Original(id="t1", carrier="cassette", label="Aunt Wen, New Year 1983")
FLICKERY = Report(
    medium="film", seconds=200.0, measures={}, findings=(FLICKER,), trace=Trace(recorded=bytes([1]) * 2000),
    stills=tuple(still(at * 9.0, at, 120, 90) for at in range(24)),
)  # fmt: skip
SCAN = Report(
    medium="scan", seconds=None, measures={"pictures": Measured(value=None, unit="", why="later")},
    findings=(Finding(name="duplicate", verdict="look", again="no", facts={"of": "x"}),),
)  # fmt: skip


@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
@pytest.mark.parametrize("report", [sound_report(1790, [WORN, CLIPPED]), sound_report(0.0), FLICKERY, SCAN])
def test_picture_is_well_formed(report, lang):
    places = [Place(verdict="look", sentence="One <b>sentence</b> & more. " * 9, from_s=3.0)]
    picture = ElementTree.fromstring(capture_picture(report, CASSETTE, places, lang, file="t1.wav"))
    assert picture.tag.endswith("svg") and picture.find("{*}title") is not None


def test_picture_shows_the_verdict_in_words():
    assert "Do again" in capture_picture(sound_report(60, [CLIPPED]), CASSETTE, [], "en")
    assert "请重扫" not in capture_picture(sound_report(60, [CLIPPED]), CASSETTE, [], "zh-Hans")
    assert "请重录" in capture_picture(sound_report(60, [CLIPPED]), CASSETTE, [], "zh-Hans")


def test_picture_long_films_show_ten_pictures():
    assert capture_picture(FLICKERY, CASSETTE, [], "en").count("<image") == 10


@pytest.mark.parametrize("text", ["\x00\x0b<x>", "\ud800", "é" * 999, "外婆" * 200, "&amp;", "]]>"])
def test_picture_holds_any_label_and_file_name(text):
    original = Original(id="i" * 40, carrier="vhs", label=text)
    picture = ElementTree.fromstring(capture_picture(sound_report(10), original, [], "en", file=text))
    assert any(element.text == "i" * 40 for element in picture.iter())


def test_draw_writes_by_the_ending(tmp_path):
    report = Report(medium="sound", seconds=60.0, measures={}, findings=())
    draw(report, CASSETTE, tmp_path / "a.SVG", "en")
    draw(report, CASSETTE, tmp_path / "a.png", "zh-Hans")
    assert (tmp_path / "a.SVG").read_text("utf-8").startswith("<svg ")
    data = (tmp_path / "a.png").read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert int.from_bytes(data[16:20], "big") == 2400  # 1200 units at two pixels each


@pytest.mark.parametrize("name", ["a.jpg", "a", "a.svg.txt"])
def test_draw_another_ending_is_a_plain_fault_and_leaves_nothing(tmp_path, name):
    with pytest.raises(NotPossible) as fault:
        draw(sound_report(10), CASSETTE, tmp_path / name, "en")
    assert fault.value.key == "picture.unknown-ending" and not list(tmp_path.iterdir())


def test_wrapped_lines_fit_and_lose_nothing():
    text = (
        "At 18:02 the tape is worn; 磁带有半秒磨损，这是磁带本身的问题，再录一次也不会改变。 And more words to fill it."
    )
    lines = wrapped(text, 12)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert all(width_of(line) <= 13 for line in lines)  # a stop may hang over the edge
    assert not any(line[0] in "，。" for line in lines)


def test_cut_marks_what_went():
    assert cut("short", 17) == "short" and cut("外" * 40, 17).endswith("…") and width_of(cut("外" * 40, 17)) <= 17
