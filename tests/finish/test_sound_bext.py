"""What a cassette's masters say of themselves after check and finish, read byte by byte by EBU Tech 3285's table."""

import struct
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
import soundfile
from make.captures import captured_box, noise_bursts, put_capture, write_sound
from make.command import takeup

from takeup import __version__
from takeup.media.wave_tags import Bext, continued_history
from takeup.streams import Original

RATE = 48_000
LOUDNESS_AT = 256 + 32 + 32 + 10 + 8 + 8 + 2 + 64  # after texts, time reference, version, UMID


def chunk_of(path: Path, name: bytes) -> bytes:
    """A chunk's body, found by walking the file; written apart from the program's own reader."""
    data, at = path.read_bytes(), 12
    while at < len(data):
        size = struct.unpack_from("<I", data, at + 4)[0]
        if data[at : at + 4] == name:
            return data[at + 8 : at + 8 + size]
        at += 8 + size + size % 2
    raise AssertionError(f"no {name!r}")


def finished(tmp_path, *sides):
    """Check and finish a cassette with these sides; ``check --json`` of each, and each master."""
    box = captured_box(tmp_path / "box", [Original(id="c1", carrier="cassette", label="Choir", keep="master")])
    for letter, samples in zip("ab", sides):
        put_capture(box, "c1", write_sound(tmp_path / f"c1-side-{letter}.wav", samples, RATE), letter)
    checked = takeup("check", box.folder, "--json")
    assert checked.status == 0, checked.err
    answer = takeup("finish", box.folder, "--json", "--even-redo").json
    return checked.json["files"], [Path(one["path"]) for one in answer["made"]]


@pytest.fixture(scope="module")
def cassette(tmp_path_factory):
    rest = 0.001 * np.random.default_rng(4).normal(size=(6 * RATE, 2))
    bursts = (noise_bursts(16, peak, RATE, seed=seed) for peak, seed in ((0.4, 1), (0.05, 2)))
    loud, soft = (np.tile(some, (4, 1)) for some in bursts)  # so that there is a minute: the least for a loudness range
    sides = [np.concatenate([rest, side + 0.001 * side[::-1], rest]) for side in (loud, soft)]
    return finished(tmp_path_factory.mktemp("tape"), *sides)


def test_sides_are_masters_of_their_own(cassette):
    assert [path.name for path in cassette[1]] == ["c1-side-a.wav", "c1-side-b.wav"]


def test_five_loudness_fields_are_the_checks_own_figures(cassette):
    """In hundredths; every figure of the check is told to three places."""
    for report, master in zip(*cassette):
        measures, body = report["measures"], chunk_of(master, b"bext")
        loudness = measures["loudness"]
        told = [loudness["value"], measures["loudness_range"]["value"], measures["true_peak"]["value"]]
        told += [loudness["momentary_max"], loudness["short_term_max"]]
        fields = struct.unpack_from("<5h", body, LOUDNESS_AT)
        assert [abs(field - 100 * value) <= 0.5 + 1e-6 for field, value in zip(fields, told)] == [True] * 5
        assert struct.unpack_from("<H", body, 346) == (2,)


def test_silent_side_sets_no_loudness(tmp_path):
    reports, (master,) = finished(tmp_path, np.zeros((5 * RATE, 2)))
    assert reports[0]["measures"]["loudness"]["value"] is None
    assert chunk_of(master, b"bext")[LOUDNESS_AT : LOUDNESS_AT + 10] == b"\xff\x7f" * 5


def test_coding_history_has_the_form_of_r_98(cassette):
    for letter, master in zip("ab", cassette[1]):
        lines = chunk_of(master, b"bext")[602:].rstrip(b"\0").decode("ascii").split("\r\n")
        assert lines == [
            f"A=ANALOGUE,M=stereo,T=cassette;{letter}", f"A=PCM,F={RATE},W=24,M=stereo,T=takeup {__version__}", "",
        ]  # fmt: skip


def test_time_reference_counts_samples_from_midnight_to_the_beginning(cassette):
    """The made file was last written at 1,800,000,000 s after 1970 and lasts 76 s, so it began 76 s before."""
    begun = datetime.fromtimestamp(1_800_000_000 - 76)
    body = chunk_of(cassette[1][0], b"bext")
    assert body[320:338].decode("ascii") == f"{begun:%Y-%m-%d%H-%M-%S}"
    low, high = struct.unpack_from("<2I", body, 338)
    assert low + (high << 32) == (3600 * begun.hour + 60 * begun.minute + begun.second) * RATE


def test_history_of_the_station_is_not_told_twice():
    ours = "A=ANALOGUE,M=stereo,T=cassette\r\nA=PCM,F=96000,W=24\r\n"
    assert continued_history("", ours) == ours
    assert continued_history(ours, ours) == ours
    assert continued_history("A=ANALOGUE,T=deck 2\r\nA=PCM,T=box", ours) == (
        "A=ANALOGUE,T=deck 2\r\nA=PCM,T=box\r\nA=PCM,F=96000,W=24\r\n"
    )


def test_float_capture_that_was_never_closed_gets_its_right_count(tmp_path):
    """The fact chunk of float samples tells how many frames there are; an unclosed one says 0."""
    from takeup.media.sound_write import write_sound_master

    capture = write_sound(tmp_path / "c.wav", noise_bursts(0.1, 0.5), 48_000, "FLOAT")
    data = bytearray(capture.read_bytes())
    at = data.index(b"fact")
    data[at + 8 : at + 12] = bytes(4)
    place = data.index(b"data") + 4
    data[place : place + 4] = bytes(4)
    capture.write_bytes(data)
    write_sound_master(
        capture, tmp_path / "m.wav", bits=32, bext=Bext(), info={"INAM": "x"}, riff_limit_bytes=2**32 - 1,
        hear=lambda _: None,
    )  # fmt: skip
    assert struct.unpack("<I", chunk_of(tmp_path / "m.wav", b"fact")[:4]) == (4800,)
    assert soundfile.info(tmp_path / "m.wav").frames == 4800
