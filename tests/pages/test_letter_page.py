"""The letter as text: what it must hold, and what no label may make of it. Truth by construction (make.family)."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

import pytest
from make.family import CLIPPED, WORN, family, noticed, sound_report

from takeup.judge.sound_units import SOUND_UNITS
from takeup.pages.contents import Captured, Contents, Described, Entry, Held, Shown
from takeup.pages.figures import figure
from takeup.pages.letter import href, letter_page, part_of, when
from takeup.streams import Measured, Trace
from takeup.words.sentences import say

HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "' onmouseover='alert(1)",
    "{{ 7 * 7 }} {% raw %}",
    "</style></title><b>",
    "javascript:alert(1)",
    "أفراح العائلة ١٩٨٣",
    "👩‍👩‍👧 外婆 ‮evil",
    "very " * 400,
    "&lt;already&amp;",
]

MEASURES = [
    "loudness", "loudness_range", "true_peak", "noise_floor", "dc_offset", "channel_balance", "channel_delay",
    "channel_correlation", "mains_hum", "speed_error", "wow_flutter", "bandwidth", "black_level",
    "white_level", "beyond_limits", "field_order", "line_jitter", "chroma_delay", "dropouts",
    "head_switch_lines", "picture_snr", "frames", "repeated_frames", "lost_frames", "sound_offset",
    "sound_drift", "file_rate", "picture_rate", "pictures", "true_seconds", "feet", "weave", "flicker",
    "dust", "fade", "sharpness", "ppi", "ppi_stated", "bits", "bits_stated", "channels", "clipped_low",
    "clipped_high", "cast", "upsampled", "block_grid", "streaks",
]  # fmt: skip


class Page(HTMLParser):
    """What a browser would make of it: every tag with its attributes, and the text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.words.append(data)

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]

    def addresses(self) -> set[str]:
        return {
            attributes[name] or ""
            for _, attributes in self.tags
            for name in ("href", "src", "poster")
            if name in attributes and not (attributes[name] or "").startswith("data:image/png;base64,")
        }


@pytest.fixture(scope="module")
def told(tmp_path_factory) -> tuple[Contents, Path]:
    folder = tmp_path_factory.mktemp("parcel") / "data"
    return family(folder), folder


@pytest.fixture(scope="module")
def page(told) -> Page:
    return Page(letter_page(told[0]))


def small_letter(**changes) -> Contents:
    """The least letter: one cassette with one file."""
    report = sound_report(60)
    file = Held(href="01 t1/t1.m4a", role="copy", bytes=9, kind="sound")
    one = Captured(report=report)
    entry = Entry(
        id="t1", carrier="cassette", section="listen", shown=(Shown(file=file, captured=(one,)),), captured=(one,)
    )
    entry = replace(entry, **changes)
    return Contents(
        box="b", lab="l", lang="en", brought="", packed="2027-03-16", originals=1, files=2, bytes=9, entries=(entry,),
        held=(file,),
    )  # fmt: skip


def test_letter_every_file_is_reached_and_nothing_else_is(told, page):
    contents, folder = told
    reached = {unquote(address) for address in page.addresses() if not address.startswith("#")}
    inside = {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}
    assert {address for address in reached if not address.startswith("../")} == inside
    assert {address for address in reached if address.startswith("../")} == {f"../{name}" for name in contents.papers}


def test_letter_runs_one_script_and_asks_nobody(told, page):
    text = letter_page(told[0])
    (script,) = re.findall(r"<script>(.*?)</script>", text, re.S)
    wanted = "sha256-" + base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    (policy,) = [tag["content"] for tag in page.all("meta") if tag.get("http-equiv") == "Content-Security-Policy"]
    assert f"script-src '{wanted}'" in policy and "connect-src 'none'" in policy
    assert (
        "http:" not in text
        and "https:" not in text
        and "//" not in re.sub(r"<script>.*?</script>", "", text, flags=re.S)
    )
    assert not page.all("link") and not page.all("iframe")


def test_letter_plays_and_shows_without_a_script(page):
    assert len(page.all("audio")) == 3 and len(page.all("video")) == 2
    assert all("controls" in tag and tag["preload"] == "none" for tag in page.all("audio") + page.all("video"))
    assert all("autoplay" not in tag and tag["poster"] for tag in page.all("video"))


def test_letter_holds_both_languages_of_every_sentence(page):
    spoken = [tag["lang"] for name, tag in page.tags if name == "span" and "lang" in tag]
    assert spoken.count("en") == spoken.count("zh-Hans") > 150


def test_letter_goes_in_the_familys_order(told):
    text = letter_page(told[0])
    places = [text.index(f'id="name-{entry.id}"') for entry in told[0].entries]
    assert places == sorted(places)
    assert (
        text.index('id="listen"') < text.index('id="watch"') < text.index('id="pictures"') < text.index('id="missing"')
    )


def test_letter_says_what_is_not_good_enough(page):
    text = " ".join(page.words)
    assert say("letter", "found.redo", "en") in text and say("letter", "found.redo", "zh-Hans") in text
    assert "Turn the input down two marks" in text


def test_letter_warns_of_flashing_only_where_it_flickers(page):
    assert "".join(page.words).count(say("letter", "flashing", "en")) == 1


def test_letter_names_what_is_missing_and_why(page):
    text = " ".join(page.words)
    assert "Harbour board minutes" in text and "It smells of vinegar" in text
    assert say("letter", "missing.not-captured", "zh-Hans") in text


def test_letter_ends_the_keeping_advice_with_the_deference(page):
    text = " ".join(page.words)
    last = text.index(say("letter", "defer", "en"))
    assert last > text.index(say("letter", "copyright", "en")) > text.index(say("letter", "keep-originals", "en"))


@pytest.mark.parametrize("text", HOSTILE)
def test_letter_shows_any_label_as_text(text):
    plain = Page(letter_page(small_letter()))
    fields = dict.fromkeys(("title", "description", "date", "place", "creator", "rights"), text)
    entry = {"label": text, "said": Described(**fields, people=(text,), keywords=(text,))}
    page = Page(letter_page(replace(small_letter(**entry), box=text, lab=text)))
    allowed = {"p", "span", "dd", "dt", "div", "bdi", "dl"}
    assert {name for name, _ in page.tags} <= {name for name, _ in plain.tags} | allowed
    assert len(page.all("script")) == 1 and not page.all("img")
    assert not any(key.startswith("on") for _, tag in page.tags for key in tag)
    assert text in "".join(page.words)


@pytest.mark.parametrize("name", ["a#b?.m4a", "50%.m4a", "a:b.m4a", "javascript:x", 'q".m4a', "外婆.m4a", "a&b.m4a"])
def test_href_quotes_whatever_stands_in_a_name(name):
    assert unquote(href(name)) == name
    assert re.fullmatch(r"[A-Za-z0-9/._~%-]+", href(name))


def test_letter_without_captures_says_not_checked():
    text = letter_page(small_letter(captured=()))
    assert say("letter", "found.not-checked", "en") in text


def test_letter_an_original_with_a_master_only_links_it():
    master = Held(href="01 t1/kept master/t1.mkv", role="master", bytes=9, kind="other")
    page = Page(letter_page(small_letter(shown=(), masters=(master,))))
    assert href(master.href) in page.addresses() and not page.all("audio")


def test_letter_many_findings_are_folded():
    found = [noticed(CLIPPED, f"Sentence {at}.", f"第 {at} 句。") for at in range(5)]
    one = Captured(report=sound_report(600, [CLIPPED]), noticed=tuple(found))
    text = letter_page(small_letter(captured=(one,)))
    fold = text.index('<details class="why">')
    assert text.index("Sentence 1.") < fold < text.index("Sentence 2.")
    assert say("letter", "found.more.many", "en", {"count": 3}) in text


def test_letter_opens_in_the_familys_language(told):
    text = letter_page(replace(told[0], lang="zh-Hans"))
    assert re.search(r'<input[^>]*value="zh-Hans"[^>]* checked>', text)
    assert not re.search(r'<input[^>]*value="en"[^>]* checked>', text)


@pytest.mark.parametrize("part", ["a", "A", "side-a"])
def test_part_of_a_cassette_is_its_side(part):
    assert part_of(part, "listen") == '<span lang="en">Side A</span><span lang="zh-Hans">A 面</span>'


def test_part_of_anything_else_keeps_its_name():
    assert (
        "page 3" in part_of("3", "pictures") and "<b>" not in part_of("<b>", "pictures") and part_of("", "listen") == ""
    )


def test_when_a_date_nobody_can_read_stays_as_it_was_given():
    assert when("the summer Wen came")["zh-Hans"] == "the summer Wen came"
    assert when("1974~") == {"en": "about 1974", "zh-Hans": "约1974年"}


@pytest.mark.parametrize(
    "value,unit,text",
    [
        (-23.04, "LUFS", "-23 LUFS"),
        (0.123456, "%", "0.123 %"),
        (72000, "pictures", "72,000 pictures"),
        ([1, 2], "", "2"),
        ({"red": 0.5, "green": 0.1}, "share", "red 0.5, green 0.1 share"),
        ("top", "", "top"),
        (None, "dB", ""),
        (0, "", "0"),
    ],
)
def test_figure_is_short(value, unit, text):
    assert figure(Measured(value=value, unit=unit, why=None if value is not None else "later")) == text


def test_units_that_are_words_are_said_in_chinese_and_symbols_stay():
    assert figure(Measured(value=16, unit="bits"), "zh-Hans") == "16 位"
    assert figure(Measured(value=0.002, unit="share of full scale"), "zh-Hans") == "0.002 满刻度的比例"
    assert figure(Measured(value=-20.0, unit="dBFS"), "zh-Hans") == "-20 dBFS"


def test_every_unit_and_every_kind_left_out_is_worded():
    """Letters in a row that are no symbol of the SI or of levels are a word."""
    symbols = {"LUFS", "LU", "dBTP", "dBFS", "dB", "Hz", "ms", "s", "µs", "%", "1", "1/s", "1/in", "mm", "px RMS"}
    for unit in {*SOUND_UNITS.values(), "bits", "samples", "pictures"} - symbols:
        assert say("letter", f"unit.{unit}", "zh-Hans") != unit
    for kind in ("digital_zero", "leader", "blank_tape", "blank", "black", "no_signal"):
        assert say("letter", f"kind.{kind}", "zh-Hans") != kind


def test_every_measure_of_the_contract_has_a_name_in_both_languages():
    """The names of the contract's measures, copied from it."""
    for name in MEASURES:
        assert say("letter", f"measure.{name}", "en") and say("letter", f"measure.{name}", "zh-Hans")


def test_letter_folds_the_sound_over_time_with_a_table_for_who_cannot_see_it():
    """Of 60 s: six stretches of 10 s, each with four figures."""
    text = letter_page(small_letter())
    (fold,) = re.findall(r'<details class="history">(.*?)</details>', text, re.S)
    assert fold.count("<svg") == 2 and fold.count("<image") == 2 and " open" not in fold
    assert fold.count("<tr>") == 1 + 6 and fold.count("<td>") == 24


def test_letter_without_levels_has_no_such_fold():
    report = replace(sound_report(60), trace=Trace())
    assert 'class="history"' not in letter_page(small_letter(captured=(Captured(report=report),)))


def test_letter_names_the_side_of_each_measurement(told):
    text = letter_page(told[0])
    assert re.findall(
        r'The sound over time</span><span lang="zh-Hans">[^<]*</span> · <span lang="en">(Side .)<', text
    ) == [
        "Side A",
        "Side B",
    ]


def test_letter_hundreds_of_one_kind_are_a_few_sentences_and_a_count():
    """300 dropouts, a second apart from 0:10 on: five are told (the deepest), 295 counted."""
    holes = [replace(WORN, from_s=10.0 + at, to_s=10.1 + at, value=float(at)) for at in range(300)]
    found = [noticed(hole, f"Hole at {hole.from_s}.", f"{hole.from_s} 处。") for hole in holes]
    one = Captured(report=sound_report(600, holes), noticed=tuple(found))
    text = letter_page(small_letter(captured=(one,)))
    assert text.count('lang="en">Hole at') == 5 and "295 more of this kind, from 0:10 to 5:04." in text
    assert "298 more things were noticed" in text
