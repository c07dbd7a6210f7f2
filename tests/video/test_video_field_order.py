"""Field order of woven moving scenes, both systems and codecs; libav's idet as the second opinion."""

import av
import pytest
from make.video import NTSC, Form, Tape, file_for, write
from make.video_check import check, named, value


def idet(path):
    """Votes of libav's own filter: (top, bottom, progressive)."""
    with av.open(str(path)) as container:
        graph = av.filter.Graph()
        source = graph.add_buffer(template=container.streams.video[0])
        judge, sink = graph.add("idet"), graph.add("buffersink")
        source.link_to(judge)
        judge.link_to(sink)
        graph.configure()
        last = {}
        for frame in container.decode(video=0):
            graph.push(frame)
            try:
                last = dict(graph.pull().metadata)
            except av.FFmpegError:
                continue
    return tuple(float(last[f"lavfi.idet.multiple.{name}"]) for name in ("tff", "bff", "progressive"))


CASES = [
    ("v210", Tape(pictures=14, seed=61), "top", "top"),
    ("ffv1", Tape(pictures=14, seed=62, top_first=False, noise=5, jitter_px=1.6), "bottom", "bottom"),
    ("dv525", Tape(pictures=14, seed=63, lines=480, top_first=False), None, "bottom"),
    ("h264", Tape(pictures=14, seed=64, lines=480, letterbox=60), "top", "top"),
    ("uyvy", Tape(pictures=14, seed=65, world="coffee", progressive=True), "top", "progressive"),
    ("h264p", Tape(pictures=14, seed=66, world="china.jpg", progressive=True), "progressive", "progressive"),
]


@pytest.mark.parametrize(("codec", "tape", "flag", "truth"), CASES, ids=[f"{case[0]}-{case[3]}" for case in CASES])
def test_field_order_is_right_and_agrees_with_idet(tmp_path, codec, tape, flag, truth):
    rate = NTSC if tape.lines == 480 else Form().rate
    shape = None if codec == "dv525" else Form().shape
    write(file_for(tmp_path, codec), tape, Form(codec, order=flag, rate=rate, shape=shape))
    report = check(file_for(tmp_path, codec))
    assert value(report, "field_order") == truth
    assert named(report, "field_order") == []
    votes = dict(zip(("top", "bottom", "progressive"), idet(file_for(tmp_path, codec))))
    assert max(votes, key=votes.get) == truth


def test_a_still_title_gives_no_answer_and_says_why(tmp_path):
    write(tmp_path / "a.mkv", Tape(pictures=14, still=True, seed=67), Form("ffv1"))
    measured = check(tmp_path / "a.mkv").measures["field_order"]
    assert measured.value is None and measured.why and measured.extra["flag"] == "top"


def test_a_flag_that_the_motion_contradicts_is_a_look_never_redo(tmp_path):
    write(tmp_path / "a.mkv", Tape(pictures=16, seed=68, top_first=False), Form("ffv1", order="top"))
    report = check(tmp_path / "a.mkv")
    (found,) = named(report, "field_order")
    assert (found.verdict, value(report, "field_order")) == ("look", "bottom")
    assert report.measures["field_order"].extra["flag"] == "top"
