"""Files that are no capture, or a damaged one: a sentence in both languages or a true figure, and nothing else."""

from __future__ import annotations

import json
import os
import struct
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from make.command import takeup
from make.sound import side, talk
from make.sound_files import aiff, bw64, libav_file, packed_24, soundfile_bytes, wave

from takeup.errors import Unreadable
from takeup.media.probe import look_at
from takeup.media.wave import read_layout
from takeup.streams import Original
from takeup.tasks.check import check_file
from takeup.tasks.checking import Asked
from takeup.tasks.reporting import answer_from
from takeup.words.sentences import say

RATE = 48_000
ASKED = Asked(original=Original(id="t1", carrier="cassette"))
NOISE = np.random.default_rng(3)
SOUND = (0.1 * np.sin(np.arange(3 * RATE) * 0.05)[:, None] + 0.01 * NOISE.standard_normal((3 * RATE, 2))).clip(-1, 1)
WORDS_16 = np.round(SOUND * 32767).astype("<i2").tobytes()
FLOATS = SOUND.astype("<f4")
TEXT = b"LIST" + struct.pack("<I", 26) + b"INFOISFT" + struct.pack("<I", 14) + b"a program 1.0\0"


def outcome(path: Path) -> tuple[str, object]:
    """What a check of it says: a report whose answer is plain JSON, or a fault that is worded in both languages."""
    try:
        capture, report = check_file(path, ASKED)
    except Unreadable as error:
        assert error.exit_status == 2
        for lang in ("en", "zh-Hans"):
            sentence = say("faults", error.key, lang, error.facts)
            assert str(path) in sentence and "\n" not in sentence and "{" not in sentence
        return error.key, error
    for lang in ("en", "zh-Hans"):
        answer = answer_from(report, file=str(path), carrier="cassette", capture=capture, lang=lang)
        json.dumps(answer, allow_nan=False)
    return "read", report


def put(folder: Path, raw: bytes) -> Path:
    path = folder / "a.wav"
    path.write_bytes(raw)
    return path


def with_sample(value: float, kind: str = "<f4") -> bytes:
    samples = SOUND.astype(kind)
    samples[RATE, 1] = value
    return wave(samples.tobytes(), tag=3, bits=8 * samples.dtype.itemsize)


REFUSED = {
    "empty": (b"", "capture.empty"),
    "text": (b"this is a letter\n" * 100, "capture.unknown"),
    "zeros": (bytes(100_000), "capture.unknown"),
    "header only": (wave(b""), "sound.no-samples"),
    "header and text only": (wave(b"", behind=TEXT), "sound.no-samples"),
    "less than one frame": (wave(b"abc"), "sound.no-samples"),
    "half a header": (wave(WORDS_16, bits=16)[:30], "sound.unfinished"),
    "not a number": (with_sample(float("nan")), "sound.not-numbers"),
    "infinity": (with_sample(float("-inf")), "sound.not-numbers"),
    "infinity in doubles": (with_sample(float("inf"), "<f8"), "sound.not-numbers"),
    "too large for single precision": (with_sample(1e300, "<f8"), "sound.not-numbers"),
    "far beyond full scale": (wave((FLOATS * 32768).tobytes(), tag=3, bits=32), "sound.beyond-full-scale"),
    "random bytes as float": (wave(NOISE.bytes(400_000), tag=3, bits=32), "sound.not-numbers"),
    "one bit": (wave(NOISE.bytes(100_000), bits=1), "sound.odd-samples"),
    "no bits": (wave(WORDS_16, bits=0, align=4), "sound.odd-samples"),
    "half floats": (wave(WORDS_16, tag=3, bits=16), "sound.odd-samples"),
    "rate 0": (wave(WORDS_16, bits=16, rate=0), "sound.no-rate"),
    "rate 1 Hz": (wave(WORDS_16, bits=16, rate=1), "sound.odd-rate"),
    "rate 4 GHz": (wave(WORDS_16, bits=16, rate=2**32 - 1), "sound.odd-rate"),
    "no channels": (wave(WORDS_16, bits=16, channels=0, align=4), "sound.no-rate"),
    "nine channels": (wave(WORDS_16, bits=16, channels=9), "sound.many-channels"),
    "65535 channels of 8 bits": (wave(WORDS_16, bits=8, channels=65_535), "sound.many-channels"),
    "65535 channels in blocks of 4": (wave(WORDS_16, bits=16, channels=65_535, align=4), "sound.contradiction"),
    "blocks too large": (wave(WORDS_16, bits=16, align=6), "sound.contradiction"),
    "blocks for two, channels one": (wave(WORDS_16, bits=16, channels=1, align=4), "sound.contradiction"),
    "bits that do not fit": (wave(WORDS_16, bits=24, align=4), "sound.contradiction"),
    "a chunk that wraps": (wave(WORDS_16, bits=16, before=b"junk\xff\xff\xff\xff"), "sound.unfinished"),
    "nothing but empty chunks": (b"RIFF\0\0\0\0WAVE" + b"abcd\0\0\0\0" * 100_000, "capture.broken"),
    "zeros behind the name": (b"RIFF\0\0\0\0WAVE" + bytes(1_000_000), "capture.broken"),
    "samples before their format": (b"RIFF\0\0\0\0WAVEdata\x10\0\0\0" + bytes(40), "capture.broken"),
    "a coder nobody knows": (wave(WORDS_16, tag=0x7777, bits=16), "capture.broken"),
    "aiff rate beyond all": (aiff(WORDS_16, rate_80=b"\x7f\xfe" + b"\xff" * 8), "sound.odd-rate"),
    "aiff rate not a number": (aiff(WORDS_16, rate_80=b"\x7f\xff" + b"\xff" * 8), "sound.odd-rate"),
    "aiff negative rate": (aiff(WORDS_16, rate_80=b"\xc0\x0e\xbb\x80" + bytes(6)), "sound.no-rate"),
    "aiff negative channels": (aiff(WORDS_16, channels=-2), "sound.no-rate"),
    "aiff no bits": (aiff(WORDS_16, bits=0), "sound.odd-samples"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_holds_no_sound_is_refused_in_one_sentence(tmp_path, name):
    raw, fault = REFUSED[name]
    assert outcome(put(tmp_path, raw))[0] == fault


READ = {
    "block size left out": wave(WORDS_16, bits=16, align=0, bytes_a_second=0),
    "block size lies, two others agree": wave(WORDS_16, bits=16, align=6, bytes_a_second=4 * RATE),
    "bytes a second lie, two others agree": wave(WORDS_16, bits=16, bytes_a_second=1),
    "24 bits in words of 32": wave(
        (np.round(SOUND * 2**23).astype("<i4") * 256).tobytes(), bits=24, align=8, bytes_a_second=8 * RATE
    ),
    "20 bits in words of 24": wave(packed_24(SOUND), bits=20),
    "text behind a header never closed": wave(WORDS_16, bits=16, size=0, behind=TEXT),
    "all ones": wave(WORDS_16, bits=16, size=0xFFFFFFFF),
    "long form without its sizes": wave(WORDS_16, bits=16, size=0xFFFFFFFF, magic=b"RF64"),
    "a filling byte left out": wave(WORDS_16, bits=16, before=b"junk" + struct.pack("<I", 3) + b"abc"),
    "zeros behind the samples": wave(WORDS_16, bits=16, behind=bytes(5000)),
    "a tag behind the samples": wave(WORDS_16, bits=16, behind=b"TAG" + b"x" * 125),
}


@pytest.mark.parametrize("name", READ)
def test_a_header_that_lies_in_one_place_is_read_by_the_others(tmp_path, name):
    """3 s; peak and balance are those of libsndfile's samples of a true file (a true peak lies up to 0.5 dB above)."""
    import soundfile

    _, report = outcome(put(tmp_path, READ[name]))
    assert report.seconds == pytest.approx(3.0, abs=1e-6)
    truth = soundfile.read(put(tmp_path, wave(WORDS_16, bits=16)), always_2d=True)[0]
    rms = 10 * np.log10((truth**2).mean(axis=0))
    assert report.measures["channel_balance"].value == pytest.approx(rms[0] - rms[1], abs=0.01)
    peak = 20 * np.log10(np.abs(truth).max())
    assert peak - 0.01 <= report.measures["true_peak"].value <= peak + 0.5


@pytest.mark.parametrize("size", [4_000_000_000, 3 << 30, 0xFFFFFFFF])
def test_a_file_that_claims_four_gigabytes_and_holds_one_megabyte_ends_early(tmp_path, size):
    raw = wave(np.resize(np.frombuffer(WORDS_16, "<i2"), 1 << 19).tobytes(), bits=16, size=size)
    _, report = outcome(put(tmp_path, raw))
    assert report.seconds == pytest.approx((1 << 20) / 4 / RATE)
    assert [(one.name, one.verdict) for one in report.findings] == [("ends_early", "redo")]


def test_a_size_that_went_round_four_gigabytes_is_read_to_the_true_end(tmp_path):
    """4 GiB and 1000 frames, of which the header holds the last 1000 only. The file is sparse: nothing is written."""
    long = 2**32 + 4000
    path = put(tmp_path, wave(b"", bits=16, size=long % 2**32))
    os.truncate(path, 44 + long)
    layout = read_layout(path)
    assert layout.data_bytes is None and layout.unclosed and layout.ends_at is None


@pytest.mark.parametrize("missing_s, found", [(0.01, []), (0.05, ["ends_early"]), (0.4, ["ends_early"])])
def test_a_lossless_file_that_lost_its_last_moments_is_told(tmp_path, missing_s, found):
    """What is lost of a side that had ended is a matter for a look; 20 ms are the bound."""
    rng = np.random.default_rng(1)
    raw = soundfile_bytes(side(talk(rng, 4), rng), RATE, "WAV", "PCM_24")
    _, report = outcome(put(tmp_path, raw[: len(raw) - round(missing_s * RATE) * 6]))
    assert [one.name for one in report.findings] == found
    assert report.verdict == ("look" if found else "good")


def test_a_cut_coded_wav_is_told_by_its_header(tmp_path):
    rng = np.random.default_rng(1)
    raw = soundfile_bytes(side(talk(rng, 4), rng), RATE, "WAV", "IMA_ADPCM")
    _, report = outcome(put(tmp_path, raw[: len(raw) * 2 // 3]))
    assert {one.name for one in report.findings} == {"ends_early", "lossy_source"}  # four bits a sample are lossy


@pytest.mark.parametrize("frames", [1, 2, 7, 400, 4000])
def test_a_few_samples_prove_nothing_but_that_more_are_missing(tmp_path, frames):
    rng = np.random.default_rng(frames)
    raw = wave(packed_24(rng.uniform(-0.3, 0.3, (frames, 2))), size=6 * RATE)
    _, report = outcome(put(tmp_path, raw))
    assert [one.name for one in report.findings] == ["ends_early"]


def test_pipes_devices_and_odd_names_are_no_files(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    assert outcome(tmp_path / "pipe")[0] == "capture.not-kept"
    assert outcome(Path("/dev/zero"))[0] == "capture.not-kept"
    assert outcome(tmp_path)[0] == "capture.not-a-file"
    assert outcome(tmp_path / "no" / "such.wav")[0] == "capture.not-there"
    assert outcome(tmp_path / ("a" * 300))[0] == "capture.cannot-open"


def test_a_file_that_may_not_be_read_says_so(tmp_path, monkeypatch):
    path = put(tmp_path, wave(WORDS_16, bits=16))

    def refuse(*how, **more):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert outcome(path)[0] == "capture.cannot-open"


@pytest.mark.parametrize("words", [("check",), ("check", "--follow", "--idle", "0.3")])
@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
def test_the_command_answers_a_bad_file_with_status_2_and_one_line(tmp_path, words, lang):
    path = put(tmp_path, with_sample(float("nan")))
    ran = takeup(*words, path, "--carrier", "cassette", "--lang", lang, "--json")
    assert ran.status == 2 and ran.out == ""
    assert len(ran.err.strip().splitlines()) == 1 and str(path) in ran.err


SMALL = SOUND[: RATE // 10]
SEEDS = {
    "wav": soundfile_bytes(SMALL, RATE, "WAV", "PCM_24"),
    "float": soundfile_bytes(SMALL, RATE, "WAV", "FLOAT"),
    "extensible": soundfile_bytes(SMALL, RATE, "WAVEX", "PCM_16"),
    "rf64": soundfile_bytes(SMALL, RATE, "RF64", "PCM_24"),
    "bw64": bw64(SMALL, RATE),
    "aiff": soundfile_bytes(SMALL, RATE, "AIFF", "PCM_24"),
    "aifc": soundfile_bytes(SMALL, RATE, "AIFF", "FLOAT"),
    "adpcm": soundfile_bytes(SMALL, RATE, "WAV", "IMA_ADPCM"),
    "flac": soundfile_bytes(SMALL, RATE, "FLAC", "PCM_24"),
    "mp3": soundfile_bytes(SMALL, RATE, "MP3", "MPEG_LAYER_III"),
}
HEADS = (
    b"RIFF\x24\0\0\0WAVEfmt ",
    b"RF64\xff\xff\xff\xffWAVEds64",
    b"BW64\xff\xff\xff\xffWAVE",
    b"FORM\0\0\0\0AIFFCOMM",
)
HEADS += (
    b"fLaC",
    b'fLaC\0\0\0"',
    b"ID3\3\0\0\0\0\x0f\x76",
    b"\xff\xfb\x90\x64",
    b"\0\0\0\x20ftypM4A ",
    b"\0\0\0\0mdat",
)
NUMBERS = [0, 1, 2, 255, 65_535, 2**31 - 1, 2**31, 2**32 - 8, 2**32 - 1]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    kind=st.sampled_from(sorted(SEEDS)),
    strokes=st.lists(st.tuples(st.integers(4, 100), st.sampled_from(NUMBERS), st.sampled_from("BHI")), max_size=4),
    cut=st.floats(0, 1),
    cuts=st.booleans(),
    more=st.binary(max_size=40),
    at=st.floats(0, 1),
)
def test_any_damage_to_a_header_gives_a_figure_or_a_sentence(tmp_path, kind, strokes, cut, cuts, more, at):
    raw = bytearray(SEEDS[kind])
    for place, number, width in strokes:
        struct.pack_into("<" + width, raw, place, number % 256 ** struct.calcsize(width))
    place = round(at * len(raw))
    raw[place:place] = more
    path = put(tmp_path, bytes(raw[: round(cut * len(raw))] if cuts else raw))
    what, found = outcome(path)
    if what == "read":
        frames = found.seconds * look_at(path).sound.rate_hz
        assert 0 < frames <= path.stat().st_size * (1152 if kind in ("flac", "mp3") else 2)  # ADPCM: half a byte each


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(head=st.sampled_from(HEADS), seed=st.integers(0, 2**16), length=st.sampled_from([0, 10, 100, 5000, 60_000]))
def test_random_bytes_behind_a_known_beginning_give_a_sentence(tmp_path, head, seed, length):
    what, found = outcome(put(tmp_path, head + np.random.default_rng(seed).bytes(length)))
    assert what != "read" or "ends_early" in [one.name for one in found.findings]


@pytest.mark.parametrize("kind", [*sorted(SEEDS), "m4a"])
def test_a_file_cut_anywhere_gives_a_figure_or_a_sentence(tmp_path, kind):
    if kind == "m4a":
        raw = libav_file(tmp_path / "b.m4a", SMALL, RATE, "alac", "ipod", "s32p").read_bytes()
    else:
        raw = SEEDS[kind]
    rng = np.random.default_rng(2)
    for cut in sorted({*range(0, 100, 7), *rng.integers(0, len(raw), 20).tolist(), len(raw) - 1}):
        what, found = outcome(put(tmp_path, raw[:cut]))
        assert what != "read" or found.seconds <= 0.2
