"""Recommendation ITU-R BT.601-7 (2011): codes of black and white, samples of a line, where colour samples lie."""

import numpy as np
import pytest

from takeup.judge.video_picture import displayed_aspect
from takeup.measure.video import chroma, levels
from takeup.streams import PictureStream
from takeup.tables.loader import load_rows


@pytest.mark.parametrize(("bits", "black", "white"), [(8, 16, 235), (10, 64, 940)])
def test_black_and_white_are_16_and_235_in_eight_bits_64_and_940_in_ten(bits, black, white):
    """BT.601-7 2.5.3: luminance black level 16 (64), peak level 235 (940)."""
    rows = load_rows()
    assert (rows.value("video.levels.black_code"), rows.value("video.levels.white_code")) == (16, 235)
    luma = np.full((576, 720), black, np.uint16 if bits > 8 else np.uint8)
    luma[:, 360:] = white
    state = levels.step(levels.begin(576, 720, bits), luma)
    found = levels.finish(state, noise=0.0, bar=0, rails=(1, 254), limits=(5, 246))
    assert found.black == pytest.approx(16, abs=0.5) and found.white == pytest.approx(235, abs=0.5)


@pytest.mark.parametrize("across", [2, 4])
def test_colour_samples_lie_on_the_first_of_their_luma_samples(across):
    """BT.601-7 2.5.2: colour samples co-sited with odd (first, third ...) luma samples: no half-sample offset."""
    edge = 1 / (1 + np.exp(-(np.arange(720) - 360.0) / 5))
    luma = np.repeat((40 + 150 * edge)[None], 576, 0).astype(np.uint8)
    colour = np.repeat((90 + 80 * edge[::across])[None], 576, 0).astype(np.uint8)
    state = chroma.step(chroma.begin(), (luma, colour, colour), 8)
    assert chroma.finish(state, least_places=20, sure_px=0.3).delay_px == pytest.approx(0, abs=0.3)


@pytest.mark.parametrize("width", [720, 704])
def test_a_line_of_720_samples_without_a_stated_shape_is_not_taken_for_square(width):
    """BT.601-7: 720 samples a digital active line in both systems; 4:3 needs a shape that is not 1."""
    stream = PictureStream(
        codec="v210", width=width, height=576, rate=None, pixel_format="yuv422p10le", bits=10, shape=None,
        field_order=None, lossy=False, pictures_stated=None, seconds_stated=None,
    )  # fmt: skip
    assert displayed_aspect(stream, load_rows()) is None
