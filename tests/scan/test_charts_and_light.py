"""Charts, grey scales, the lid: colours drawn from published ones, turned, tilted, with casts that are known.

Truth by construction (tests/make/scan_targets.py); targets of the check values 2.3 and part 5: a cast to 0.3, an
evenness to 0.05 %.
"""

import cv2
import numpy as np
import pytest
from make import scan as made
from make import scan_targets as things
from make.scan_targets_check import checked, look_for

from takeup.judge.scan_colour import cast_of, reference_of, stars
from takeup.measure.scan.chart import find_chart
from takeup.measure.scan.colour import ciede2000, lab_from_srgb, srgb_from_lab
from takeup.tables.loader import load_rows

ROWS = load_rows()
AFTER = reference_of(ROWS, "after")


def chart(turn=0, tilt=0.0, shift=(0.0, 0.0, 0.0), gain=1.0, noise=1.5, frame=30.0, colours=AFTER, gap=2.0, seed=0):
    """A 24-patch chart on a lid at 100 ppi: patches of 16 mm; ``shift`` in CIELAB on everything."""
    lab = np.array(colours) * [gain, 1, 1] + shift
    codes = 255 * np.clip(srgb_from_lab(lab), 0, 1).reshape(4, 6, 3)
    side, size = 16.0, (6 * 16 + 7 * gap, 4 * 16 + 5 * gap)

    def paint(u, v):
        i, j = np.floor((u - gap / 2) / (side + gap)), np.floor((v - gap / 2) / (side + gap))
        there = (np.abs(u - gap - i * (side + gap) - side / 2) <= side / 2) & (
            np.abs(v - gap - j * (side + gap) - side / 2) <= side / 2
        )
        there &= (i >= 0) & (i < 6) & (j >= 0) & (j < 4)
        own = codes[np.clip(j, 0, 3).astype(int), np.clip(i, 0, 5).astype(int)]
        return np.where(there[..., None], own, frame), np.ones(u.shape, bool)

    white = 255 * srgb_from_lab(np.array([97.0, 0, 0]) + shift)
    pixels = np.zeros((750, 750, 3), np.float32) + np.float32(white)
    things.lay(pixels, 100.0, (93, 97), size, 90 * turn + tilt, paint)
    return things.finished(pixels, seed, noise=noise), lab


@pytest.mark.parametrize(
    ("turn", "tilt", "frame", "gap"),
    [
        (0, 0.0, 30.0, 2.0),
        (1, 2.0, 30.0, 2.0),
        (2, -3.0, 200.0, 2.5),
        (3, 5.0, 90.0, 1.0),
        (0, 1.0, 240.0, 4.0),
        (0, 30.0, 30.0, 2.0),
        (2, -41.0, 90.0, 2.5),
    ],
)
def test_a_chart_is_found_however_it_lies_and_read(turn, tilt, frame, gap):
    pixels, lab = chart(turn, tilt, frame=frame, gap=gap)
    found = find_chart(pixels, lab_from_srgb, AFTER)
    assert found is not None and found.kind == "24" and found.turn == turn
    held = lab_from_srgb(np.clip(srgb_from_lab(lab), 0, 1))
    assert ciede2000(found.lab, held).max() < 0.6


@pytest.mark.parametrize(("shift", "gain"), [((0, 8.0, -6.0), 1.0), ((-5.0, 0, 9.0), 1.0), ((4.0, 0, 0), 0.8)])
def test_a_chart_is_found_on_a_station_that_is_off(shift, gain):
    pixels, lab = chart(1, 1.0, shift=shift, gain=gain)
    found = find_chart(pixels, lab_from_srgb, AFTER)
    assert found is not None and found.turn == 1


def test_what_is_read_of_a_chart_and_which_limits_that_meets():
    """White balance, tone and colour by the drawn values; cyan, which sRGB does not hold, is left out."""
    pixels, _ = chart(0, 1.0, shift=(1.5, 0, 0))
    report = checked(pixels, ppi=100)
    told = report.measures["chart"]
    assert told.value == 24 and told.extra["left_out"] == [17]
    assert told.extra["tone"] == pytest.approx(1.5, abs=0.3)
    assert told.extra["white_balance"] == pytest.approx(np.hypot(1.03, 2.93), abs=0.5)
    assert told.extra["de2000_mean"] == pytest.approx(1.3, abs=0.4)
    assert told.extra["meets"]["2016"]["de2000_mean"] == 4
    assert 0.2 < told.extra["noise_least"] < told.extra["noise"] < 1.0
    assert report.measures["pictures"].value == [] and len(report.measures["pictures"].extra["tools"]) == 1
    assert not {"split_unsure", "cast", "cut_off", "tilted"} & {one.name for one in report.findings}


def test_the_edition_of_the_chart_matters():
    """Check values 2.3: the two sets lie 0.85 apart in the mean, 1.95 at most."""
    apart = ciede2000(AFTER, reference_of(ROWS, "before"))
    assert apart.mean() == pytest.approx(0.85, abs=0.01) and apart.max() == pytest.approx(1.95, abs=0.01)


def mosaic(kind, seed):
    rng = np.random.default_rng(seed)
    if kind == "tiles":
        return chart(0, 1.0, colours=np.stack([rng.uniform(20, 95, 24), *rng.uniform(-60, 60, (2, 24))], 1))[0]
    if kind == "shuffled":
        return chart(0, 1.0, colours=AFTER[rng.permutation(24)])[0]
    pixels = np.full((750, 750, 3), 200.0)
    y, x = np.mgrid[0:750, 0:750]
    if kind == "shirt":
        pixels -= 50.0 * ((x // 40) % 2)[..., None] * [1, 0.5, 0.2]
        pixels -= 50.0 * ((y // 40) % 2)[..., None] * [0.2, 0.5, 1]
    if kind == "books":
        wide = np.cumsum(rng.integers(25, 60, 30))
        tones = rng.uniform(30, 220, (31, 3))
        pixels = tones[np.searchsorted(wide, x)] * (0.6 + 0.4 * ((y // 180) % 2))[..., None]
    return things.finished(np.float32(pixels), seed)


@pytest.mark.parametrize("kind", ["tiles", "shuffled", "shirt", "books"])
@pytest.mark.parametrize("seed", range(1))
def test_other_things_of_many_squares_are_no_chart(kind, seed):
    found = find_chart(mosaic(kind, seed), lab_from_srgb, AFTER)
    assert found is None or found.kind == "grey" and kind == "nothing"


def test_photographs_hold_no_chart():
    for art in made.photographs():
        assert find_chart(np.ascontiguousarray(art), lab_from_srgb, AFTER) is None


def grey_scale(steps=12, tilt=1.0, shift=(0.0, 0.0), turned=False, gap=0.0, frame=235.0):
    lab = np.stack([np.linspace(94, 18, steps), np.full(steps, shift[0]), np.full(steps, shift[1])], axis=1)
    codes = 255 * srgb_from_lab(lab)

    def paint(u, v):
        n = np.clip(np.floor((u - 2) / 12), 0, steps - 1).astype(int)
        there = (u > 2) & (u < 2 + 12 * steps) & (v > 2) & (v < 14) & (np.abs((u - 2) % 12 - 6) < 6 - gap / 2)
        return np.where(there[..., None], codes[n], frame), np.ones(u.shape, bool)

    pixels = things.glass((750, 750))
    things.lay(pixels, 100.0, (95, 95), (12 * steps + 4, 16), tilt + 90 * turned, paint)
    return things.finished(pixels), lab


@pytest.mark.parametrize("turned", [False, True])
def test_a_grey_scale_is_found_and_tells_the_cast(turned):
    pixels, lab = grey_scale(shift=(2.0, -3.0), turned=turned)
    found = find_chart(pixels, lab_from_srgb, AFTER)
    assert found is not None and found.kind == "grey"
    (a, b), source = cast_of(None, found, ROWS)
    assert source == "target" and (a, b) == (pytest.approx(2.0, abs=0.3), pytest.approx(-3.0, abs=0.3))


def test_a_grey_scale_is_found_turned_and_where_its_frame_hides_a_step():
    """Its frame is as light as the third of twelve steps, L* 80.2 of 94 down to 18."""
    pixels, lab = grey_scale(tilt=-33.0, gap=2.0, frame=float(255 * srgb_from_lab(np.array([80.2, 0, 0]))[1]))
    found = find_chart(pixels, lab_from_srgb, AFTER)
    assert found is not None and found.kind == "grey"
    assert found.lab[:, 0] == pytest.approx(lab[:, 0], abs=0.6)


@pytest.mark.parametrize("shift", [(0.0, 0.0), (3.0, 0.0), (0.0, -4.0), (-6.0, 5.0), (7.0, 2.0)])
def test_the_lid_tells_the_cast_to_three_tenths(shift):
    lid = np.zeros((600, 500, 3), np.float32) + np.float32(255 * srgb_from_lab(np.array([93.0, *shift])))
    told = cast_of(look_for(things.finished(lid)), None, ROWS)
    assert told == ((pytest.approx(shift[0], abs=0.3), pytest.approx(shift[1], abs=0.3)), "lid")


@pytest.mark.parametrize(
    ("shift", "said", "times"), [((0.0, -4.0), False, 1), ((-6.0, 5.0), True, 1), ((-6.0, 5.0), True, 2)]
)
def test_a_cast_of_the_lid_over_five_is_said_beside_photographs(shift, said, times):
    """Also on a scan so small that no noise is averaged before the lid is sought."""
    codes = 255 * srgb_from_lab(np.array([93.0, *shift]))
    bed = np.zeros((600 * times, 500 * times, 3), np.float32) + np.float32(codes)
    wide, high = 180 * times, 250 * times
    for n, (x, y) in enumerate(((45 * times, 50 * times), (260 * times, 280 * times))):
        art = cv2.resize(made.photographs()[n], (wide, high), interpolation=cv2.INTER_AREA)
        bed[y : y + high, x : x + wide] = art * 0.8 + 16.0
    report = checked(things.finished(bed), ppi=100)
    told = report.measures["cast"]
    assert told.extra["from"] == "lid"
    assert (told.value["a"], told.value["b"]) == (pytest.approx(shift[0], abs=0.3), pytest.approx(shift[1], abs=0.3))
    assert ("cast" in {one.name for one in report.findings}) == said


def test_the_margin_of_a_page_tells_its_paper_and_is_no_fault():
    codes = 255 * srgb_from_lab(np.array([88.0, 2.0, 14.0]))
    page = made.page(1, ppi=100, size_in=(6, 6)).astype(np.float32)[..., None] / 236 * np.float32(codes)
    report = checked(np.clip(page, 0, 255).astype(np.uint8), ppi=300, carrier="document")
    told = report.measures["cast"]
    assert told.extra["from"] == "paper" and told.value["b"] == pytest.approx(14.0, abs=0.3)
    assert "cast" not in {one.name for one in report.findings}


def test_a_picture_that_fills_the_scan_tells_no_cast():
    for n in (0, 3, 5):
        art = cv2.resize(made.photographs()[n], (600, 400), interpolation=cv2.INTER_AREA)
        assert checked(art, ppi=600).measures["cast"].value is None


@pytest.mark.parametrize(("kind", "depth", "found"), [("plane", 0.0, False), ("plane", 0.06, False),
                                                      ("cosine", 0.5, True), ("plane", 0.4, True)])  # fmt: skip
def test_uneven_light_is_the_known_plane_or_cosine(kind, depth, found):
    """Luminance of a lid times a plane or a cosine hill: standard deviation over mean of the same 25 cells, 0.05 %."""
    side, cells = 500, 5
    y, x = (np.mgrid[0:side, 0:side] + 0.5) / side
    light = 0.85 * (1 - depth * x if kind == "plane" else 1 - depth + depth * np.cos((x - 0.5) * 2) * np.cos(y - 0.5))
    from takeup.measure.scan.colour import srgb_codes

    rng = np.random.default_rng(1)
    codes = np.repeat(255 * srgb_codes(light)[..., None], 3, axis=2) + rng.normal(0, 1.2, (side, side, 3))
    told = look_for(np.clip(np.rint(codes), 0, 255).astype(np.uint8))
    means = light.reshape(cells, side // cells, cells, side // cells).mean(axis=(1, 3))
    assert told.cells == 25
    assert told.uneven_light == pytest.approx(100 * means.std() / means.mean(), abs=0.05)
    report = checked(np.clip(np.rint(codes), 0, 255).astype(np.uint8), ppi=100)
    assert ("uneven_light" in {one.name for one in report.findings}) == found


def test_stars_are_limits_met_from_one_star_up():
    assert [stars(x, [8, 6, 4, 2]) for x in (9, 8, 5, 2.01, 2, 0)] == [0, 1, 2, 3, 4, 4]


def test_clipped_and_grey_scans_tell_no_cast():
    white = np.full((600, 600, 3), 255, np.uint8)
    assert checked(white, ppi=100).measures["cast"].value is None
    assert checked(white[..., 0] - 20, ppi=100).measures["cast"].why == "scan.cast-grey"


@pytest.mark.parametrize(
    ("lab", "said"),
    [((88, 3, 20), None), ((92, -9, 4), "cast.paper"), ((92, 2, -9), "cast.paper"), ((94, 0, -2), None)],
)
def test_paper_in_a_colour_that_age_does_not_give_it_is_told_and_yellowed_paper_is_not(lab, said):
    """One even sheet with dark lines; its colour in CIELAB is drawn and must come back to 0.3 either way."""
    page = np.tile(255 * srgb_from_lab(np.array(lab, float)), (600, 450, 1))
    page[90:510:30, 60:390] = 40
    noisy = page + np.random.default_rng(5).normal(0, 1, page.shape)
    report = checked(np.clip(np.rint(noisy), 0, 255).astype(np.uint8), ppi=100, carrier="newspaper")
    cast = report.measures["cast"]
    assert cast.extra["from"] == "paper" and cast.value == pytest.approx({"a": lab[1], "b": lab[2]}, abs=0.3)
    assert [one.says for one in report.findings if one.name == "cast"] == ([said] if said else [])


def test_a_lid_clipped_in_one_colour_is_coloured_and_nobody_can_tell_by_how_much():
    """Red stands at 255 on the whole lid, so a* and b* are at least what is left of them."""
    bed = np.empty((500, 400, 3), np.uint8)
    bed[:] = (255, 228, 236)
    bed[150:350, 120:280] = np.random.default_rng(2).integers(40, 180, (200, 160, 3))
    report = checked(bed, ppi=100)
    assert report.measures["cast"].value is None and report.measures["cast"].why == "scan.cast-clipped"
    assert [one.says for one in report.findings if one.name == "cast"] == ["cast.lid"]
