"""Enlarged and lossily packed scans, against natives with grain. Truth by construction: the scan is enlarged or packed
here, by the libraries themselves; bench/scan_origin.py has the long trials."""

from functools import cache
from io import BytesIO

import cv2
import numpy as np
import pytest
import pyvips
from make import scan as made
from PIL import Image

from takeup.measure.scan import depth, miniature
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.origin import origin, origin_places
from takeup.measure.scan.pictures import Pictures
from takeup.measure.scan.windows import Place, Window


@cache
def native(seed=0, size=560):
    """A soft photograph (its own packing blurred away), film grain and a scanner's noise."""
    rng = np.random.default_rng(seed)
    art = cv2.resize(made.photographs()[seed % 7], (size, size), interpolation=cv2.INTER_CUBIC).astype(np.float32)
    art = cv2.GaussianBlur(art, (0, 0), 4.0) * 0.7 + 20
    grain = cv2.GaussianBlur(rng.normal(0, 1, (size, size)).astype(np.float32), (0, 0), 0.5 + 0.2 * (seed % 4))
    scan = art + (3 * grain / grain.std())[..., None] + rng.normal(0, 1.2, art.shape)
    return np.clip(np.rint(scan), 0, 255).astype(np.uint8)


def looked(pixels, side=448):
    across, down = pixels.shape[1] - side, pixels.shape[0] - side
    kept = [
        Window(place=Place(y, x, side, side), pixels=pixels[y : y + side, x : x + side])
        for x, y in ((0, 0), (across, down), (across, 0), (0, down))
    ]
    return origin(kept, int(np.iinfo(pixels.dtype).max))


@pytest.mark.parametrize("seed", range(4))
def test_a_native_scan_is_neither_enlarged_nor_packed(seed):
    found = looked(native(seed))
    assert found.enlarged.factor == 1.0
    assert found.blocks.certainty < 0.1


def pillow(pixels, factor):
    side = round(pixels.shape[0] * factor)
    return np.asarray(Image.fromarray(pixels).resize((side, side), Image.LANCZOS))


def opencv(pixels, factor):
    return cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=cv2.INTER_CUBIC)


def libvips(pixels, factor):
    return pyvips.Image.new_from_array(pixels).resize(factor, kernel="linear").numpy()


@pytest.mark.parametrize(
    ("factor", "by"),
    [(1.25, pillow), (1.25, libvips), (1.5, pillow), (1.5, opencv), (2.0, opencv), (2.0, libvips), (4.0, pillow),
     (4.0, libvips)],
)  # fmt: skip
def test_enlarging_is_told_with_its_factor(factor, by):
    assert looked(by(native(3), factor)).enlarged.factor == pytest.approx(factor, rel=0.01)


@pytest.mark.parametrize(("factor", "by"), [(8 / 3, opencv), (8 / 3, libvips), (4 / 3, pillow), (3.0, pillow)])
def test_enlargements_that_share_a_period_are_parted(factor, by):
    """2.667 and 1.6, 4 and 1.333, 3 and 1.5 come back to the same phase at the same rate."""
    assert looked(by(native(5), factor)).enlarged.factor == pytest.approx(factor, rel=0.01)


@pytest.mark.parametrize("degrees", [0, 45])
def test_a_printed_screen_is_no_enlargement(degrees):
    """Dots of ink at 150 lines an inch, read at 600: four pixels from dot to dot."""
    rows, columns = np.indices((1120, 1120)) / 2
    turn, wave = np.deg2rad(degrees), 2 * np.pi * 150 / 600.3
    along, across = (columns * np.cos(turn) + rows * np.sin(turn), rows * np.cos(turn) - columns * np.sin(turn))
    screen = (np.cos(wave * along) + np.cos(wave * across)) / 4 + 0.5
    art = cv2.resize(made.photographs()[4], (1120, 1120)).astype(np.float32).mean(axis=2) / 255
    ink = cv2.resize(np.where(art > screen, 230.0, 45.0).astype(np.float32), (560, 560), interpolation=cv2.INTER_AREA)
    scan = cv2.GaussianBlur(ink, (0, 0), 0.6) + np.random.default_rng(8).normal(0, 1.2, ink.shape)
    assert looked(np.clip(np.rint(scan), 0, 255).astype(np.uint8)[..., None]).enlarged.factor == 1.0


@pytest.mark.parametrize("how", [cv2.INTER_LINEAR, cv2.INTER_CUBIC])
def test_a_copy_made_smaller_is_no_enlargement(how):
    assert looked(cv2.resize(native(6, 660), None, fx=0.75, fy=0.75, interpolation=how)).enlarged.factor == 1.0


def test_where_no_picture_has_room_the_lid_is_looked_at():
    noisy = np.random.default_rng(2).normal(243, 1.2, (680, 680, 3))
    small = miniature.Miniature(pixels=np.clip(np.rint(noisy), 0, 255).astype(np.uint8), block=1)
    nothing = Pictures(prints=(), unsure=(), ground="empty")
    places = origin_places(FirstLook(small=small, pictures=nothing, size=(680, 680), ppi=300, full_scale=255))
    assert len(places) == 4


def test_doubled_pixels_are_told():
    assert looked(native(1).repeat(2, axis=0).repeat(2, axis=1)).enlarged.factor == 2.0


@pytest.mark.parametrize(("quality", "coarse"), [(75, 2), (90, 0), (97, 2), (98, 0)])
def test_a_lossy_grid_is_told_with_what_was_cropped(quality, coarse):
    file = BytesIO()
    Image.fromarray(native(2)).save(file, "JPEG", quality=quality, subsampling=coarse)
    packed = np.asarray(Image.open(file))[5:, 3:]
    for pixels in (packed, packed.astype(np.uint16) * 257):
        found = looked(pixels).blocks
        assert found.certainty > 0.8
        assert found.cropped == (3, 5)


@pytest.mark.parametrize(("gain", "marks"), [(1.0, (False, False)), (1.2, (True, False)), (0.85, (False, True))])
def test_tones_that_were_spread_or_pressed_leave_gaps_or_combs(gain, marks):
    spread = np.clip(np.rint(native(0) * gain), 0, 255).astype(np.uint8)
    found = depth.finish(depth.step(depth.begin(8), spread))
    assert (found.gaps >= 4, found.combs >= 8) == marks
    assert found.bits == 8
