"""``check`` of ten minutes of 96 kHz / 24-bit stereo against libav's filters, and against decoding and hashing alone.

The issue's figures in real time (500 times for the standard measures, 100 for the full set, on one core) were set on a
machine where libav's graph ran at 117 to 165 times real time; as ratios that is 3.5 and 0.7 of it.
"""

from __future__ import annotations

import hashlib
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

RATE, SECONDS = 96_000, 600
STANDARD, FULL = 3.5, 0.7  # of libav's graph, in processor time
SHARE = 0.25  # of the speed of decoding and hashing
FILTERS = (("ebur128", "peak=true"), ("astats", ""), ("silencedetect", "noise=-60dB:d=0.5"))
CHECK = """
import sys
from takeup.tasks.check import check_file
from takeup.tasks.checking import Asked
from takeup.streams import Original
from pathlib import Path
check_file(Path(sys.argv[1]), Asked(original=Original(id="t1", carrier="cassette")))
"""
REFERENCE = """
import sys
from bench.sound import libav_graph
libav_graph(sys.argv[1])
"""


def make_file(path: Path) -> None:
    """Bursts of noise in hiss, seeded; ten minutes in pieces of ten seconds."""
    import soundfile

    rng = np.random.default_rng(6)
    with soundfile.SoundFile(path, "w", RATE, 2, "PCM_24") as file:
        for _ in range(SECONDS // 10):
            common = np.cumsum(rng.standard_normal((10 * RATE, 1)), axis=0)
            common = np.diff(common, n=1, axis=0, prepend=0) + 0.02 * rng.standard_normal((10 * RATE, 2))
            envelope = np.repeat(rng.uniform(0, 1, 100) ** 3, RATE // 10)[:, None]
            file.write(0.12 * envelope * common + 1e-3 * rng.standard_normal((10 * RATE, 2)))


def libav_graph(path: str) -> None:
    """Read a file through the reference filters."""
    import av
    from av.filter import Graph

    with av.open(path) as container:
        stream = container.streams.audio[0]
        graph = Graph()
        nodes = [graph.add_abuffer(template=stream)]
        nodes += [graph.add(name, arguments) for name, arguments in FILTERS]
        nodes.append(graph.add("abuffersink"))
        graph.link_nodes(*nodes).configure()
        for frame in container.decode(stream):
            graph.push(frame)
            _pull(graph)
        graph.push(None)
        _pull(graph)


def _pull(graph) -> None:  # noqa: ANN001
    import av

    while True:
        try:
            graph.pull()
        except (av.BlockingIOError, av.EOFError):
            return


def decode_and_hash(path: str) -> None:
    """What nobody can do without: every sample once, every byte once."""
    import av

    with Path(path).open("rb") as file:
        hashlib.file_digest(file, "sha256")
    with av.open(path) as container:
        for _ in container.decode(audio=0):
            pass


def hear(path: Path, *, standard: bool) -> None:
    """The walk itself; without dropouts, reel law and traces of lossy coding when ``standard``."""
    from takeup.media.probe import look_at
    from takeup.media.sound import read_sound
    from takeup.streams import Original
    from takeup.tables.loader import load_rows
    from takeup.tasks.checking import Asked
    from takeup.tasks.sound_loops import quick_loops
    from takeup.tasks.sound_pass import SoundPass

    capture = look_at(path)
    asked = Asked(original=Original(id="t1", carrier="cassette"))
    walk = SoundPass(capture.sound, asked, load_rows(), of_picture=standard)
    for block in read_sound(path, capture, quick_24=quick_loops().unpack_24):
        walk.hear(block)
    walk.finish()


def run() -> list[dict]:
    """The ratios in processor time and as whole commands with their start-up; the peak of memory; the first start."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ten.wav"
        make_file(path)
        hear(path, standard=True)
        standard = min(_worked(lambda: hear(path, standard=True)) for _ in range(3))
        full = min(_worked(lambda: hear(path, standard=False)) for _ in range(3))
        libav = min(_worked(lambda: libav_graph(str(path))) for _ in range(2))
        plain = min(_worked(lambda: decode_and_hash(str(path))) for _ in range(3))
        ours_whole = min(_timed(lambda: _command(CHECK, path)) for _ in range(3))
        theirs_whole = min(_timed(lambda: _command(REFERENCE, path)) for _ in range(2))
        memory = _peak_mb(path)
    return [
        _ratio("standard measures, processor time", "libav", libav, standard, STANDARD),
        _ratio("standard measures, processor time", "decode and hash", plain, standard, SHARE),
        _ratio("full set, processor time", "libav", libav, full, FULL),
        _ratio("check as a whole command, start-up included", "libav", theirs_whole, ours_whole, 2 * FULL),
        {
            "name": "peak memory",
            "ratio": memory / 400,
            "wanted": "at most 1",
            "met": memory <= 400,
            "detail": f"{memory:.0f} MB of 400 MB",
        },
    ]


def _ratio(name: str, whose: str, theirs: float, ours: float, wanted: float) -> dict:
    detail = f"{whose} {theirs:.2f} s, takeup {ours:.2f} s ({SECONDS / ours:.0f} times real time)"
    ratio = {"name": f"{name}, against {whose}", "ratio": theirs / ours, "met": theirs / ours >= wanted}
    return ratio | {"wanted": f"at least {wanted:g}", "detail": detail}


def _worked(work) -> float:  # noqa: ANN001
    began = time.process_time()
    work()
    return time.process_time() - began


def _timed(work) -> float:  # noqa: ANN001
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def _command(code: str, path: Path) -> None:
    subprocess.run([sys.executable, "-c", code, str(path)], check=True)


def _peak_mb(path: Path) -> float:
    code = CHECK + "\nimport resource; print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
    done = subprocess.run([sys.executable, "-c", code, str(path)], check=True, capture_output=True, text=True)
    return float(done.stdout.split()[-1])
