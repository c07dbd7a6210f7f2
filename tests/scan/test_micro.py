"""Two pages, negatives, frames of a fiche, reduction: on invented pages whose truth is known by construction."""

import cv2
import numpy as np
import pytest
import tifffile
from tests.make.micro import fiche, single, spread
from tests.make.pages import as_scanned, sheet
from tests.make.scan import photographs

from takeup.measure.scan.fiche import fiche_frames
from takeup.measure.scan.page_light import page_light
from takeup.measure.scan.polarity import (
    base_polarity,
    codes_are_light,
    mask_polarity,
    may_be_masked,
    text_blocks,
    text_polarity,
)
from takeup.measure.scan.two_pages import two_pages
from takeup.streams import Original
from takeup.tasks.check import check_file
from takeup.tasks.checking import Asked


@pytest.mark.parametrize(
    ("seed", "fold", "kinds", "tilt"),
    [(0, "shadow", ("page", "page"), 0.0), (1, "gap", ("page", "photo"), 1.0), (2, "shadow", ("blank", "page"), -2.0),
     (3, "gap", ("chinese", "hand"), 0.0), (4, "none", ("page", "page"), 0.0)],
)  # fmt: skip
def test_the_line_between_two_pages_is_found(seed, fold, kinds, tilt):
    made = spread(seed, kinds=kinds, fold=fold, tilt=tilt, ppi=120)
    found = two_pages(made.pixels, tilt=tilt)
    assert found is not None
    assert found.top[0] == pytest.approx(made.top, abs=0.008 * made.pixels.shape[1])
    assert found.foot[0] == pytest.approx(made.foot, abs=0.008 * made.pixels.shape[1])


@pytest.mark.parametrize("rule", ["thin", "thick", ""])
@pytest.mark.parametrize("size", [(11, 8.5), (8.5, 11), (15, 11)])
def test_columns_about_a_rule_are_one_page(rule, size):
    assert two_pages(single(1, size_in=size, rule=rule, gap_in=0.45, ppi=100)) is None


@pytest.mark.parametrize("kind", ["page", "columns", "title", "photo", "blank"])
def test_a_single_page_is_one(kind):
    page = as_scanned(sheet(kind, 1, ppi=100, size_in=(11.69, 8.27)), margin_in=0.2).pixels
    assert two_pages(page) is None


def test_photographs_are_no_pages_and_no_negatives():
    for photo in photographs():
        for shown in (photo, 255 - photo):
            grey = cv2.cvtColor(shown, cv2.COLOR_RGB2GRAY)
            assert two_pages(grey) is None
            assert not mask_polarity(shown).negative
            assert text_polarity(grey).negative is None


def test_a_photograph_is_no_fiche():
    assert fiche_frames(cv2.cvtColor(photographs()[1], cv2.COLOR_RGB2GRAY)) is None


def test_pages_one_above_the_other_are_found_where_text_runs_up():
    made = spread(1, ppi=120)
    turned = np.ascontiguousarray(np.rot90(made.pixels))  # counterclockwise: column x becomes row width - x
    assert two_pages(turned) is None
    found = two_pages(turned, upright=True)
    assert found is not None and found.sideways
    assert found.top[1] == pytest.approx(made.pixels.shape[1] - made.top, abs=0.01 * made.pixels.shape[1])


@pytest.mark.parametrize("kind", ["page", "columns", "chinese", "hand"])
def test_letters_tell_a_negative(kind):
    page = as_scanned(sheet(kind, 2, ppi=120)).pixels
    assert text_polarity(page).negative is False
    assert text_polarity(255 - page).negative is True


def test_the_mask_of_a_colour_negative():
    """T = 10^-(m + g log10(exposure)) with the check values' m and g, coded with a gamma of 2.2."""
    for photo in photographs():
        if photo.std() < 30 or np.ptp(photo.mean(axis=(0, 1))) < 1:  # one is dark, one grey
            continue
        light = np.clip((photo / 255.0) ** 2.2, 0.005, 1)
        density = np.array([0.25, 0.65, 0.95]) + np.array([0.62, 0.60, 0.58]) * 0.6 * np.log10(light / 0.005)
        negative = np.rint(255 * 10 ** (-density / 2.2)).astype(np.uint8)
        assert mask_polarity(negative).negative is True
        warm = np.rint(photo * np.array([1.0, 0.8, 0.55])).astype(np.uint8)
        assert mask_polarity(warm).negative is None
        bright = density + np.array([0.62, 0.60, 0.58]) * 0.6 * np.log10(5)  # a stop or two more: 3 decades of light
        assert mask_polarity(np.rint(255 * 10 ** (-bright / 2.2)).astype(np.uint8)).negative is True
        yellowed = (0.02 + 0.8 * light) * [0.95, 0.8, 0.5]
        assert mask_polarity(np.rint(255 * yellowed ** (1 / 2.2)).astype(np.uint8)).negative is None


def test_clear_film_along_an_outline_tells_a_colour_negative_and_no_other():
    """Mask as in the check values; silver film and a slide's black edge have none."""
    assert base_polarity((0.25, 0.65, 0.95)).negative is True
    for other in ((0.28, 0.28, 0.28), (0.05, 0.10, 0.35), (2.4, 2.5, 2.6), (0.25,), ()):
        assert base_polarity(other).negative is None


def test_film_with_its_holes_may_carry_a_mask_and_a_bright_photograph_may_not():
    """A strip with an eighth of holes, half of them mixed by the miniature; photographs of which a fifth is light."""
    bright = 0
    for photo in photographs():
        light = np.clip((photo / 255.0) ** 2.2, 0.005, 1)
        density = np.array([0.25, 0.65, 0.95]) + np.array([0.62, 0.60, 0.58]) * 0.6 * np.log10(light / 0.005)
        strip = 10**-density
        strip[: strip.shape[0] // 4, ::8] = strip[: strip.shape[0] // 4, 1::8] = 0.6
        strip[: strip.shape[0] // 4, 2::8] = strip[: strip.shape[0] // 4, 3::8] = 1.0
        assert may_be_masked(strip)
        if (light[..., 2] > 0.4).mean() > 0.2:
            bright += 1
            assert not may_be_masked(light)
    assert bright >= 3
    assert not may_be_masked(np.ones((40, 40, 3)))  # nothing but the lamp


def test_the_base_tells_codes_that_are_light_from_coded_ones():
    """A gamma of 2.2 read where there is none makes every density 2.2 times as large, and the other way round."""
    for mask in ((0.25, 0.65, 0.95), (0.21, 0.58, 0.88), (0.25, 0.25, 0.25)):
        larger, smaller = tuple(2.2 * d for d in mask), tuple(d / 2.2 for d in mask)
        assert codes_are_light(larger, mask)
        assert not codes_are_light(mask, smaller)
    assert codes_are_light((), (0.25, 0.65, 0.95)) and not codes_are_light((0.25, 0.65, 0.95), ())


@pytest.mark.parametrize(
    ("seed", "rows", "columns", "negative", "left_out", "tilt"),
    [(1, 4, 6, True, 0, 0.7), (2, 3, 5, False, 2, -1.3), (3, 2, 3, False, 0, 0.0)],
)
def test_a_fiche_is_cut_into_its_frames(seed, rows, columns, negative, left_out, tilt):
    made = fiche(seed, rows=rows, columns=columns, negative=negative, left_out=left_out, tilt=tilt, frame=(120, 160))
    found = fiche_frames(made.pixels)
    assert found is not None
    assert len(found.frames) == len(made.frames)
    assert found.tilt == pytest.approx(tilt, abs=0.1)
    for corners, (x, y, width, height) in zip(found.frames, made.frames, strict=True):
        assert np.hypot(*(np.mean(corners, axis=0) - [x + width / 2, y + height / 2])) < 2


@pytest.mark.parametrize(("gap", "tilt"), [((2, 3), 0.06), ((3, 2), -1.4)])
def test_thin_strips_part_the_frames_of_a_fiche_too(gap, tilt):
    """Strips of two pixels, softened by the lens: none was told, or whole columns of frames passed for one frame."""
    made = fiche(7, rows=4, columns=6, frame=(100, 130), gap=gap, tilt=tilt)
    found = fiche_frames(made.pixels)
    assert found is not None and (found.rows, found.columns, len(found.frames)) == (4, 6, 24)
    for frame, (x, y, wide, tall) in zip(found.frames, made.frames, strict=True):
        assert np.mean(frame, axis=0) == pytest.approx((x + wide / 2, y + tall / 2), abs=3)


def test_frames_of_many_sizes_are_for_a_person():
    made = fiche(4, rows=3, columns=4, frame=(120, 160), header=False).pixels
    x, y = 60 + 136, 60  # the second frame is widened over the strip into the third
    made[y : y + 160, x + 100 : x + 160] = 200
    found = fiche_frames(made)
    assert found is not None and found.doubtful and not found.frames


def test_the_light_on_a_page_by_its_ground():
    """A plane of light from 1 - s to 1 + s over the page has a spread of s / sqrt(3) of its mean."""
    page = sheet("page", 1, ppi=120).pixels.astype(float) * 0.8
    s = 0.3
    light = 1 + s * np.linspace(-1, 1, page.shape[1])
    lit = np.rint(np.clip(page * light ** (1 / 2.2), 0, 255)).astype(np.uint8)
    found = page_light(lit, text_blocks(lit))
    assert found is not None
    assert found.uneven == pytest.approx(100 * s / np.sqrt(3), rel=0.05)
    even = page.astype(np.uint8)
    assert page_light(even, text_blocks(even)).uneven < 1


def _checked(path, pixels, carrier, ppi, **known):
    tifffile.imwrite(path, pixels, resolution=(ppi, ppi), resolutionunit=2)
    return check_file(path, Asked(original=Original(id="m1", carrier=carrier, **known)))[1]


def test_a_negative_frame_of_microfilm_through_a_check(tmp_path):
    report = _checked(tmp_path / "m.tif", 255 - spread(1, ppi=100).pixels, "microfilm", 4800, reduction=16.0)
    names = {finding.name: finding for finding in report.findings}
    assert {"two_pages", "polarity"} <= set(names)
    assert names["polarity"].verdict == "look" and names["polarity"].says == "polarity"
    assert report.measures["ppi"].value == 300.0  # 4800 / 16
    assert report.measures["ppi"].extra["from"] == "reduction"
    assert "resolution" not in names
    assert report.measures["pictures"].extra["negative"] is True


def test_a_fiche_through_a_check(tmp_path):
    made = fiche(1, rows=3, columns=4, frame=(120, 160), negative=True)
    report = _checked(tmp_path / "f.tif", made.pixels, "microfiche", 1200)
    assert len(report.measures["pictures"].value) == 12
    assert report.measures["ppi"].why == "scan.no-reduction"
    assert not {"split_unsure", "two_pages"} & {finding.name for finding in report.findings}
