"""Our count of codes held against libav's own: its signalstats filter on the same file, cut to the same area."""

import av
import numpy as np
from make.video import Form, Tape, write

from takeup.measure.video import levels


def test_codes_of_a_file_lie_where_libavs_signalstats_finds_them(tmp_path):
    """Darkest and brightest code, mean, and the tenth and ninetieth percentile, to whole codes as the filter tells."""
    write(tmp_path / "a.avi", Tape(pictures=1, lines=288, noise=2.0, gain=0.8, offset=9, seed=33), Form("raw"))
    with av.open(str(tmp_path / "a.avi")) as container:
        frame = next(container.decode(video=0))
        luma = frame.to_ndarray(format="gray")
        counted = levels.step(levels.begin(*luma.shape, 8), luma)
        found = levels.finish(counted, noise=2.0, bar=44, rails=(1, 254), limits=(5, 246))
        theirs = statistics(container.streams.video[0], frame, found.area)
    codes = np.flatnonzero(found.codes)
    assert (codes[0], codes[-1]) == (theirs["YMIN"], theirs["YMAX"])
    assert abs(np.average(np.arange(256), weights=found.codes) - theirs["YAVG"]) < 0.01
    for per_cent, name in ((10, "YLOW"), (90, "YHIGH")):
        assert abs(levels.percentile(found.codes, per_cent) - theirs[name]) <= 1


def statistics(stream, frame, area):
    x, y, wide, high = area
    graph = av.filter.Graph()
    source = graph.add_buffer(template=stream)
    steps = [graph.add("format", "gray"), graph.add("crop", f"{wide}:{high}:{x}:{y}:exact=1"), graph.add("signalstats")]
    for before, after in zip([source, *steps], [*steps, graph.add("buffersink")]):
        before.link_to(after)
    graph.configure()
    graph.push(frame)
    told = dict(graph.pull().metadata)
    return {name: float(told[f"lavfi.signalstats.{name}"]) for name in ("YMIN", "YMAX", "YAVG", "YLOW", "YHIGH")}
