"""Files as stations leave them: closed, never closed, cut, growing, mislabelled, coded. Headers are altered by hand."""

from __future__ import annotations

import struct
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from make.sound import hiss, side, talk, tone, write

from sound.test_sound_findings import RATE, check, said
from takeup.errors import Unreadable
from takeup.media.probe import look_at
from takeup.media.sound import read_ahead, read_sound
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check_sound import check_sound
from takeup.tasks.checking import Asked, Heard


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> bytes:
    rng = np.random.default_rng(1)
    return write(tmp_path_factory.mktemp("sound") / "a.wav", side(talk(rng, 8), rng)).read_bytes()


def data_at(raw: bytes) -> int:
    return raw.index(b"data") + 8


def with_size(raw: bytes, size: int) -> bytes:
    at = data_at(raw)
    return raw[: at - 4] + struct.pack("<I", size) + raw[at:]


def put(folder: Path, raw: bytes, name: str = "b.wav") -> Path:
    path = folder / name
    path.write_bytes(raw)
    return path


def samples_of(path: Path, **how) -> np.ndarray:
    return np.concatenate(list(read_sound(path, look_at(path), **how)))


@pytest.mark.parametrize(
    "form, subtype",
    [("WAV", "PCM_U8"), ("WAV", "PCM_16"), ("WAV", "PCM_24"), ("WAV", "PCM_32"), ("WAV", "FLOAT"), ("WAV", "DOUBLE")]
    + [("RF64", "PCM_24"), ("WAVEX", "PCM_16"), ("AIFF", "PCM_S8"), ("AIFF", "PCM_16"), ("AIFF", "PCM_24")]
    + [("AIFF", "FLOAT"), ("FLAC", "PCM_16"), ("FLAC", "PCM_24"), ("WAV", "ULAW"), ("WAV", "IMA_ADPCM")],
)
@pytest.mark.parametrize("channels", [1, 2])
def test_samples_are_those_of_an_independent_reader(tmp_path, form, subtype, channels):
    import soundfile

    noise = np.random.default_rng(2).uniform(-0.9, 0.9, (30_001, channels))
    path = write(tmp_path / "a", noise, 44_100, subtype, form)
    wanted = soundfile.read(path, always_2d=True)[0]
    assert samples_of(path) == pytest.approx(wanted, abs=4e-8)


@pytest.mark.parametrize("size", [0, 0xFFFFFFFF, 0x7FFFF000, 4096])
def test_a_header_never_closed_is_read_as_far_as_it_goes(tmp_path, whole, size):
    path = put(tmp_path, with_size(whole, size))
    capture = look_at(path)
    assert capture.unclosed and capture.notes == ("sound.unclosed",)
    report = check(path)
    assert report.seconds == pytest.approx(21.0) and report.verdict == "good"


def test_an_rf64_header_never_closed(tmp_path):
    rng = np.random.default_rng(3)
    raw = write(tmp_path / "a", side(talk(rng, 8), rng), form="RF64").read_bytes()
    at = raw.index(b"ds64") + 8
    path = put(tmp_path, raw[: at + 8] + b"\xff" * 8 + raw[at + 16 :])
    assert look_at(path).unclosed
    assert check(path).seconds == pytest.approx(21.0)


def test_a_file_shorter_than_its_header_is_incomplete(tmp_path, whole):
    report = check(put(tmp_path, whole[: len(whole) // 2]))
    assert report.verdict == "redo" and said(report) == ["ends_early.cut-file"]
    assert report.seconds == pytest.approx(10.5, abs=0.01)


@pytest.mark.parametrize("form, subtype", [("FLAC", "PCM_24"), ("MP3", "MPEG_LAYER_III"), ("AIFF", "PCM_24")])
def test_a_cut_file_of_another_kind_gives_what_it_has(tmp_path, form, subtype):
    rng = np.random.default_rng(4)
    raw = write(tmp_path / "a", side(talk(rng, 12), rng), subtype=subtype, form=form).read_bytes()
    report = check(put(tmp_path, raw[: len(raw) // 2], "b"))
    assert report.verdict == "redo" and "ends_early.cut-file" in said(report)  # and that MP3 is lossy
    assert 8 < report.seconds < 16


def test_what_follows_the_samples_is_not_sound(tmp_path, whole):
    path = put(tmp_path, whole + b"LIST" + struct.pack("<I", 4) + b"INFO")
    assert len(samples_of(path)) == 21 * RATE


def test_an_odd_chunk_before_the_samples_is_stepped_over(tmp_path, whole):
    path = put(tmp_path, whole[:12] + b"junk" + struct.pack("<I", 3) + b"abc\0" + whole[12:])
    assert len(samples_of(path)) == 21 * RATE


@pytest.mark.parametrize("cut, fault", [(12, "sound.unfinished"), (20, "sound.unfinished"), (None, "sound.no-samples")])
def test_a_header_without_sound_is_told_plainly(tmp_path, whole, cut, fault):
    path = put(tmp_path, whole[: cut or data_at(whole)])
    with pytest.raises(Unreadable) as told:
        check(path)
    assert told.value.key == fault


@pytest.mark.parametrize("size", [0, 0xFFFFFFFF, None])
@pytest.mark.parametrize("step", [1000, 190_001])
def test_a_growing_wav_gives_every_sample(tmp_path, whole, size, step):
    raw = whole if size is None else with_size(whole, size)
    raw = raw[: data_at(raw) + RATE * 6] if step == 1000 else raw
    path = put(tmp_path, raw[: max(step, 400)])
    heard = _while_growing(path, raw, max(step, 400), lambda: samples_of(path, idle_s=0.5))
    assert len(heard) == (len(raw) - data_at(raw)) // 6


def test_a_growing_wav_that_is_closed_with_text_behind_it(tmp_path, whole):
    """The text chunk is written before the size is: none of it may be heard."""
    text = b"LIST" + struct.pack("<I", 100) + b"x" * 100
    raw = with_size(whole, 0) + text
    path = put(tmp_path, raw[:100_000])

    def close() -> None:
        with path.open("r+b") as file:
            file.seek(data_at(whole) - 4)
            file.write(struct.pack("<I", len(whole) - data_at(whole)))

    heard = _while_growing(path, raw, 150_000, lambda: samples_of(path, idle_s=0.5), close)
    assert len(heard) == 21 * RATE


@pytest.mark.parametrize("form, subtype", [("FLAC", "PCM_16"), ("MP3", "MPEG_LAYER_III")])
def test_a_growing_coded_file_gives_every_sample(tmp_path, form, subtype):
    rng = np.random.default_rng(5)
    full = write(tmp_path / "a", hiss(rng, -30, 5 * RATE), subtype=subtype, form=form)
    raw, wanted = full.read_bytes(), len(samples_of(full))
    path = put(tmp_path, raw[: len(raw) // 4], "b")
    heard = _while_growing(path, raw, len(raw) // 4, lambda: samples_of(path, idle_s=0.6))
    assert abs(len(heard) - wanted) <= 1152


def test_following_tells_clipping_while_it_lasts_and_the_same_in_the_end(tmp_path):
    rng = np.random.default_rng(6)
    samples = side(talk(rng, 20), rng, programme_dbfs=-30)
    samples[8 * RATE : 9 * RATE] = np.clip(tone(300, 6, 1), -1, 1)
    raw = write(tmp_path / "a", samples).read_bytes()
    path = put(tmp_path, with_size(raw, 0)[:400_000])
    told: list[Heard] = []
    asked = Asked(original=Original(id="t1", carrier="cassette"), idle_s=0.5, hear=told.append)
    followed = _while_growing(
        path, with_size(raw, 0), 400_000, lambda: check_sound(path, look_at(path), asked, load_rows())
    )
    live = [finding for heard in told for finding in heard.findings if finding.to_s is not None]
    finished = [finding for finding in followed.findings if finding.name == "clipping"]
    assert finished and set(map(str, live)) <= set(map(str, finished))
    assert any(heard.findings and heard.seconds < 31 for heard in told)
    assert [str(one) for one in check(path).findings] == [str(one) for one in followed.findings]
    assert set(told[-1].levels) >= {"left_dbfs", "right_dbfs", "peak_dbfs"}


def test_a_fault_of_the_reader_reaches_who_asked():
    def breaks():
        yield np.zeros((10, 2), np.float32)
        raise Unreadable("capture.broken", path="a", error="b")

    blocks = read_ahead(breaks())
    assert len(next(blocks)) == 10
    with pytest.raises(Unreadable):
        next(blocks)


def test_stopping_early_lets_the_reader_go():
    blocks = read_ahead(np.zeros((10, 2), np.float32) for _ in range(1000))
    next(blocks)
    blocks.close()
    assert not any(thread.name == "read-ahead" for thread in threading.enumerate())


def _while_growing(path: Path, raw: bytes, step: int, work, close=None):
    def grow() -> None:
        with path.open("ab", buffering=0) as file:
            for start in range(path.stat().st_size, len(raw), step):
                file.write(raw[start : start + step])
                time.sleep(0.004)
        if close:
            close()

    writer = threading.Thread(target=grow)
    writer.start()
    try:
        return work()
    finally:
        writer.join()
