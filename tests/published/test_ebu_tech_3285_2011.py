"""EBU Tech 3285 version 2, the ``bext`` chunk: places and widths of its fields.

By the list in the check values (V2: two public field lists agree; the document itself was not seen). Offsets are added
up here by hand from those widths.
"""

import struct

import av
import numpy as np
import pytest
from make.captures import write_sound

from takeup.media.sound_write import write_sound_master
from takeup.media.wave_file import read_chunk, read_wave
from takeup.media.wave_tags import Bext, plain, unpack_bext

FULL = Bext(
    description="t1: New Year",
    originator="Port Ellery Library",
    originator_reference="t1-side-a-0badcafe",
    origination_date="2027-03-02",
    origination_time="10-20-30",
    time_reference=2**33 + 5,
    umid=bytes(range(64)),
    loudness=-23.06,
    loudness_range=7.5,
    max_true_peak=-1.25,
    max_momentary=-18.0,
    max_short_term=-20.0,
    coding_history="A=ANALOGUE\r\nA=PCM\r\n",
)
FIELDS = [  # width in bytes, value as it is to stand there
    (256, b"t1: New Year".ljust(256, b"\0")),
    (32, b"Port Ellery Library".ljust(32, b"\0")),
    (32, b"t1-side-a-0badcafe".ljust(32, b"\0")),
    (10, b"2027-03-02"),
    (8, b"10-20-30"),
    (4, struct.pack("<I", 5)),  # 2**33 + 5: low word, then high word
    (4, struct.pack("<I", 2)),
    (2, struct.pack("<H", 2)),
    (64, bytes(range(64))),
    (2, struct.pack("<h", -2306)),  # hundredths
    (2, struct.pack("<h", 750)),
    (2, struct.pack("<h", -125)),
    (2, struct.pack("<h", -1800)),
    (2, struct.pack("<h", -2000)),
    (180, bytes(180)),
]


def test_fixed_part_is_602_bytes():
    assert sum(width for width, _ in FIELDS) == 602 and len(Bext().pack()) == 602


def test_every_field_stands_in_its_place():
    body, at = FULL.pack(), 0
    for width, value in FIELDS:
        assert body[at : at + width] == value
        at += width
    assert body[at:] == b"A=ANALOGUE\r\nA=PCM\r\n"


def test_what_is_written_is_read():
    assert unpack_bext(FULL.pack()) == FULL


def test_loudness_that_is_not_known_says_so():
    """0x7FFF is "not set" (M: from memory in the check values)."""
    assert Bext().pack()[412:422] == b"\xff\x7f" * 5
    assert unpack_bext(Bext().pack()).loudness is None


@pytest.mark.parametrize(("value", "stands"), [(99.99, 9999), (-99.99, -9999), (100.0, 0x7FFF), (-120.5, 0x7FFF)])
def test_loudness_beyond_what_the_field_holds_is_not_set(value, stands):
    """Beyond +-99.99 a field says nothing (M: from memory)."""
    assert struct.unpack_from("<h", Bext(loudness=value).pack(), 412) == (stands,)


def test_version_1_carries_no_loudness():
    body = bytearray(FULL.pack())
    body[346:348] = struct.pack("<H", 1)
    assert unpack_bext(bytes(body)).loudness is None and unpack_bext(bytes(body)).umid == FULL.umid


def test_text_is_ascii():
    assert plain("Café 外婆") == b"Cafe ??"


@pytest.mark.parametrize("history", ["A=PCM\r\n", "A=PCM,F=96000\r\n"])  # an odd and an even length
def test_a_file_with_it_is_read_by_libav(tmp_path, history):
    capture = write_sound(tmp_path / "c.wav", np.zeros((101, 1)), 48000)
    write_sound_master(
        capture,
        tmp_path / "m.wav",
        bits=24,
        bext=Bext(description="t1: a song", origination_date="2027-03-02", coding_history=history),
        info={},
        riff_limit_bytes=2**32 - 1,
        hear=lambda _: None,
    )
    wave = read_wave(tmp_path / "m.wav")
    chunk = next(chunk for chunk in wave.chunks if chunk.name == b"bext")
    assert chunk.size == 602 + len(history) + len(history) % 2  # with a closing NUL: see test_sound_long_masters.py
    assert unpack_bext(read_chunk(tmp_path / "m.wav", chunk)).coding_history == history
    with av.open(str(tmp_path / "m.wav")) as container:
        assert container.metadata["comment"] == "t1: a song" and container.metadata["coding_history"] == history
        assert container.metadata["date"] == "2027-03-02"
