"""A still shot and a held picture after a codec that predicts: told apart, or said not to be."""

from fractions import Fraction

import numpy as np
import pytest
from make.footage import Camera, Shot, shown, steady
from make.video import Form, file_for, write
from make.video_check import bad, check, named

from takeup.measure.video.repeats import Steps, repeats
from takeup.tables.loader import load_rows

LIMITS = load_rows().section("video.repeat")


def broken(pictures=16, *, comb=0.0, leap=1.0, most=0.3):
    """A pan of 5 px a picture that stands for so many pictures, and moves on by ``leap`` of its steps."""
    parts = (np.ones(12), np.zeros(pictures), np.ones(10))
    moving = np.concatenate(parts).astype(bool)
    across = np.where(moving, 5.0, 0.0)
    across[12 + pictures] = 5.0 * leap
    return Steps(
        difference=np.where(moving, 9.0, 0.02),
        most=np.where(moving, 9.0, most),
        same=np.where(moving, 0.0, 0.8),
        across=across,
        down=np.zeros(len(moving)),
        sure=np.full(len(moving), 0.95),
        own=np.where(moving, 2.0, comb),
        noise=np.full(len(moving), 1.0),
        shown=np.ones(len(moving), bool),
    )


@pytest.mark.parametrize(
    ("steps", "held", "unsure"),
    [
        (broken(), (), ((12, 28),)),
        (broken(comb=0.02), (), ((12, 28),)),
        (broken(comb=1.4), ((12, 28),), ()),
        (broken(leap=17), ((12, 28),), ()),
        (broken(leap=4), (), ((12, 28),)),
        (broken(24, most=0.0), ((12, 36),), ()),
        (broken(most=1.2), (), ()),
    ],
    ids=["still-or-held", "no-comb", "comb-held", "went-on", "jumped", "untouched", "noise-left"],
)
def test_one_thing_more_than_standing_still_must_speak_for_a_held_picture(steps, held, unsure):
    """By hand: 16 pictures of 5 px are 80 px, and one step more where the next picture comes: 17 steps."""
    found = repeats(steps, predicted=True, limits=LIMITS)
    assert (found.held, found.unsure) == (held, unsure)


def bars(high=288):
    """Seven upright bars in grey and colour, soft at their sides, without any noise."""
    levels = np.repeat([35.0, 180, 65, 162, 84, 131, 112], 103)[:720]
    luma = np.tile(np.convolve(np.pad(levels, 2, "edge"), np.ones(5) / 5, "valid"), (high, 1))
    colour = np.tile(128 + 50 * np.sin(np.repeat(np.arange(7), 52)[:360]), (high, 1))
    return luma, colour, colour[:, ::-1]


@pytest.mark.parametrize("codec", ["dv", "uyvy"])
def test_bars_of_a_generator_are_no_frozen_picture_and_show_no_setup(tmp_path, codec):
    """11 s of equal pictures that were drawn, longer than the 10 s from which a standing file is ``redo``."""
    lines, rate = (576, Fraction(25)) if codec == "dv" else (288, Fraction(5))
    pictures = (bars(lines) for _ in range(24 if codec == "dv" else 55))
    write(file_for(tmp_path, codec), pictures, Form(codec, order=None, rate=rate))
    report = check(file_for(tmp_path, codec))
    assert bad(report, "sound_missing") == set() and report.measures["repeated_frames"].extra["still_or_held"] > 20


@pytest.mark.parametrize("stands", [False, True])
def test_a_coarse_file_of_whole_pictures_says_frozen_only_where_the_pan_has_gone_on(tmp_path, stands):
    """The camera stops at once and its noise goes on under the codec; or the converter holds one picture."""
    whole, camera = steady(40, progressive=True), Camera("coffee", pan=(1.5, 0.2), lines=288)
    still = [(24.0 + 1e-6 * number,) * 2 for number in range(18)]
    on = [(24.0 + 2 * number,) * 2 for number in range(1, 8)]
    pairs = whole[:13] + still + on if stands else whole[:13] + [whole[12]] * 18 + whole[31:38]
    form = Form("h264p", order="progressive", options={"crf": "28"})
    write(file_for(tmp_path, "h264p"), shown(camera.view(), pairs, Shot(noise=0.8, progressive=True)), form)
    assert len(named(check(file_for(tmp_path, "h264p")), "frozen")) == (0 if stands else 1)
