"""Where another recording begins on a tape. Truth: the tapes laid one after the other; cuts are no recordings."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
from make.video import Form, Tape, coded, lumas, programme, write
from make.video_check import check

from takeup.measure.video import recordings
from takeup.tables.loader import load_rows

RATE = 25
SHORT = 90  # pictures of one tape


@lru_cache(maxsize=2)  # pictures are large
def seen(tape, begun):
    """Luma of a tape that begins with that picture: each fifth whole, for the sides; of every one each eighth line."""
    whole, small = {}, []
    for at, luma in enumerate(lumas(tape, lambda at: (begun + at) % 5 == 2), begun):
        if at % 5 == 2:
            whole[at] = luma
        small.append(luma[:: 8 if at % 5 == 2 else 4, ::8])
    return whole, small


def begins_of(*tapes, kinds=None, codec="raw"):
    """Seconds at which recordings begin, looked at as the walk does: each fifth picture."""
    sides, at_s, difference, before = recordings.Sides(), [], [], None
    form, bits = ("yuv422p10le", 10) if codec == "v210" else ("yuv422p", 8)
    for tape in tapes:
        whole, every = seen(tape, len(at_s) % 5)
        for at, few in enumerate(every, len(at_s) % 5):
            if at in whole:
                sides.add(coded((whole[at],), form)[0], bits, len(at_s) / RATE)
            small = coded((few,), form)[0].astype(float)
            difference.append(np.inf if before is None else float(np.abs(small - before).mean()))
            at_s.append(len(at_s) / RATE)
            before = small
    limits = load_rows().section("video.recordings")
    found = recordings.finish(sides, at_s, kinds or ["picture"] * len(at_s), difference, 1 / RATE, limits)
    return [at for at, _ in found.begins]


@pytest.mark.parametrize("codec", ["raw", "v210"])
@pytest.mark.parametrize(
    "second",
    [{"noise": 2.6}, {"blank_px": 11}, {"offset": 3.0}, {"noise": 2.4, "blank_px": 10, "jitter_px": 1.2}],
    ids=["noisier", "other edge", "other black", "another machine"],
)
def test_another_recording_begins_where_the_sides_change(second, codec):
    one, other = Tape(pictures=SHORT, seed=1), Tape(pictures=SHORT, seed=2, **second)
    assert begins_of(one, other, codec=codec) == pytest.approx([0, SHORT / RATE], abs=0.04)


@pytest.mark.parametrize(
    "tape",
    [{}, {"jitter_px": 1.5}, {"noise": 4.0}, {"speed_px": (6.0, 2.0)}, {"gain": 0.6}],
    ids=["plain", "shaken", "noisy", "fast", "pale"],
)
def test_a_cut_within_one_recording_is_none(tape):
    cuts = [Tape(pictures=SHORT // 2, seed=seed, **tape) for seed in (1, 2, 3, 4)]
    assert begins_of(*cuts) == [0.0]


def test_a_picture_without_blanking_tells_nothing():
    """An edge that shows nothing cannot change: pictures cropped to their content, then others much noisier."""
    sides = recordings.Sides()
    rng = np.random.default_rng(4)
    for at in range(60):
        sides.add((rng.normal(120, 8 + 20 * (at > 30), (576, 720))).clip(60, 254).astype(np.uint8), 8, at / 5)
    limits = load_rows().section("video.recordings")
    found = recordings.finish(sides, np.arange(300) / RATE, ["picture"] * 300, np.ones(300), 1 / RATE, limits)
    assert found.begins == ((0.0, "first"),)


@pytest.mark.parametrize(
    ("gap", "kind", "begins"),
    [(10, "flat", True), (10, "snow", True), (5, "flat", False), (20, "black", False), (50, "black", True)],
)
def test_a_gap_that_is_long_enough_ends_a_recording(gap, kind, begins):
    kinds = ["picture"] * 100 + [kind] * gap + ["picture"] * 100
    limits = load_rows().section("video.recordings")
    at_s, difference = np.arange(len(kinds)) / RATE, np.ones(len(kinds))
    found = recordings.finish(recordings.Sides(), at_s, kinds, difference, 1 / RATE, limits)
    wanted = [(0.0, "first")] + [((100 + gap) / RATE, "gap")] * begins
    assert list(found.begins) == wanted
    assert found.programme == pytest.approx((0, len(kinds) / RATE))


def test_a_check_tells_recordings_and_where_the_programme_is(tmp_path):
    tape = Tape(pictures=130, seed=6, black=((0, 10), (120, 130)), blue=((60, 75),))
    write(tmp_path / "a.avi", tape, Form("dv", shape=None), programme(130 / RATE))
    measured = check(tmp_path / "a.avi").measures["recordings"]
    assert measured.value == 2 and measured.extra["from_s"] == pytest.approx([0.4, 3.0], abs=0.041)
    assert measured.extra["programme"] == pytest.approx([0.4, 4.8], abs=0.041)
    assert measured.extra["told_by"] == ["first", "gap"]
