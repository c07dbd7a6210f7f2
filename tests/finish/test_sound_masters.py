"""Sound masters hold the capture's very samples: read back by libsndfile and by libav, neither of which wrote them."""

import struct

import av
import numpy as np
import pytest
import soundfile
from make.captures import noise_bursts, whole_numbers, write_sound

from takeup.errors import CopyDiffers
from takeup.media import sound_write
from takeup.media.sound_write import write_sound_master
from takeup.media.wave_file import read_chunk, read_wave
from takeup.media.wave_tags import Bext, unpack_bext, unpack_info

LIMIT = 2**32 - 1


def master(capture, target, *, bits=24, limit=LIMIT, info=None, bext=None):
    bext = bext or Bext(description="t1: a song", coding_history="A=PCM,F=96000,W=24\r\n")
    return write_sound_master(
        capture,
        target,
        bits=bits,
        bext=bext,
        info=info or {"INAM": "外婆的歌"},
        riff_limit_bytes=limit,
        hear=lambda _: None,
    )


def by_libav(path):
    with av.open(str(path)) as container:
        frames = [frame.to_ndarray() for frame in container.decode(audio=0)]
    return np.concatenate([frame.reshape(-1, 2) for frame in frames])


@pytest.mark.parametrize(
    ("ending", "form", "bits"),
    [("wav", "WAV", 24), ("wav", "WAV", 16), ("wav", "WAV", 32), ("wav", "RF64", 24), ("wav", "WAVEX", 24),
     ("flac", "FLAC", 24), ("flac", "FLAC", 16), ("aiff", "AIFF", 24), ("aiff", "AIFF", 16)],
)  # fmt: skip
def test_master_every_bit_pattern_comes_back(tmp_path, ending, form, bits):
    samples = whole_numbers(30_011, bits=bits)
    capture = write_sound(tmp_path / f"c.{ending}", samples, 96000, f"PCM_{bits}", form)
    made = master(capture, tmp_path / "m.wav", bits=bits)
    back, rate = soundfile.read(tmp_path / "m.wav", dtype="int32")
    assert rate == made.rate_hz == 96000 and made.bits == bits and made.was_closed
    assert np.array_equal(back, samples)
    wide = by_libav(tmp_path / "m.wav")
    assert np.array_equal(wide.astype(np.int64) << (32 - 8 * wide.dtype.itemsize), samples)


@pytest.mark.parametrize(
    ("ending", "subtype"), [("wav", "FLOAT"), ("aiff", "FLOAT"), ("wav", "DOUBLE"), ("aiff", "PCM_S8")]
)
def test_master_other_number_forms_come_back(tmp_path, ending, subtype):
    samples = np.random.default_rng(1).uniform(-1.3, 1.3, (4801, 1)).clip(-1 if "8" in subtype else -9, 0.99)
    capture = write_sound(tmp_path / f"c.{ending}", samples, 44100, subtype)
    master(capture, tmp_path / "m.wav", bits=8)
    kind = "float64" if subtype == "DOUBLE" else "float32"
    assert np.array_equal(soundfile.read(tmp_path / "m.wav", dtype=kind)[0], soundfile.read(capture, dtype=kind)[0])


@pytest.mark.parametrize("size", [0, 0xFFFFFFFF, 2**31])
def test_master_header_never_closed_is_closed_in_the_master(tmp_path, size):
    samples = whole_numbers(20_000)
    capture = write_sound(tmp_path / "c.wav", samples, 96000)
    data = bytearray(capture.read_bytes())
    at = data.find(b"data")
    data[at + 4 : at + 8] = struct.pack("<I", size)
    data[4:8] = b"\0\0\0\0"
    capture.write_bytes(bytes(data[:-4]))  # and the last sample frame is cut through
    made = master(capture, tmp_path / "m.wav")
    back, _ = soundfile.read(tmp_path / "m.wav", dtype="int32")
    assert not made.was_closed and np.array_equal(back, samples[:-1])


def test_master_past_the_limit_of_riff_becomes_rf64(tmp_path):
    samples = whole_numbers(20_000)
    capture = write_sound(tmp_path / "c.wav", samples, 96000)
    master(capture, tmp_path / "m.wav", limit=50_000)
    assert (tmp_path / "m.wav").read_bytes()[:4] == b"RF64"
    assert np.array_equal(soundfile.read(tmp_path / "m.wav", dtype="int32")[0], samples)
    assert len(by_libav(tmp_path / "m.wav")) == 20_000
    again = tmp_path / "again.wav"
    master(tmp_path / "m.wav", again)
    assert np.array_equal(soundfile.read(again, dtype="int32")[0], samples)


def test_master_keeps_the_stations_own_chunks_and_history(tmp_path):
    capture = write_sound(tmp_path / "c.wav", whole_numbers(1001), 48000)
    own = Bext(
        origination_date="2027-01-05", origination_time="10-00-00", time_reference=7, umid=b"u" * 64,
        coding_history="A=ANALOGUE,T=deck 2\r\n",
    )  # fmt: skip
    parts = [(b"bext", own.pack()), (b"iXML", b"<x/>")]
    tail = b"".join(name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2) for name, body in parts)
    data = capture.read_bytes() + tail
    capture.write_bytes(data[:4] + struct.pack("<I", len(data) - 8) + data[8:])
    master(capture, tmp_path / "m.wav")
    wave = read_wave(tmp_path / "m.wav")
    chunks = {chunk.name: read_chunk(tmp_path / "m.wav", chunk) for chunk in wave.chunks if chunk.name != b"data"}
    bext = unpack_bext(chunks[b"bext"])
    assert bext.coding_history == "A=ANALOGUE,T=deck 2\r\nA=PCM,F=96000,W=24\r\n"
    assert (bext.origination_date, bext.time_reference, bext.umid) == ("2027-01-05", 7, b"u" * 64)
    assert bext.description == "t1: a song" and chunks[b"iXML"] == b"<x/>"
    assert unpack_info(chunks[b"LIST"])["INAM"] == "外婆的歌"
    assert [chunk.name for chunk in wave.chunks].count(b"bext") == 1


def test_master_flac_that_breaks_off_gives_what_came_before(tmp_path):
    capture = write_sound(tmp_path / "c.flac", noise_bursts(4, 0.5), 48000, "PCM_24")
    capture.write_bytes(capture.read_bytes()[: capture.stat().st_size // 2])
    made = master(capture, tmp_path / "m.wav")
    back, whole = soundfile.read(tmp_path / "m.wav", dtype="int32")[0], noise_bursts(4, 0.5)
    assert 48_000 < len(back) < 150_000
    assert np.abs(back / 2**31 - whole[: len(back)]).max() < 2**-22
    assert made.sample_bytes == len(back) * 6


def test_master_that_differs_is_refused(tmp_path, monkeypatch):
    capture = write_sound(tmp_path / "c.flac", whole_numbers(5000), 48000)
    honest = sound_write._narrowed
    monkeypatch.setattr(sound_write, "_narrowed", lambda block, *widths: bytes(1) + honest(block, *widths)[1:])
    with pytest.raises(CopyDiffers):
        master(capture, tmp_path / "m.wav")
