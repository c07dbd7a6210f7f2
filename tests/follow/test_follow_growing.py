"""``check --follow`` on files that are really growing: the same findings in the end as checking the finished file."""

import hashlib
import json
import subprocess
import sys
import threading
import time
from fractions import Fraction

import numpy as np
import pytest
from make.command import takeup
from make.tiny import sound_samples, write_moving, write_wav


def follow(path, carrier, idle="1.5"):
    return subprocess.Popen(
        [sys.executable, "-m", "takeup", "check", "--follow", str(path), "--carrier", carrier, "--idle", idle],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def grow(path, data, *, piece, pause_s):
    """Write a file the way a capture program does: pieces, flushed, with pauses."""

    def write():
        with path.open("wb") as file:
            for at in range(0, len(data), piece):
                file.write(data[at : at + piece])
                file.flush()
                time.sleep(pause_s)

    thread = threading.Thread(target=write)
    thread.start()
    return thread


def followed(path, data, carrier, *, piece, pause_s):
    thread = grow(path, data, piece=piece, pause_s=pause_s)
    return told(begun(path, carrier), thread)


def begun(path, carrier):
    """The following of a file, as soon as there is one."""
    while not path.exists():
        time.sleep(0.01)
    return follow(path, carrier)


def told(process, thread):
    """Every event in the end."""
    out, err = process.communicate(timeout=120)
    thread.join()
    assert process.returncode == 0, err
    return [json.loads(line) for line in out.splitlines()]


def bad(events):
    """The look and redo findings as they stand in the end: the last word for each name and start."""
    last = {(event["name"], event.get("from_s")): event for event in events if event["event"] == "finding"}
    return sorted(
        (name, event["verdict"], event.get("from_s"), event.get("to_s"))
        for (name, _), event in last.items()
        if event["verdict"] != "good"
    )  # fmt: skip


def checked(path, carrier):
    """The same bytes are checked once, however they grew."""
    known = (hashlib.sha256(path.read_bytes()).digest(), carrier)
    if known not in CHECKED:
        CHECKED[known] = checked_now(path, carrier)
    return CHECKED[known]


CHECKED: dict[tuple[bytes, str], tuple] = {}


def checked_now(path, carrier):
    answer = takeup("check", path, "--carrier", carrier, "--json").json
    found = sorted(
        (finding["name"], finding["verdict"], finding.get("from_s"), finding.get("to_s"))
        for finding in answer["findings"]
        if finding["verdict"] != "good"
    )
    return found, answer["verdict"], answer["seconds"]


def clipped_sound():
    samples = sound_samples(8.0)
    samples[2 * 48000 : 5 * 48000] = np.clip(samples[2 * 48000 : 5 * 48000] * 6, -1, 1)
    return samples


HEADERS, PIECES = ("final", "zero", "all ones"), (7919, 262_144)


@pytest.fixture(scope="module")
def grown(tmp_path_factory):
    """Captures that grew beside each other for four seconds, each followed: the file and what was told of it."""
    folder = tmp_path_factory.mktemp("growing")
    whole = write_wav(folder / "whole.wav", clipped_sound(), bits=24).read_bytes()
    at, running = whole.index(b"data") + 4, {}
    for header in HEADERS:
        size = {"final": whole[at : at + 4], "zero": bytes(4), "all ones": b"\xff" * 4}[header]
        data = whole[:at] + size + whole[at + 4 :]
        for piece in PIECES:
            path = folder / f"{header} {piece}.wav"
            thread = grow(path, data, piece=piece, pause_s=piece / len(data) * 4)
            running[header, piece] = path, thread, begun(path, "cassette")
    return {way: (path, told(process, thread)) for way, (path, thread, process) in running.items()}


@pytest.mark.parametrize("header", HEADERS)
@pytest.mark.parametrize("piece", PIECES)
def test_follow_growing_wav_ends_like_check(grown, header, piece):
    growing, events = grown[header, piece]
    found, verdict, seconds = checked(growing, "cassette")
    assert events[-1]["event"] == "end" and events[-1]["verdict"] == verdict
    assert events[-1]["seconds"] == pytest.approx(seconds)
    assert bad(events) == found and "clipping" in {name for name, *_ in found}
    assert [event for event in events if event["event"] == "progress"]


def test_follow_growing_video_ends_like_check(tmp_path):
    whole = write_moving(tmp_path / "whole.mkv", 60, Fraction(25), sound=sound_samples(2.4)).read_bytes()
    growing = tmp_path / "growing.mkv"
    events = followed(growing, whole, "vhs", piece=200_000, pause_s=0.02)
    found, verdict, _ = checked(growing, "vhs")
    assert bad(events) == found and events[-1]["verdict"] == verdict


def test_follow_mp4_says_that_it_cannot_look_inside(tmp_path):
    whole = write_moving(
        tmp_path / "whole.mp4", 30, Fraction(30), size=(640, 480), codec="libx264", pixels="yuv420p"
    ).read_bytes()
    growing = tmp_path / "growing.mp4"
    events = followed(growing, whole, "super8", piece=60_000, pause_s=0.05)
    assert events[0]["event"] == "progress" and events[0]["why"].strip()
    assert events[-1]["event"] == "end"


def test_follow_file_that_never_comes_is_said(tmp_path):
    process = follow(tmp_path / "never.wav", "cassette", idle="0.5")
    out, err = process.communicate(timeout=60)
    assert process.returncode == 2 and out == "" and len(err.strip().splitlines()) == 1
