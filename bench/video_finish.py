"""Master and everyday copy of a video against libav alone with the same settings, and against real time.

Libav alone: the same filters and coders in the plainest loop, no hashing, no poster, no tags. The master's proof
(reading it back whole) has libav's plain decoding as its reference. Each is run in turns, the best of ``TURNS`` counts,
in processor time: what else the computer does is no part of it. Real time is that of two cores kept busy.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))

PICTURES, TURNS, CORES = 50, 2, 2
SECONDS = PICTURES / 25
MOST = 1.1  # of libav alone
OPTIONS = {"level": "3", "slices": "16", "slicecrc": "1"}
SHAPE = Fraction(12, 11)


def run() -> list[dict]:
    """One row a thing: ours over libav alone, and real time over ours."""
    from make.video import Form, Tape, programme, write

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        capture = folder / "t.mov"
        write(capture, Tape(pictures=PICTURES, seed=99, speed_px=(2.3, 0.7)), Form("v210"), programme(SECONDS))
        return [*_master(capture, folder), *_copy(capture, folder)]


def _master(capture: Path, folder: Path) -> list[dict]:
    from takeup.media.moving_prove import prove
    from takeup.media.moving_write import PictureTruth, write_ffv1

    truth = PictureTruth(pixel_format="yuv422p10le", order="top", shape=SHAPE, primaries=5, transfer=6, matrix=5)
    made, held = folder / "m.mkv", []

    def write() -> None:
        held[:] = [write_ffv1(capture, made, truth, OPTIONS, lambda _: None)]

    writing, plain = in_turns(write, lambda: plain_ffv1(capture, folder / "p.mkv"))
    proving, reading = in_turns(lambda: prove(held[0], capture, made, lambda _: None), lambda: plain_decode(made))
    whole = writing + proving
    return [
        against("master", writing, plain), against("proof of the master", proving, reading),
        real_time("master with its proof", whole),
    ]  # fmt: skip


def _copy(capture: Path, folder: Path) -> list[dict]:
    from takeup.media.moving_copy import CopyPlan, PosterPlan, write_h264
    from takeup.plan.copies import plan_copy_size, plan_every, plan_profile
    from takeup.tables.loader import load_rows

    rows = []
    poster = PosterPlan(every_s=0.2, head_s=0, long_side_px=640, quality=85)
    for name in ("as-taped", "720p30"):
        form = plan_profile(name, load_rows())
        plan = CopyPlan(
            order="top", shape=SHAPE, crf=form.crf, preset=form.preset, profile="high", key_s=2.0, primaries=5,
            transfer=6, matrix=5, every=plan_every(Fraction(50), form), size=plan_copy_size(720, 576, SHAPE, form),
        )  # fmt: skip
        ours, plain = in_turns(
            lambda plan=plan: write_h264(capture, folder / "c.mp4", None, plan, {}, lambda _: None, poster),
            lambda plan=plan: plain_h264(capture, folder / "q.mp4", plan),
        )
        rows += [against(f"copy {name}", ours, plain), real_time(f"copy {name}", ours)]
    return rows


def in_turns(ours: Callable[[], Any], plain: Callable[[], Any]) -> tuple[float, float]:
    """The best processor time of each, over two cores. [s]"""
    best = [float("inf"), float("inf")]
    for _ in range(TURNS):
        for at, action in enumerate((ours, plain)):
            begun = time.process_time()
            action()
            best[at] = min(best[at], (time.process_time() - begun) / CORES)
    return best[0], best[1]


def against(name: str, ours: float, plain: float) -> dict:
    """A row: how many times as long as libav alone."""
    ratio = ours / plain
    detail = f"{SECONDS / ours:.2f} times real time, libav alone {SECONDS / plain:.2f}"
    met = ratio <= MOST
    return {"name": f"{name} over libav alone", "ratio": ratio, "wanted": f"<= {MOST}", "met": met, "detail": detail}


def real_time(name: str, ours: float) -> dict:
    """A row: how many times real time."""
    ratio = SECONDS / ours
    detail = f"{ours:.2f} s of two cores for {SECONDS:.0f} s of tape"
    return {"name": f"{name}, times real time", "ratio": ratio, "wanted": ">= 1", "met": ratio >= 1, "detail": detail}


def plain_ffv1(capture: Path, target: Path) -> None:
    """Every picture and packet of sound through libav."""
    import av

    with av.open(str(capture)) as source, av.open(str(target), "w", format="matroska") as out:
        picture, sound = source.streams.video[0], source.streams.audio[0]
        picture.thread_type = "AUTO"
        stream = out.add_stream("ffv1", rate=25, options=OPTIONS)
        coder = stream.codec_context
        coder.width, coder.height, coder.pix_fmt = picture.width, picture.height, "yuv422p10le"
        coder.time_base, coder.gop_size, coder.thread_count, coder.thread_type = picture.time_base, 1, 0, "SLICE"
        carried = out.add_stream_from_template(sound)
        for packet in source.demux(picture, sound):
            if packet.stream is sound:
                if packet.dts is not None:
                    packet.stream = carried
                    out.mux(packet)
                continue
            for frame in packet.decode():
                out.mux(stream.encode(frame))
        out.mux(stream.encode(None))


def plain_decode(path: Path) -> None:
    """Every picture and sample decoded and let go."""
    import av

    with av.open(str(path)) as container:
        container.streams.video[0].thread_type = "AUTO"
        for packet in container.demux(container.streams.video[0], container.streams.audio[0]):
            packet.decode()


def plain_h264(capture: Path, target: Path, plan: Any) -> None:
    """The same filters and the same coder, and no more."""
    import av
    from av.filter import Graph

    with av.open(str(capture)) as source, av.open(str(target), "w", options={"movflags": "faststart"}) as out:
        picture = source.streams.video[0]
        picture.thread_type = "AUTO"
        rate = Fraction(50, plan.every)
        words = {"crf": str(plan.crf), "preset": plan.preset, "profile": "high", "g": str(2 * rate), "keyint_min": "1"}
        stream = out.add_stream("libx264", rate=rate, options=words)
        coder = stream.codec_context
        coder.width, coder.height = plan.size or (720, 576)
        coder.pix_fmt, coder.time_base, coder.thread_count = "yuv420p", 1 / rate, 0
        graph, count = None, 0
        for frame in source.decode(picture):
            if graph is None:
                graph = Graph()
                mode = "send_field" if plan.every == 1 else "send_frame"
                scaled = f"{coder.width}:{coder.height}:flags={'lanczos' if plan.size else 'bicubic'}+accurate_rnd"
                steps = [("bwdif", f"mode={mode}:parity=tff:deint=all"), ("scale", scaled), ("format", "yuv420p")]
                last = graph.add_buffer(template=picture, time_base=frame.time_base)
                for name, arguments in steps:
                    last.link_to(step := graph.add(name, arguments))
                    last = step
                last.link_to(graph.add("buffersink"))
                graph.configure()
            graph.push(frame)
            while True:
                try:
                    made = graph.pull()
                except (av.error.BlockingIOError, av.error.EOFError):
                    break
                made.pts, made.time_base, made.pict_type, count = count, 1 / rate, 0, count + 1
                out.mux(stream.encode(made))
        out.mux(stream.encode(None))


if __name__ == "__main__":
    for row in run():
        print(f"{row['name']}: {row['ratio']:.2f} (wanted {row['wanted']}), {row['detail']}")
