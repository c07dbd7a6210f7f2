"""Screening against the decision table of the trade (film-and-storage check values, section 2.5 and 2.1, 2.2)."""

import json

import pytest
from make.command import takeup

from takeup.judge.screening import SEVERITY, judge_original, read_figure
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.screen import worded
from takeup.words.sentences import load_sentences

ROWS = load_rows()
FILM = ("8mm", "super8")
TAPE = ("vhs", "vhs-c", "cassette")
PAPER = ("print", "document", "newspaper")
ALL = (*FILM, *TAPE, *PAPER, "slide", "negative", "microfilm", "microfiche")


def screened(carrier, *condition, **known):
    return judge_original(Original(id="x", carrier=carrier, condition=condition, **known), ROWS)


@pytest.mark.parametrize("carrier", ALL)
def test_a_clean_original_is_accepted(carrier):
    assert screened(carrier).outcome == "accept"


# Section 2.5: nitrate, active mould, strip 3, warped or blocked rolls, sticky film: refused; sealed cans: not opened.
@pytest.mark.parametrize(
    ("carriers", "word", "outcome"),
    [
        (FILM + ("negative", "slide", "microfilm"), "nitrate", "refuse"),
        (FILM + TAPE, "mould", "refuse"),
        (PAPER, "mould", "ask"),
        (FILM, "warped", "refuse"),
        (FILM, "stuck", "refuse"),
        (TAPE, "sticky", "refuse"),
        (FILM, "sticky", "refuse"),
        (FILM, "sealed", "ask"),
        (FILM, "no-leader", "prepare"),
        (FILM, "vinegar", "ask"),
        (FILM, "torn", "prepare"),
        (ALL, "wet", "refuse"),
        (ALL, "pests", "refuse"),
        (ALL, "commercial", "ask"),
        (ALL, "dirty", "prepare"),
        (PAPER, "album", "prepare"),
        (PAPER, "oversize", "prepare"),
        (PAPER, "framed", "prepare"),
        (("slide",), "glass", "prepare"),
        (TAPE, "broken", "prepare"),
    ],
)
def test_condition_word_gives_the_outcome_of_the_decision_table(carriers, word, outcome):
    assert {carrier: screened(carrier, word).outcome for carrier in carriers} == dict.fromkeys(carriers, outcome)


# Section 2.1, proposed defaults: < 0.5 pass; from 0.5 low tension; from 0.8 no sprocket; 1.0 staff; 1.5 and 2.0 refuse.
@pytest.mark.parametrize(
    ("percent", "outcome"),
    [
        ("0", "accept"), ("0.49", "accept"), ("0.5", "prepare"), ("0.79", "prepare"), ("0.8", "ask"), ("1.0", "ask"),
        ("1.2", "ask"), ("1.49", "ask"), ("1.5", "refuse"), ("2", "refuse"), ("2.5", "refuse"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("carrier", FILM)
def test_shrinkage_limits(carrier, percent, outcome):
    assert screened(carrier, f"shrunk={percent}").outcome == outcome


@pytest.mark.parametrize("written", ["0.7-0.9", "0.7..0.9", "0.8±0.1", "0.8+-0.1"])
def test_shrinkage_compares_the_upper_end_of_what_was_measured(written):
    assert read_figure(written) == pytest.approx((0.7, 0.9))
    assert screened("super8", f"shrunk={written}").outcome == "ask"
    assert screened("super8", "shrunk=0.7").outcome == "prepare"


# Section 2.2 and 2.5: strip 0 good; 1 to 1.5 supervised; 2 staff once, soon; 3 refused.
@pytest.mark.parametrize(
    ("level", "outcome"),
    [("0", "accept"), ("1", "prepare"), ("1.5", "prepare"), ("2", "ask"), ("2.5", "ask"), ("3", "refuse")],
)
@pytest.mark.parametrize("carrier", [*FILM, "negative", "microfilm"])
def test_acidity_levels(carrier, level, outcome):
    assert screened(carrier, f"acid={level}").outcome == outcome


def test_most_severe_outcome_wins_and_all_reasons_stand():
    found = screened("super8", "dirty", "no-leader", "acid=1.5", "mould", "commercial")
    assert found.outcome == "refuse"
    assert [reason.key for reason in found.reasons][0] == "mould.film"
    assert {reason.key.split(".")[0] for reason in found.reasons} >= {
        "dirty",
        "no-leader",
        "acid",
        "mould",
        "commercial",
    }


@pytest.mark.parametrize(
    ("carrier", "word"),
    [
        ("vhs", "nitrate"),
        ("print", "shrunk=1.2"),
        ("vhs", "acid=2"),
        ("vhs", "fuzzy"),
        ("8mm", "shrunk"),
        ("8mm", "kinds"),
    ],
)
def test_a_word_no_rule_knows_or_unusual_for_the_carrier_is_asked_about(carrier, word):
    assert screened(carrier, word).outcome == "ask"


@pytest.mark.parametrize("sound", ["stripe", "optical"])
def test_film_with_sound_is_told_before_booking_that_the_scanner_takes_pictures_only(sound):
    found = worded(screened("super8", sound=sound), "en")
    assert found["outcome"] == "ask"
    assert any("sound" in sentence and ("captured" in sentence or "lost" in sentence) for sentence in found["why"])
    assert screened("super8", sound="none").outcome == "accept"
    assert screened("vhs", sound="linear").outcome == "accept"


def test_other_is_refused_kindly_and_the_rest_is_still_answered(tmp_path):
    path = tmp_path / "items.csv"
    path.write_text("id,carrier\na,other\nb,vhs\nc,micro-cassette\nd,casette\n", "utf-8")
    ran = takeup("screen", path, "--json")
    assert ran.status == 0
    items = {item["id"]: item for item in ran.json["items"]}
    assert {name: item["outcome"] for name, item in items.items()} == {
        "a": "refuse", "b": "accept", "c": "refuse", "d": "ask",
    }  # fmt: skip
    assert "address" in " ".join(items["a"]["do"])
    assert "micro-cassette" in " ".join(items["c"]["why"])
    assert "cassette" in " ".join(items["d"]["why"])


def test_nitrate_caution_stands_whatever_the_carrier_and_ends_with_deference():
    for carrier in (*FILM, "other", "vhs"):
        assert screened(carrier, "nitrate").cautions == ("nitrate",)
    deference = {"en": "Local law, your library's rules and licensed people come first.",
                 "zh": "以当地法规、本馆规定和持证人员的意见为准。"}  # fmt: skip
    for key, sentence in load_sentences("cautions").items():
        assert sentence.endswith(deference[key.rsplit(".", 1)[1]]), key


def test_refusal_names_finding_value_limit_and_next_place():
    said = worded(screened("8mm", "shrunk=1.6"), "en")
    assert "1.60 %" in said["why"][0] and "1.5 %" in said["why"][0]
    assert "laboratory" in said["do"][0]
    assert said["source"]


@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
def test_every_row_of_the_table_is_worded(lang):
    for key, row in ROWS.items():
        if not key.startswith("screening.") or row.value == [] or key.split(".")[1] in (
            "kinds", "carrier", "cautions", "spelled", "nearly", "film-sound",
        ):  # fmt: skip
            continue
        _, word, kind = key.split(".")
        carrier = next(name for name, its in ROWS.section("screening.kinds").items() if its == kind)
        figures = ["0", "0.5", "0.8", "1", "1.5", "2", "3"] if word in ("shrunk", "acid") else [""]
        for figure in figures:
            said = worded(screened(carrier, f"{word}={figure}" if figure else word), lang)
            assert said["outcome"] in SEVERITY and all(said["why"]) and all(said["do"])


def test_every_listed_carrier_has_a_kind():
    assert set(ROWS.names("carriers")) == set(ROWS.section("screening.kinds"))


def test_box_remembers_its_screening_once(tmp_path):
    (tmp_path / "items.csv").write_text("id,carrier,condition\na,vhs,mould\n", "utf-8")
    assert takeup("box", "new", tmp_path / "box", "--items", tmp_path / "items.csv").status == 0
    first, second = (takeup("screen", tmp_path / "box", "--json") for _ in range(2))
    assert first.json == second.json
    shown = takeup("box", "show", tmp_path / "box", "--json").json
    assert shown["items"][0]["screened"] is True and shown["items"][0]["outcome"] == "refuse"
    from takeup.box.record import Record

    assert len(Record(tmp_path / "box").facts("screened")) == 1
    assert json.dumps(first.json)
