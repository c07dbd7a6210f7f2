"""How fast a video is checked: against libav's own filters, its decoding and the clock; and what memory it takes."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))

SCENE = 60  # pictures that are rendered; files repeat them
PICTURES = 300  # ten seconds
MOST_MB = 600
NTSC = Fraction(30000, 1001)
SHM = Path("/dev/shm")
ONE_CHECK = (  # its own high water: what getrusage tells of a new process may be its parent's
    "import sys; sys.path.insert(0, 'tests')\n"
    "from pathlib import Path; from make.video_check import check; check(Path(sys.argv[1]))\n"
    "print([int(line.split()[1]) // 1024 for line in open('/proc/self/status') if line.startswith('VmHWM')][0])"
)


def run() -> Iterator[dict]:
    """One row each: ``name``, ``ratio``, ``wanted``, ``met``, ``detail``."""
    from make.video import Form, Tape, file_for, programme, render, write
    from make.video_check import check

    with tempfile.TemporaryDirectory(dir=SHM if SHM.is_dir() else None) as name:
        folder = Path(name)
        scene = list(render(Tape(pictures=SCENE, seed=99, lines=486)))
        path = file_for(folder, "v210")
        form = Form("v210", shape=None, rate=NTSC, order="bottom")
        write(path, _again(scene, PICTURES), form, programme(PICTURES / float(NTSC)))
        yield from _against_filters(path, check)
        yield _live(path)
        path.unlink()
        scene = list(render(Tape(pictures=SCENE, seed=99)))
        for codec in ("dv", "ffv1", "h264"):
            path = file_for(folder, codec)
            write(path, _again(scene, PICTURES), Form(codec, shape=None), programme(PICTURES / 25))
            yield from _against_decoding(path, codec, check)
            path.unlink()
        yield _memory(folder, scene, write, Form, programme)


def _again(scene: list, count: int):
    return (scene[number % len(scene)] for number in range(count))


def _timed(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds by the clock and of processors."""
    begun, used = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - begun, time.process_time() - used


def _against_filters(path: Path, check: Callable) -> list[dict]:
    check(path)  # modules loaded, file cached
    (wall, used), (theirs, theirs_used) = _timed(lambda: check(path)), _timed(lambda: _filters(path))
    times = PICTURES / wall / float(NTSC)
    detail = (
        f"{PICTURES / wall:.0f} pictures/s by the clock, {PICTURES / used:.0f} a processor second; "
        f"libav's {PICTURES / theirs:.0f} and {PICTURES / theirs_used:.0f}"
    )
    return [
        {"name": "v210: times real time", "ratio": times, "wanted": 3.0, "met": times >= 3, "detail": detail},
        {
            "name": "v210: time of idet, freezedetect, blackdetect, signalstats, ebur128 over ours",
            "ratio": theirs / wall, "wanted": 1.0, "met": theirs >= wall, "detail": detail,
        },
    ]  # fmt: skip


def _filters(path: Path) -> None:
    """libav's graph over the same file: pictures and sound, every frame pulled."""
    import av

    with av.open(str(path)) as file:
        video, audio = file.streams.video[0], file.streams.audio[0]
        video.thread_type = "AUTO"
        seen, heard = av.filter.Graph(), av.filter.Graph()
        seen.link_nodes(
            seen.add_buffer(template=video), seen.add("idet"), seen.add("freezedetect"), seen.add("blackdetect"),
            seen.add("signalstats"), seen.add("buffersink"),
        ).configure()  # fmt: skip
        heard.link_nodes(
            heard.add_abuffer(template=audio), heard.add("ebur128", "peak=true"), heard.add("abuffersink")
        ).configure()
        for packet in file.demux(video, audio):
            graph = seen if packet.stream.type == "video" else heard
            for frame in packet.decode():
                graph.push(frame)
                _pull(graph)


def _pull(graph) -> None:
    import av

    while True:
        try:
            graph.pull()
        except (av.BlockingIOError, av.EOFError):
            return


def _against_decoding(path: Path, codec: str, check: Callable) -> list[dict]:
    from takeup.media.moving import look_at_moving, read_moving

    check(path)
    wall, used = _timed(lambda: check(path))
    plain, plain_used = _timed(lambda: sum(1 for _ in read_moving(path, look_at_moving(path), sound=False)))
    detail = (
        f"{PICTURES / wall:.0f} pictures/s by the clock ({PICTURES / used:.0f} a processor second), "
        f"decoding {PICTURES / plain:.0f} ({PICTURES / plain_used:.0f})"
    )
    ratio = wall / plain
    return [{"name": f"{codec}: over decoding", "ratio": ratio, "wanted": 1.5, "met": ratio <= 1.5, "detail": detail}]


def _live(path: Path) -> dict:
    """The share of one processor that following takes at the tape's own speed: processor seconds a second of tape."""
    from make.video_check import check

    used = _timed(lambda: check(path))[1]
    share = used / (PICTURES / float(NTSC))
    return {
        "name": "v210 beside the capture: share of one processor", "ratio": share, "wanted": 1.0, "met": share <= 1,
        "detail": "all measures, 486 lines, 29.97 pictures a second",
    }  # fmt: skip


def _memory(folder: Path, scene: list, write: Callable, form: Callable, programme: Callable) -> dict:
    """Peak memory of checking a file four times as long over that of the short one, each in its own process."""
    peaks = []
    for seconds in (60, 240):
        path = folder / "long.avi"
        write(path, _again(scene, 25 * seconds), form("dv", shape=None, order=None), programme(float(seconds)))
        told = subprocess.run([sys.executable, "-c", ONE_CHECK, str(path)], capture_output=True, text=True, check=True)
        peaks.append(int(told.stdout.split()[-1]))
        path.unlink()
    ratio = peaks[1] / peaks[0]
    met = ratio <= 1.1 and peaks[1] < MOST_MB
    detail = f"{peaks[0]} and {peaks[1]} MB, at most {MOST_MB}"
    return {"name": "DV: peak memory of 4 min over 1 min", "ratio": ratio, "wanted": 1.1, "met": met, "detail": detail}


if __name__ == "__main__":
    for row in run():
        print(f"{row['name']}: {row['ratio']:.3f} (wanted {row['wanted']}), {row['detail']}", flush=True)
