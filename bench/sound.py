"""``check`` of ten minutes of 96 kHz / 24-bit stereo against libav's loudness, peak, statistics, silence filters."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

RATE, SECONDS, WANTED = 96_000, 600, 4.0
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


def run() -> list[dict]:
    """The ratios: in process (compiled, warm), and as whole commands with their start-up; and the peak of memory."""
    from takeup.streams import Original
    from takeup.tasks.check import check_file
    from takeup.tasks.checking import Asked

    asked = Asked(original=Original(id="t1", carrier="cassette"))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ten.wav"
        make_file(path)
        check_file(path, asked)
        ours = min(_timed(lambda: check_file(path, asked)) for _ in range(3))
        theirs = min(_timed(lambda: libav_graph(str(path))) for _ in range(2))
        ours_whole = min(_timed(lambda: _command(CHECK, path)) for _ in range(3))
        theirs_whole = min(_timed(lambda: _command(REFERENCE, path)) for _ in range(2))
        memory = _peak_mb(path)
    return [
        _ratio("check in process", theirs, ours),
        _ratio("check as a whole command, start-up included", theirs_whole, ours_whole),
        {
            "name": "peak memory",
            "ratio": memory / 300,
            "wanted": "at most 1",
            "met": memory <= 300,
            "detail": f"{memory:.0f} MB of 300 MB",
        },
    ]


def _ratio(name: str, theirs: float, ours: float) -> dict:
    detail = f"libav {theirs:.2f} s, takeup {ours:.2f} s ({SECONDS / ours:.0f} times real time)"
    return {"name": name, "ratio": theirs / ours, "wanted": f"at least {WANTED:g}", "met": theirs / ours >= WANTED} | {
        "detail": detail
    }


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
