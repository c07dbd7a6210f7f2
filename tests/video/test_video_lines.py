"""Jitter, noise, colour delay and head switching of simulated tapes of two makers, whose amounts are laid down."""

from functools import cache, lru_cache

import numpy as np
import pytest
from make import tape_real
from make.tape_real import Scene, play
from make.video import Form, Tape, coded, render, write
from make.video_check import check, named

from takeup.measure.video import chroma, half_height, headswitch
from takeup.measure.video.jitter import line_jitter
from takeup.measure.video.noise import noise_codes

WORLDS = ["mixed", "chelsea", "astronaut"]
REAL = ["motorcycle", "brick", "rocket"]
BOUNDS = {"sharp_enough": 0.5, "least_lines": 60}


@lru_cache(maxsize=4)  # pictures are large
def real(pictures=2, **scene):
    return list(play(Scene(pictures=pictures, seed=4, **scene)))


def luma_of(**tape):
    return coded(next(iter(render(Tape(pictures=1, seed=81, **tape)))), "yuv422p10le")[0]


def jitter_of(lumas, bits=8):
    found = [line_jitter(luma, bits, at % 2, low=at % 4 > 1, **BOUNDS) for at, luma in enumerate(lumas)]
    known = [one.square_px for one in found if one.square_px is not None]
    return float(np.sqrt(max(0.0, np.mean(known)))) if known else None


@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("true_px", [0.12, 0.7, 1.6])
def test_line_jitter_comes_back_to_a_tenth(world, true_px):
    """Target of check-values/video.md 4.1.2: 0.1 px or 10 %, and no more than 0.15 px of a steady tape."""
    lumas = [
        coded(planes, "uyvy422")[0] for planes in render(Tape(pictures=4, seed=81, world=world, jitter_px=true_px))
    ]
    found = jitter_of(lumas)
    assert found == pytest.approx(true_px, abs=max(0.1, 0.1 * true_px))
    assert true_px > 0.12 or found <= 0.15


@pytest.mark.parametrize("world", REAL)
@pytest.mark.parametrize("true_px", [0.12, 0.5, 3.0])
def test_line_jitter_of_photographs_under_a_shaking_camera(world, true_px):
    """The same target; four fields hold some 400 lines, so a figure drawn from them spreads by a twenty-eighth."""
    pictures = real(pictures=4, world=world, camera="hand", jitter_px=true_px)
    found = jitter_of([tape_real.codes(planes)[0] for planes in pictures])
    assert found == pytest.approx(true_px, abs=max(0.1, 0.1 * true_px))
    assert true_px > 0.12 or found <= 0.15


@pytest.mark.parametrize("slow", [{"slow_px": 4.0}, {"skew_px": 8.0}])
def test_a_bend_over_many_lines_is_no_jitter(slow):
    found = jitter_of([tape_real.codes(planes)[0] for planes in real(pictures=4, world="brick", **slow)])
    assert found <= 0.2


def test_line_jitter_of_an_even_picture_is_not_guessed():
    luma = np.random.default_rng(1).normal(100, 1.5, (576, 720)).astype(np.uint8)
    assert line_jitter(luma, 8, 0, **BOUNDS).square_px is None


def test_line_jitter_of_a_soft_picture_is_not_guessed():
    assert jitter_of([tape_real.codes(planes)[0] for planes in real(world="china.jpg", soft=14.0)]) is None


@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("codes", [1.5, 5.0])
def test_noise_comes_back_within_a_decibel_and_a_half(world, codes):
    found = noise_codes(luma_of(world=world, noise=codes), 10)
    assert 20 * np.log10(found / codes) == pytest.approx(0, abs=1.5)


@pytest.mark.parametrize("camera, world", [("hand", "brick"), ("still", "motorcycle"), ("pan", "rocket")])
def test_noise_of_textured_pictures_with_the_one_before(camera, world):
    before, here = (tape_real.codes(planes, "10")[0] for planes in real(world=world, camera=camera))
    assert 20 * np.log10(noise_codes(here, 10, before) / 1.5) == pytest.approx(0, abs=1.5)


@pytest.mark.parametrize("world", ["grass", "stripes"])
def test_noise_of_a_picture_full_of_texture_is_not_guessed(world):
    before, here = (tape_real.codes(planes)[0] for planes in real(world=world))
    assert noise_codes(here, 8, before) is None


def delay_of(pictures, form, codes):
    state = chroma.begin()
    for at, planes in enumerate(pictures):
        state = chroma.step(state, codes(planes, form), 10 if "10" in form else 8, at % 2)
    return chroma.finish(state, least_places=20, sure_px=0.35)


@pytest.mark.parametrize("sampling", ["yuv422p10le", "yuv420p", "yuv411p"])
@pytest.mark.parametrize("true_px", [-4.5, 0.0, 6.0])
def test_colour_delay_comes_back(sampling, true_px):
    found = delay_of(render(Tape(pictures=2, chroma_delay_px=true_px, seed=82)), sampling, coded)
    assert found.delay_px == pytest.approx(true_px, abs=0.3)


@cache
def delay_of_photograph(world, form, true_px, true_lines):
    pictures = real(pictures=3, world=world, delay_px=true_px, delay_lines=true_lines)
    return delay_of(pictures, form, tape_real.codes)


@pytest.mark.parametrize("form", ["10", "420", "411"])
@pytest.mark.parametrize("world", ["astronaut", "flower.jpg"])
@pytest.mark.parametrize("true_px, true_lines", [(-4.5, 0), (4.0, 1), (6.0, 2)])
def test_colour_delay_of_a_photograph_both_ways(form, world, true_px, true_lines):
    """Colour moved by the phase of its transform, and by whole lines of a field, against the same without.

    The photographs' own colour edges lie up to 0.7 px beside their luma edges; that much is theirs.
    """
    found, own = delay_of_photograph(world, form, true_px, true_lines), delay_of_photograph(world, form, 0.0, 0)
    assert abs(own.delay_px) < 0.8 and abs(own.down_lines) < 0.3
    assert found.delay_px - own.delay_px == pytest.approx(true_px, abs=0.4 if form == "411" else 0.3)
    assert found.down_lines == pytest.approx(true_lines, abs=0.3)


def test_a_grey_picture_has_no_colour_delay():
    grey = np.full((576, 360), 128, np.uint8)
    luma = (luma_of().astype(np.uint16) >> 2).astype(np.uint8)
    found = delay_of([(luma, grey, grey)], "8", lambda planes, form: planes)
    assert found.delay_px is None and found.down_lines is None


def switch_of(lumas, bits):
    state = headswitch.begin()
    for luma in lumas:
        state = headswitch.step(state, luma, bits, bent_px=3, least_step=12)
    return headswitch.finish(state)


@pytest.mark.parametrize("lines", [0, 3, 6, 12])
def test_head_switch_lines_are_counted_from_the_bottom_of_a_field(lines):
    assert switch_of([luma_of(head_switch_lines=lines)], 10) == lines


@pytest.mark.parametrize("high", [480, 486, 576])
@pytest.mark.parametrize(
    "true_lines, more", [(0, {}), (1, {}), (5, {"skew_px": 8.0}), (10, {"jitter_px": 0.7}), (12, {})]
)
def test_head_switching_below_a_skewed_and_shaken_picture(high, true_lines, more):
    pictures = real(world="motorcycle", lines=high, switch=true_lines, **more)
    assert switch_of([tape_real.codes(planes)[0] for planes in pictures], 8) == true_lines


def test_jitter_without_a_corrector_is_told_and_a_steady_tape_is_not(tmp_path):
    for true_px, verdicts in ((1.6, ["redo"]), (0.12, [])):
        write(tmp_path / "a.avi", Tape(pictures=26, jitter_px=true_px, seed=86), Form("uyvy"))
        report = check(tmp_path / "a.avi")
        assert [one.verdict for one in named(report, "jitter")] == verdicts
        assert report.measures["line_jitter"].value == pytest.approx(true_px, abs=0.16)
        assert report.measures["picture_snr"].value == pytest.approx(43.3, abs=1.5)
        assert report.measures["head_switch_lines"].value == 6 and report.measures["dropouts"].value == 0


def halved(luma, how):
    lines = luma.astype(np.float32)
    if how == "doubled":
        lines[1::2] = lines[::2]
    if how == "interpolated":
        lines[1:-1:2] = (lines[:-2:2] + lines[2::2]) / 2
    if how == "blended":
        lines[1:-1] = (luma[:-2].astype(np.float32) + 2.0 * luma[1:-1] + luma[2:]) / 4
    return np.rint(lines).astype(np.uint8)


@pytest.mark.parametrize("world", REAL)
@pytest.mark.parametrize("how", [None, "doubled", "interpolated", "blended"])
def test_half_a_picture_is_told_from_a_whole_one(world, how):
    state = half_height.begin()
    for planes in real(pictures=4, world=world, camera="hand", jitter_px=0.12):
        state = half_height.step(state, halved(tape_real.codes(planes)[0], how), 8, alike=0.4, joined=0.68)
    assert half_height.finish(state, lossless=True) == how
