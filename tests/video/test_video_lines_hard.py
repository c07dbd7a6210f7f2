"""Pictures that look like a fault and are none, or hide one: window bars, a slow tilt, texture beside even places."""

import cv2
import numpy as np
import pytest
from make.photographs import photograph
from make.tape_real import Scene, play
from make.video import Form, write
from make.video_check import check, named

from takeup.measure.video import dropouts, half_height, headswitch
from takeup.measure.video.fields import fields
from takeup.measure.video.noise import noise_codes

LIMITS = {"contrast": 16, "length_px": 42, "over": 10}


def tilted(first):
    """A photograph under a camera that tilts by one picture line from field to field, with tape noise of its own."""
    rng = np.random.default_rng(first)
    world = cv2.resize(photograph("coffee"), (720, 900))[..., 1].astype(np.float32) * 0.8 + 20
    picture = np.empty((576, 720), np.float32)
    for parity in (0, 1):
        top = 2 * first + parity
        picture[parity::2] = world[top : top + 576][parity::2]
    return np.rint(picture + rng.normal(0, 1.5, picture.shape)).astype(np.uint8)


@pytest.mark.parametrize("bits", [8, 10])
def test_lines_that_pair_because_the_camera_tilts_are_no_lost_field(bits):
    """Even and odd lines show the same parts of the world in every picture; only the movement tells why."""
    pictures = [tilted(at).astype(np.uint16) << bits - 8 for at in range(4)]
    pictures = [one.astype(np.uint8) if bits == 8 else one for one in pictures]
    state = half_height.begin()
    for before, here in zip(pictures, pictures[1:]):
        state = half_height.step(state, here, bits, alike=0.4, joined=0.68, before=before)
    assert half_height.finish(state, lossless=True) is None
    state = half_height.begin()
    for before, here in zip(pictures, pictures[1:]):  # a field thrown away takes its noise with it
        before[1::2], here[1::2] = before[::2], here[::2]
        state = half_height.step(state, here, bits, alike=0.4, joined=0.68, before=before)
    assert half_height.finish(state, lossless=True) == "doubled"


@pytest.mark.parametrize("down, told", [(0, "doubled"), (3, None)])
def test_doubled_lines_that_coding_has_parted(down, told):
    """Lines of a pair half as far apart as others: a field thrown away where nothing moves up or down."""
    rng = np.random.default_rng(8)
    world = cv2.resize(photograph("coffee"), (800, 640))[..., 1].astype(np.float32) * 0.8 + 20
    pictures = []
    for at in range(4):
        picture = world[down * at : down * at + 576, 5 * at : 5 * at + 720].copy()
        picture[1:-1:2] = 0.75 * picture[:-2:2] + 0.25 * picture[2::2]
        pictures.append(np.rint(picture + rng.normal(0, 0.4, picture.shape)).astype(np.uint8))
    state = half_height.begin()
    for before, here in zip(pictures, pictures[1:]):
        state = half_height.step(state, here, 8, alike=0.3, joined=0.68, before=before)
    assert half_height.finish(state, lossless=False) == told


@pytest.mark.parametrize("codes", [0.8, 1.5, 5.0])
def test_noise_of_even_places_among_textured_ones(codes):
    """Two thirds of the picture hold texture of its own amount in every place: 1.5 dB where it was 5."""
    rng = np.random.default_rng(3)
    texture = cv2.GaussianBlur(rng.standard_normal((576, 720)).astype(np.float32), (0, 0), 1.2)
    amount = np.clip(np.linspace(-3, 6, 720), 0, None) / texture.std()
    still = 120 + texture * amount + np.linspace(-20, 20, 576)[:, None]
    noise = cv2.GaussianBlur(rng.standard_normal((576, 720)).astype(np.float32), (0, 0), sigmaX=1.0, sigmaY=0.01)
    luma = still + noise * codes / noise.std()
    found = noise_codes(np.rint(4 * luma).astype(np.uint16), 10)
    assert 20 * np.log10(found / codes) == pytest.approx(0, abs=1.5)


def window(number, streak=None):
    """Three windows with bright bars two lines thick, a camera that tilts; ``streak``: (parity, field line)."""
    rng = np.random.default_rng(number)
    world = np.full((800, 720), 50, np.float32)
    for left in (40, 270, 500):
        for top in range(30, 760, 27):
            world[top : top + 4, left : left + 170] = 225
    world = cv2.GaussianBlur(world, (0, 0), 0.8)
    picture = np.empty((576, 720), np.float32)
    for parity in (0, 1):
        tilted = cv2.warpAffine(
            world, np.float32([[1, 0, -0.3 * number], [0, 1, -40 - 3.4 * (number + parity / 2)]]), (720, 576)
        )
        picture[parity::2] = tilted[parity::2]
    if streak is not None:
        picture[streak[0] :: 2][streak[1], 180:470] = 232
    return np.rint(np.clip(picture + rng.normal(0, 1.5, picture.shape), 1, 254)).astype(np.uint8)


@pytest.mark.parametrize("streaks", [{}, {2: (0, 100), 4: (1, 155), 6: (0, 207)}])
def test_streaks_across_window_bars(streaks):
    """None where there are bars alone; and those that are there, though a hundred bars stand out as well."""
    state, told = dropouts.begin(), []
    for number in range(9):
        state, found = dropouts.step(state, fields(window(number, streaks.get(number))), (), 8, LIMITS)
        told += [(number - 1, streak) for streak in found]
    assert {(number, streak.line) for number, streak in told} == {
        (number, 2 * line + parity) for number, (parity, line) in streaks.items()
    }


@pytest.mark.parametrize("mixed", [False, True])
def test_mixed_fields_are_told_in_dv(tmp_path, mixed):
    """Every line the mean of itself and the one below, before coding: the noise of two fields in each."""
    pictures = []
    for luma, *colour in play(Scene(world="coffee", camera="hand", top_first=False, pictures=16, seed=6)):
        if mixed:
            luma[:-1] = (luma[:-1] + luma[1:]) / 2
        pictures.append((luma, *colour))
    write(tmp_path / "a.avi", iter(pictures), Form("dv", order="bottom"))
    report = check(tmp_path / "a.avi")
    assert [one.verdict for one in named(report, "half_height")] == ["redo"] * mixed
    assert not mixed or not named(report, "field_order"), "mixed fields have no order of their own"


@pytest.mark.parametrize("lines", [0, 6, 12])
@pytest.mark.parametrize("shift_px", [-9, 8, 25])
def test_head_switching_where_blanking_is_narrow(lines, shift_px):
    """711 of 720 samples are active in 525 lines (BT.601): the picture begins after 4.5 px, softly."""
    rng = np.random.default_rng(lines)
    picture = cv2.resize(photograph("coffee"), (720, 480))[..., 1].astype(np.float32) * 0.8 + 20
    x = np.arange(720, dtype=np.float32)
    soft = np.clip((x - 3) / 3, 0, 1) * np.clip((717 - x) / 3, 0, 1)
    picture = 16 + (picture - 16) * soft
    if lines:
        picture[-2 * lines :] = np.roll(picture[-2 * lines :], shift_px, axis=1)
    state = headswitch.begin()
    for _ in range(2):
        luma = np.rint(np.clip(picture + rng.normal(0, 1.5, picture.shape), 1, 254)).astype(np.uint8)
        state = headswitch.step(state, luma, 8, bent_px=3, least_step=12)
    assert headswitch.finish(state) == lines
