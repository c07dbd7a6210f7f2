"""``check --json`` as a script reads it that knows the contract alone."""

import json
import math
from fractions import Fraction

import numpy as np
import pytest
from make.command import takeup
from make.tiny import sound_samples, write_moving, write_scan, write_wav

MEASURES = {
    "sound": "loudness loudness_range true_peak noise_floor dc_offset channel_balance channel_delay "
    "channel_correlation mains_hum speed_error wow_flutter bandwidth",
    "video": "black_level white_level beyond_limits field_order line_jitter chroma_delay dropouts head_switch_lines "
    "picture_snr frames repeated_frames lost_frames sound_offset sound_drift",
    "film": "file_rate picture_rate pictures true_seconds feet weave flicker dust fade sharpness",
    "scan": "ppi ppi_stated bits bits_stated channels pictures sharpness clipped_low clipped_high cast upsampled "
    "block_grid streaks",
}
UNITS = {
    "loudness": "LUFS", "loudness_range": "LU", "true_peak": "dBTP", "noise_floor": "dBFS", "channel_balance": "dB",
    "channel_delay": "µs", "mains_hum": "dBFS", "speed_error": "%", "wow_flutter": "%", "bandwidth": "Hz",
    "beyond_limits": "%", "picture_snr": "dB", "sound_offset": "ms", "sound_drift": "ms", "clipped_low": "%",
    "clipped_high": "%",
}  # fmt: skip
FINDING = {"name", "verdict", "again", "why", "do"}


def whole_side():
    """Programme, then the tape's hiss until the tape is stopped."""
    return np.concatenate([sound_samples(8.0), np.random.default_rng(9).normal(0, 6e-4, (8 * 48000, 2))])


@pytest.fixture(scope="module")
def captures(tmp_path_factory):
    folder = tmp_path_factory.mktemp("captures")
    return {
        "sound": (write_wav(folder / "t1-side-a.wav", whole_side(), bits=24), "cassette"),
        "video": (
            write_moving(folder / "v1.mkv", 40, Fraction(25), sound=sound_samples(1.6)),
            "vhs",
        ),
        "film": (
            write_moving(folder / "f1.mp4", 60, Fraction(30), size=(640, 480), codec="libx264", pixels="yuv420p",
                         repeat=lambda at: at * 3 // 5),
            "super8",
        ),
        "scan": (write_scan(folder / "p1.tif"), "print"),
    }  # fmt: skip


@pytest.fixture(scope="module")
def answers(captures):
    return {
        medium: takeup("check", path, "--carrier", carrier, "--json") for medium, (path, carrier) in captures.items()
    }


def numbers(value):
    if isinstance(value, dict):
        for part in value.values():
            yield from numbers(part)
    elif isinstance(value, list):
        for part in value:
            yield from numbers(part)
    elif isinstance(value, (int, float)):
        yield value


@pytest.mark.parametrize("medium", list(MEASURES))
def test_check_answers_one_document_and_nothing_else(answers, captures, medium):
    ran = answers[medium]
    assert (ran.status, ran.err) == (0, "")
    answer = ran.json
    path, carrier = captures[medium]
    assert answer["medium"] == medium and answer["carrier"] == carrier and answer["file"].endswith(path.name)
    assert answer["bytes"] == path.stat().st_size
    assert answer["verdict"] in ("good", "look", "redo")


@pytest.mark.parametrize("medium", list(MEASURES))
def test_check_has_every_measure_of_the_contract_finite_or_null_with_a_why(answers, medium):
    measures = answers[medium].json["measures"]
    wanted = MEASURES[medium].split() + (MEASURES["sound"].split() if medium == "video" else [])
    assert [name for name in wanted if name not in measures] == []
    for name, measure in measures.items():
        assert {"value", "unit"} <= set(measure), name
        if measure["value"] is None:
            assert measure["why"].strip(), name
        assert all(math.isfinite(number) for number in numbers(measure)), name
        if name in UNITS:
            assert measure["unit"] == UNITS[name], name


@pytest.mark.parametrize("medium", list(MEASURES))
def test_check_findings_have_what_a_person_needs(answers, medium):
    for finding in answers[medium].json["findings"]:
        assert set(finding) >= FINDING and finding["why"].strip() and finding["do"].strip()
        assert finding["again"] in ("helps", "may help", "no")
        assert not (finding["again"] == "no" and finding["verdict"] == "redo")


@pytest.mark.parametrize("medium", list(MEASURES))
def test_check_in_chinese_tells_the_same_figures(captures, answers, medium):
    path, carrier = captures[medium]
    english, chinese = (
        answers[medium].json,
        takeup("check", path, "--carrier", carrier, "--json", "--lang", "zh-Hans").json,
    )

    def bare(answer):
        return json.dumps(answer | {
            "measures": {name: measure | {"why": ""} for name, measure in answer["measures"].items()},
            "findings": [finding | {"why": "", "do": ""} for finding in answer["findings"]],
        }, sort_keys=True)  # fmt: skip

    assert bare(english) == bare(chinese)


def test_good_captures_are_good(answers):
    """Clean controls through the whole command: none of these was given a fault."""
    assert [finding["name"] for finding in answers["sound"].json["findings"] if finding["verdict"] == "redo"] == []
    assert [finding["name"] for finding in answers["scan"].json["findings"] if finding["verdict"] == "redo"] == []


@pytest.mark.parametrize(
    ("name", "content", "carrier"),
    [
        ("empty.wav", b"", "cassette"),
        ("words.wav", b"This is a shopping list, not a recording.\n" * 50, "cassette"),
        ("noise.tif", bytes(range(256)) * 40, "print"),
        ("half.tif", b"II*\0\x08\0\0\0", "print"),
        ("riff.wav", b"RIFF\x24\0\0\0WAVE", "cassette"),
        ("zeros.mp4", bytes(5000), "vhs"),
        ("jpeg.jpg", b"\xff\xd8\xff\xe0" + bytes(30), "print"),
        ("odd\nname 外婆 -.mkv", b"\x1aE\xdf\xa3" + bytes(100), "vhs"),
    ],
)
@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
def test_what_cannot_be_read_gets_one_plain_sentence(tmp_path, name, content, carrier, lang):
    path = tmp_path / name
    path.write_bytes(content)
    ran = takeup("check", path, "--carrier", carrier, "--json", "--lang", lang)
    assert (ran.status, ran.out) == (2, "")
    assert len(ran.err.strip().splitlines()) == 1 and "Traceback" not in ran.err
    assert path.read_bytes() == content


def test_another_medium_than_the_carriers_is_refused(captures):
    sound, video = captures["sound"][0], captures["video"][0]
    for path, carrier in ((sound, "vhs"), (sound, "print"), (video, "cassette"), (captures["scan"][0], "super8")):
        ran = takeup("check", path, "--carrier", carrier, "--json")
        assert ran.status == 2 and ran.out == "" and len(ran.err.strip().splitlines()) == 1


WRONG_WORDS = """
check
check x.wav
check x.wav --carrier gramophone
check no-such.wav --carrier cassette
nope
--nope
box
box new
box show nowhere
take nowhere x
finish nowhere
pack nowhere
deliver nowhere x
clear nowhere
verify nowhere
drive nowhere
screen nowhere.csv
plan nowhere.csv
describe nowhere
agree nowhere --form 1
"""


@pytest.mark.parametrize("words", WRONG_WORDS.strip().splitlines())
def test_wrong_words_get_one_plain_sentence_and_status_2(tmp_path, words):
    ran = takeup(*words.split(), cwd=tmp_path)
    assert ran.status == 2 and "Traceback" not in ran.err
    assert len(ran.err.strip().splitlines()) == 1 and list(tmp_path.iterdir()) == []
