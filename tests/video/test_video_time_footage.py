"""Losses, repeats, standing pictures and levels on photographs under a hand-held camera: another maker, known truth."""

from collections.abc import Callable

import cv2
import numpy as np
import pytest
from make.footage import Camera, Shot, pulldown, shown, steady, with_repeats, without
from make.video import Form, file_for, programme, write
from make.video_check import check, named, value

FRAME = 0.04
LINES = 288
PAN = Camera("motorcycle", pan=(2.0, 0.3), lines=LINES)
HAND = Camera("astronaut", pan=(1.2, 0.4), tremble=0.5, jerks=(17, 41), seed=4, lines=LINES)
CODECS = {"uyvy": {}, "fast": {"preset": "veryfast", "crf": "23"}, "slow": {"preset": "medium", "crf": "20"}}


def checked(tmp_path, camera, pairs, *, codec="uyvy", shot=None, sound=None, order="top"):
    view: Callable[[float], np.ndarray] = camera.view() if isinstance(camera, Camera) else camera
    kind = "uyvy" if codec == "uyvy" else "h264"
    form = Form(kind, order=order, options=CODECS[codec])
    write(file_for(tmp_path, kind), shown(view, pairs, shot), form, sound)
    return check(file_for(tmp_path, kind))


@pytest.mark.parametrize("codec", ["uyvy", "slow"])
def test_pictures_lost_without_a_gap_are_counted_and_the_sound_steps_there(tmp_path, codec):
    """Truth by construction: pictures 9, 18 and 19 of a pan of 4 px a picture are left out, the sound is whole."""
    pairs = without(steady(30), [9, 18, 19])
    report = checked(tmp_path, PAN, pairs, codec=codec, sound=programme(30 * FRAME))
    lost, drift = report.measures["lost_frames"], report.measures["sound_drift"]
    assert (lost.value, lost.extra["without_a_gap"], value(report, "repeated_frames")) == (3, 3, 0)
    assert drift.value == pytest.approx(120, abs=22) and drift.extra["shape"] == "step"
    assert drift.extra["steps_at_s"] == pytest.approx([9 * FRAME, 17 * FRAME])
    (found,) = named(report, "frames_lost")
    assert (found.from_s, found.to_s, found.value) == (pytest.approx(9 * FRAME), pytest.approx(17 * FRAME), 3)


def cut() -> Callable[[float], np.ndarray]:
    first, second = PAN.view(), Camera("coffee", pan=(2.0, 0), lines=LINES).view()
    return lambda instant: first(instant) if instant < 28 else second(instant)


@pytest.mark.parametrize(
    ("camera", "pairs"),
    [(HAND, steady(30)), (PAN, pulldown(30)), (cut(), steady(30)), (HAND, steady(30, progressive=True))],
    ids=["knocks", "film-on-tape", "cut", "knocks-of-whole-pictures"],
)
def test_nothing_is_lost_or_repeated_in_what_only_jumps(tmp_path, camera, pairs):
    report = checked(tmp_path, camera, pairs)
    assert (value(report, "lost_frames"), value(report, "repeated_frames")) == (0, 0)
    assert named(report, "frames_lost") == named(report, "frozen") == []


@pytest.mark.parametrize("codec", list(CODECS))
def test_repeats_are_all_found_and_one_in_place_of_a_lost_picture_is_no_loss(tmp_path, codec):
    pairs = with_repeats(steady(32), [8, 14, 21, 26], instead=True)
    report = checked(tmp_path, PAN, pairs, codec=codec)
    repeated = report.measures["repeated_frames"]
    assert (repeated.value, repeated.extra["replaced"], value(report, "lost_frames")) == (4, 4, 0)


@pytest.mark.parametrize("codec", ["fast", "slow"])
def test_a_hold_is_frozen_and_a_camera_that_comes_to_rest_is_not(tmp_path, codec):
    pairs = steady(34)
    report = checked(tmp_path, PAN, pairs[:12] + [pairs[11]] * 12 + pairs[24:], codec=codec)
    (found,) = named(report, "frozen")
    assert (found.from_s, found.to_s) == (pytest.approx(11 * FRAME, abs=FRAME), pytest.approx(24 * FRAME, abs=FRAME))
    rest = [(2.0 * n, 2.0 * n + 1) if n < 14 else (28 + 6 * (1 - 0.7 ** (n - 14)),) * 2 for n in range(34)]
    rest = [(first, second + 1e-6 * n) for n, (first, second) in enumerate(rest)]  # new noise in every picture
    assert named(checked(tmp_path, PAN, rest, codec=codec), "frozen") == []


def with_clock(planes, number):
    mask = np.zeros(planes[0].shape, np.uint8)
    cv2.putText(mask, f"0:00:{number:02d}", (80, 200), 0, 1.4, 235, 4)
    return np.where(mask > 0, 235.0, planes[0]).astype(np.float32), planes[1], planes[2]


@pytest.mark.parametrize("codec", ["uyvy", "slow"])
def test_a_clock_that_runs_over_a_held_picture_does_not_hide_it(tmp_path, codec):
    pairs = steady(30)
    pairs = pairs[:10] + [pairs[9]] * 10 + pairs[20:]
    pictures = [with_clock(planes, number) for number, planes in enumerate(shown(PAN.view(), pairs))]
    kind = "uyvy" if codec == "uyvy" else "h264"
    write(file_for(tmp_path, kind), iter(pictures), Form(kind, options=CODECS[codec]))
    (found,) = named(check(file_for(tmp_path, kind)), "frozen")
    assert (found.from_s, found.to_s) == (pytest.approx(9 * FRAME, abs=FRAME), pytest.approx(20 * FRAME, abs=FRAME))


def test_film_on_tape_keeps_the_order_of_its_fields(tmp_path):
    report = checked(tmp_path, PAN, pulldown(30), order="top")
    assert value(report, "field_order") == "top" and named(report, "field_order") == []


@pytest.mark.parametrize(("name", "noise"), [("coffee", 2.5), ("motorcycle", 2.5), ("chelsea", 0.9)])
def test_photographs_without_deep_black_are_not_called_lifted(tmp_path, name, noise):
    report = checked(tmp_path, Camera(name, pan=(3, 1), lines=LINES), steady(6), shot=Shot(noise=noise))
    assert named(report, "levels") == []


def even(luma, number, noise, red=128.0, blue=128.0):
    rng = np.random.default_rng([number, 8])
    colours = (np.full((LINES, 360), blue), np.full((LINES, 360), red))
    return tuple(plane + noise * rng.standard_normal(plane.shape) for plane in (luma, *colours))


def lamp(number):
    luma = np.full((LINES, 720), 17.0)
    cv2.circle(luma, (300, 150), 6, 200, -1)
    return even(luma, number, 1.2)


def muted(number):
    luma = np.full((LINES, 720), 41.0)
    blue = (number // 3) % 2
    if not blue:
        luma = np.clip(110 + 60 * np.random.default_rng(number).standard_normal(luma.shape), 1, 254)
    return even(luma, number, 0.3, red=110.0 if blue else 128.0, blue=205.0 if blue else 128.0)


@pytest.mark.parametrize("codec", ["uyvy", "slow"])
@pytest.mark.parametrize(("made", "names"), [(lamp, set()), (muted, {"no_signal"})], ids=["one-lamp", "muted-snow"])
def test_one_lamp_in_the_dark_is_a_picture_and_muted_snow_is_one_stretch(tmp_path, codec, made, names):
    moving = list(shown(PAN.view(), steady(8)))
    kind = "uyvy" if codec == "uyvy" else "h264"
    pictures = moving + [made(number) for number in range(18)] + moving
    write(file_for(tmp_path, kind), iter(pictures), Form(kind, options=CODECS[codec]))
    report = check(file_for(tmp_path, kind))
    empty = [one for one in report.findings if one.name in ("black", "no_signal")]
    assert {one.name for one in empty} == names and len(empty) == len(names)
    for one in empty:
        assert (one.from_s, one.to_s) == (pytest.approx(8 * FRAME, abs=FRAME), pytest.approx(26 * FRAME, abs=FRAME))
