"""A master past 4 GB: its real header, read by libsndfile and libav. Its silence is left out of the disk as a hole."""

import io
import struct
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile
from make.captures import whole_numbers, write_sound

from takeup.media.sound_write import write_sound_master
from takeup.media.wave_file import pcm_format, read_chunk, read_wave, write_wave
from takeup.media.wave_tags import Bext

RATE, FRAME = 96_000, 6  # 24 bit stereo
STEP_FRAMES = 1 << 19
STEPS = 1400  # 7646 s: 4.4 GB
MARK = np.array([[1234567, -1234567], [-8388608, 8388607]], dtype="<i4")


class Holed(io.FileIO):
    """A file in which long silence takes no room."""

    def write(self, data):
        if len(data) > 1 << 20 and not np.frombuffer(data, np.uint8).any():
            self.seek(len(data), 1)
            return len(data)
        return super().write(data)


class HoledPath(type(Path())):
    def open(self, mode="r", *_, **__):
        return Holed(str(self), mode.replace("b", ""))


def packed(frames):
    return frames.astype("<i4").view(np.uint8).reshape(-1, 4)[:, :3].tobytes()


@pytest.mark.parametrize("length", [2, 3])
@pytest.mark.parametrize("limit", [2**32 - 1, 10_000])
def test_master_with_chunks_of_odd_length_is_read_in_both_forms(tmp_path, length, limit):
    """libsndfile 1.2.2 finds no samples in RF64 behind an odd chunk, so none stands before them."""
    samples = whole_numbers(3001)
    capture = write_sound(tmp_path / "c.wav", samples, RATE)
    data = capture.read_bytes()
    own = b"iXML" + struct.pack("<I", length) + b"<x>"[:length] + b"\0" * (length % 2)
    capture.write_bytes(data[:4] + struct.pack("<I", len(data) + len(own) - 8) + data[8:12] + own + data[12:])
    history = "A=PCM,F=96000" + "," * length  # odd once, even once
    write_sound_master(
        capture, tmp_path / "m.wav", bits=24, bext=Bext(coding_history=history + "\r\n"), info={"INAM": "a song"},
        riff_limit_bytes=limit, hear=lambda _: None,
    )  # fmt: skip
    assert (tmp_path / "m.wav").read_bytes()[:4] == (b"RIFF" if limit > 10_000 else b"RF64")
    with soundfile.SoundFile(tmp_path / "m.wav") as file:
        assert np.array_equal(file.read(dtype="int32"), samples) and file.title == "a song"
    with av.open(str(tmp_path / "m.wav")) as container:
        assert sum(frame.samples for frame in container.decode(audio=0)) == 3001
        assert container.metadata["title"] == "a song" and container.metadata["coding_history"] == history + "\r\n"
    chunks = {chunk.name: chunk for chunk in read_wave(tmp_path / "m.wav").chunks}
    assert read_chunk(tmp_path / "m.wav", chunks[b"iXML"]) == b"<x>"[:length]


def test_master_of_two_hours_at_96_khz_is_read_to_its_last_sample(tmp_path):
    """1400 * 2^19 frames of 6 bytes, and four more: 4,404,019,224 bytes of samples; 2^32 is 4,294,967,296."""
    path, silence = tmp_path / "long.wav", bytes(STEP_FRAMES * FRAME)
    blocks = [packed(MARK), *(silence for _ in range(STEPS)), packed(MARK)]
    written, _ = write_wave(
        HoledPath(path), pcm_format(RATE, 2, 24), blocks,
        before=[(b"bext", bytes(640))], after=[(b"LIST", b"INFOINAM" + struct.pack("<I", 3) + b"ab\0\0")],
        riff_limit_bytes=2**32 - 1,
    )  # fmt: skip
    frames = STEPS * STEP_FRAMES + 4
    assert written == frames * FRAME == 4_404_019_224 > 2**32
    assert path.stat().st_blocks * 512 < 50e6, "the hole was written to the disk"
    with path.open("rb") as file:
        head = file.read(48)
    assert (head[:4], head[8:16]) == (b"RF64", b"WAVEds64") and head[4:8] == b"\xff\xff\xff\xff"
    riff, data, count = struct.unpack_from("<QQQ", head, 20)
    assert (riff, data, count) == (path.stat().st_size - 8, written, frames)
    assert read_wave(path).data.size == written and read_wave(path).closed
    with soundfile.SoundFile(path) as file:
        assert file.frames == frames
        file.seek(frames - 2)
        assert np.array_equal(file.read(dtype="int32"), MARK << 8)
    with av.open(str(path)) as container:
        stream = container.streams.audio[0]
        assert stream.duration == frames
        container.seek(int((frames - 100) / RATE / stream.time_base), stream=stream)
        tail = np.concatenate([frame.to_ndarray().reshape(-1, 2) for frame in container.decode(audio=0)])
    assert np.array_equal(tail[-2:], MARK << 8)
