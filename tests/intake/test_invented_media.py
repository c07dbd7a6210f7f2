"""The invented media are what the demo says they are, and the same every time."""

import numpy as np

from takeup.invent.bed import Print, bed, page, slide
from takeup.invent.places import town
from takeup.invent.reel import leader_pictures, repeated
from takeup.invent.tape import Shot, tape_pictures
from takeup.invent.voices import side, strings, talk, through_input


def test_sound_is_the_same_every_time_and_stays_inside_full_scale():
    one, two = talk(2, 16000, 5), talk(2, 16000, 5)
    assert np.array_equal(one, two) and 0.2 < np.abs(one).max() <= 0.5
    assert not np.array_equal(one, talk(2, 16000, 6))
    assert np.abs(strings(2, 16000, 5)).max() <= 0.5


def test_only_the_input_clips_and_it_clips_flat():
    tape = side(0.5 * strings(2, 16000, 7), 16000, 8, blank_s=1)
    assert np.abs(through_input(tape, 0)).max() < 0.7
    loud = through_input(tape, 20)
    assert (loud == loud.max()).sum() > 50 and loud.max() < 1.0


def test_blank_tape_holds_hiss_and_leader_holds_less():
    rate = 16000
    tape = side(np.zeros((rate, 2)), rate, 9, blank_s=1, leader_s=1)

    def level(part):
        return 20 * np.log10(np.sqrt(np.mean(part**2)))

    assert -62 < level(tape[rate + 2000 : 2 * rate]) < -52
    assert level(tape[: rate - 100]) < -85


def test_each_picture_is_shown_as_often_as_its_scanner_shows_it():
    """18 in 30: 3 pictures in 5 frames, the first once or twice, never three times."""
    pictures = [np.full((2, 2, 3), at, np.uint8) for at in range(18)]
    shown = [int(picture[0, 0, 0]) for picture in repeated(iter(pictures), 18, 30)]
    assert len(shown) == 30 and sorted(set(shown)) == list(range(18))
    assert {shown.count(at) for at in range(18)} == {1, 2}


def test_tape_pictures_move_between_fields_and_rest_where_nothing_is_recorded():
    view = town(1, 900, 640)
    pictures = list(tape_pictures([Shot(view=view, pictures=3, move=(4.0, 0.0)), Shot(view=None, pictures=2)], 2))
    luma, blue, red = pictures[1]
    assert (luma.shape, blue.shape, red.shape) == ((576, 720), (576, 360), (576, 360))
    assert abs(float(np.median(pictures[4][0])) - 64) < 2
    top, bottom = luma[100:200:2, 100:600].astype(float), luma[101:201:2, 100:600].astype(float)
    shifts = [np.mean(np.abs(top[:, 20:-20] - bottom[:, 20 + by : bottom.shape[1] - 20 + by])) for by in range(-8, 9)]
    assert abs(int(np.argmin(shifts)) - 8) in (3, 4, 5)  # 4 pixels a field
    assert int(luma.min()) >= 4 and int(luma.max()) <= 1016


def test_prints_lie_where_they_were_laid_and_turned_clockwise():
    laid = Print(picture=town(3, 600, 400), width_in=6, height_in=4, middle_in=(5, 5), tilt=5.0)
    scan = bed([laid], (10, 10), 50, 4).astype(int)
    dark = np.abs(scan - 246).max(axis=2) > 25
    rows, columns = np.nonzero(dark)
    assert abs(rows.mean() - 250) < 6 and abs(columns.mean() - 250) < 6
    left, right = columns.min() + 30, columns.max() - 30
    assert np.nonzero(dark[:, right])[0][0] > np.nonzero(dark[:, left])[0][0] + 8  # the top edge falls to the right


def test_slide_has_sixteen_true_bits_and_pages_have_ink():
    pixels = slide(town(5, 300, 200), (300, 200), 6)
    assert pixels.dtype == np.uint16 and len(np.unique(pixels)) > 5000
    ink = np.zeros((100, 80), np.float32)
    ink[40:60, 20:60] = 1
    sheet = page(ink, 7)
    assert sheet[50, 40].mean() < 60 and sheet[10, 10].mean() > 215


def test_leader_is_even_and_bright():
    (picture,) = leader_pictures(1, (80, 60), 8)
    assert picture.mean() > 220 and picture.std() < 8
