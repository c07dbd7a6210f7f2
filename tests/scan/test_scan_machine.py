"""The scanner's own faults, put into invented beds and real photographs at known places; clean controls beside each.

Truth by construction: the faults are added to what the sensor saw, before its codes are rounded.
"""

from functools import lru_cache

import cv2
import numpy as np
import pytest
from make import scan as made

from takeup.judge.scan import Seen
from takeup.judge.scan_machine import Machine, machine_findings
from takeup.measure.scan import miniature, rings, scan_lines, specks, streaks
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.lid_only import lid_only
from takeup.measure.scan.pictures import Pictures, Print
from takeup.measure.scan.windows import Place, Window
from takeup.streams import StillImage
from takeup.tables.loader import load_rows

ROWS, COLUMNS = 1400, 1000
CORNERS = ((150.0, 300.0), (800.0, 330.0), (780.0, 960.0), (130.0, 930.0))


@lru_cache(maxsize=4)
def light(kind="white", stripes=False):
    """What the sensor saw of a bed with one print, before rounding: float, with the noise of each pixel (1.5 codes)."""
    rng = np.random.default_rng(7)
    pixels = made.lid(rng, ROWS, COLUMNS, 22 if kind == "black" else 241, 4.0)
    art = made.photograph(rng, 650, 630)
    if stripes:  # a shirt, a fence: lines of the picture's own
        art[:, ::12] *= 0.4
    made.put(pixels, art, np.array(CORNERS), shadow=None if kind == "black" else (1, 2, 1.6, 20.0))
    for _ in range(60):
        x, y = int(rng.integers(COLUMNS)), int(rng.integers(ROWS))
        pixels[y : y + 2, x : x + 3] = rng.uniform(60, 200)
    x, y = 900, 100
    for n in range(180):  # a hair that stands nearly upright
        pixels[y + n, x + n // 60] -= 25
    return pixels + rng.normal(0, 1.5, pixels.shape)


def coded(pixels, bits=8):
    top = 255 if bits == 8 else 65535
    return np.clip(np.rint(pixels * (top / 255)), 0, top).astype(np.uint8 if bits == 8 else np.uint16)


def look_at(scan, block=1):
    small = miniature.finish(miniature.step(miniature.begin(block), scan))
    one = Print(corners=CORNERS, tilt=2.6, meets=(False,) * 4, sure=4, clear=True)
    size = (scan.shape[1], scan.shape[0])
    pictures = Pictures(prints=(one,), unsure=(), ground="lid")
    return FirstLook(small=small, pictures=pictures, size=size, ppi=150, full_scale=int(np.iinfo(scan.dtype).max))


def folded(measure, scan, cuts=(416, 832, 1248), block=1):
    first = look_at(scan, block)
    state = measure.begin(lid_only(first), first.full_scale)
    for strip in np.split(scan, list(cuts)):
        state = measure.step(state, strip)
    return state


def streaks_of(scan, **how):
    return streaks.finish(folded(streaks, scan, **how), certain=6.5, least_levels=0.2, least_seen=0.5)


# half a level in 255: the target of the check values, part 5
@pytest.mark.parametrize(
    ("kind", "levels", "bits", "column"),
    [("white", 0.5, 8, 77), ("white", -0.5, 8, 500), ("black", 0.5, 8, 640), ("white", -0.5, 16, 333),
     ("white", 4.0, 8, 91), ("white", -200.0, 8, 470)],
)  # fmt: skip
def test_a_streak_of_half_a_level_is_found_in_its_column(kind, levels, bits, column):
    pixels = light(kind).copy()
    pixels[:, column] += levels
    found = streaks_of(coded(pixels, bits)).found
    assert len(found) == 1
    assert found[0].x <= column < found[0].x + found[0].width
    assert found[0].whole
    assert found[0].levels == pytest.approx(levels, abs=0.2 if abs(levels) < 10 else 20)


def test_a_streak_of_one_colour_that_begins_halfway_is_told_from_there():
    pixels = light().copy()
    pixels[700:, 901:903, 0] -= 1.5
    found = streaks_of(coded(pixels)).found
    assert [one.whole for one in found] == [False]
    assert found[0].x in (900, 901, 902)
    assert found[0].y == pytest.approx(700, abs=60)
    assert found[0].y + found[0].height == ROWS


@pytest.mark.parametrize(
    ("block", "kind", "stripes"),
    [(1, "white", True), (1, "black", False), (3, "white", False), (3, "white", True), (3, "black", False),
     (3, "black", True)],
)  # fmt: skip
def test_a_clean_bed_has_no_streaks_no_bands_and_no_repeated_lines(block, kind, stripes):
    scan = coded(light(kind, stripes))
    assert streaks_of(scan, block=block).found == ()
    lines = scan_lines.finish(folded(scan_lines, scan, block=block), most=8)
    assert (lines.repeated, lines.lost) == ((), ())
    assert lines.clear < 20


def test_strips_do_not_matter():
    scan = coded(light())
    one, other = (streaks_of(scan, cuts=cuts, block=3) for cuts in ((), (1, 50, 51, 800)))
    assert one == other
    lines = [scan_lines.finish(folded(scan_lines, scan, cuts=cuts), most=8) for cuts in ((), (1, 50, 51, 800))]
    assert lines[0].levels == pytest.approx(lines[1].levels)
    assert lines[0].repeated == lines[1].repeated


def test_repeated_and_lost_rows_are_told_to_the_row():
    scan = coded(light()).copy()
    scan[416] = scan[415]  # the first row of a strip
    scan[900:902] = scan[899]
    scan[1100] = 0
    lines = scan_lines.finish(folded(scan_lines, scan), most=8)
    assert lines.repeated == ((416, 1), (900, 2))
    assert lines.lost == ((1100, 1),)


def test_a_block_of_rows_that_comes_again_is_told_to_the_row():
    scan = coded(light()).copy()
    scan[507:514] = scan[500:507]
    lines = scan_lines.finish(folded(scan_lines, scan, cuts=(416, 510, 1248)), most=8)
    assert (lines.repeated, lines.lost) == (((507, 7),), ())


def test_half_a_level_is_told_on_a_woven_lid():
    """A weave of one code, 3 px wide: a column's mean over 1400 rows of lid wanders by 0.06 codes and more."""
    rng = np.random.default_rng(4)
    weave = made.cv2.GaussianBlur(rng.normal(0, 1, (ROWS, COLUMNS)).astype(np.float32), (0, 0), 1.5)
    pixels = light() + (weave / weave.std())[..., None]
    assert streaks_of(coded(pixels)).found == ()
    pixels[:, 77] += 0.5
    assert [(one.x, one.width) for one in streaks_of(coded(pixels)).found] == [(77, 1)]


def test_a_drawing_without_noise_has_no_repeated_rows():
    scan = np.repeat(np.repeat(coded(light())[::2, ::2], 2, axis=0), 2, axis=1)
    lines = scan_lines.finish(folded(scan_lines, scan), most=8)
    assert (lines.repeated, lines.lost) == ((), ())


@pytest.mark.parametrize(("period", "swing"), [(7.3, 0.4), (41.0, 0.6)])
def test_bands_of_the_carriage_are_told_with_their_spacing(period, swing):
    wave = swing * np.sin(2 * np.pi * np.arange(ROWS) / period)[:, None, None]
    lines = scan_lines.finish(folded(scan_lines, coded(light() + wave)), most=8)
    assert lines.clear > 40
    assert lines.period_rows == pytest.approx(period, rel=0.02)
    assert lines.levels == pytest.approx(swing, rel=0.15)


@lru_cache(maxsize=8)
def slide(number):
    rng = np.random.default_rng(number)
    art = made.photographs()[number]
    seen = made.cv2.resize(art, (900, 620), interpolation=made.cv2.INTER_AREA).astype(np.float32) * 0.82 + 16
    return seen + rng.normal(0, 1.2, seen.shape).astype(np.float32)


def ringed(seen, middle, first_px, contrast):
    """Dark rings at r = sqrt(m L R), L of each colour; ``contrast`` between the brightest and the darkest."""
    y, x = np.mgrid[: seen.shape[0], : seen.shape[1]]
    r2 = (x - middle[0]) ** 2 + (y - middle[1]) ** 2
    fade = 1 / (1 + np.exp((np.sqrt(r2) - 320) / 30))
    waves = [np.cos(np.pi * r2 / (first_px**2 * nm / 540)) ** 2 for nm in (610, 540, 460)]
    return seen * (1 - 2 * contrast / (1 + contrast) * np.stack(waves, 2) * fade[..., None])


def rings_of(pixels):
    inside = np.ones(pixels.shape[:2], bool)
    return rings.rings_in(pixels, inside, rings.SIDE_PX / max(pixels.shape[:2]))


@pytest.mark.parametrize("number", [3, 4, 5])
def test_newtons_rings_are_told_by_their_colours(number):
    x, y, first_px, _, coloured, _ = rings_of(coded(ringed(slide(number), (400, 260), 70, 0.04)))
    assert coloured > 5.8
    assert (x, y) == (pytest.approx(400, abs=15), pytest.approx(260, abs=15))
    assert first_px == pytest.approx(70, rel=0.05)


@pytest.mark.parametrize("number", range(6))
def test_photographs_have_no_rings(number):
    assert rings_of(coded(slide(number)))[4] < 5.4


def test_a_black_picture_without_noise_has_no_rings():
    assert rings_of(np.zeros((400, 600, 3), np.uint8)) is None


def test_circles_of_one_pitch_for_all_colours_are_no_rings():
    y, x = np.mgrid[:620, :900]
    target = np.cos(np.pi * ((x - 400.0) ** 2 + (y - 260.0) ** 2) / 70**2)[..., None] * 8
    assert rings_of(coded(slide(5) + target))[4] < 5.4


def specks_of(pixels, **how):
    window = Window(place=Place(y=0, x=0, width=pixels.shape[1], height=pixels.shape[0]), pixels=pixels)
    return specks.specks([window], 255, **{"dark_only": False} | how)[0]


@pytest.mark.parametrize("number", [0, 1, 2, 4, 6])
def test_photographs_have_few_specks_of_their_own_and_dusty_ones_many(number):
    """Of 300 laid evenly over a picture its smooth share lies on smooth ground, to three standard deviations; no more
    may be told, beside the picture's own."""
    clean = specks_of(coded(slide(number)))
    assert clean.count < 10  # scan.dust.least
    rng = np.random.default_rng(number)
    dusty = slide(number).copy()
    for _ in range(300):
        x, y, long = int(rng.integers(890)), int(rng.integers(610)), int(rng.integers(2, 5))
        dusty[y : y + 2, x : x + long] *= 0.3
    told = specks_of(coded(dusty), dark_only=True)
    assert told.count >= 10
    on_smooth = 300 * clean.smooth
    assert told.count <= on_smooth + 3 * on_smooth**0.5 + clean.count


@pytest.mark.parametrize("height", [12.0, 20.0])
def test_a_texture_with_long_tails_has_no_specks(height):
    """Grass and coarse grain have marks of all heights, and many more of them a little lower; dust stands far above."""
    grain = cv2.GaussianBlur(np.random.default_rng(8).laplace(0, 1, (620, 900)), (0, 0), 1.2)
    assert specks_of(coded(120 + height * grain[..., None] + np.zeros(3))).count < 10  # scan.dust.least


@pytest.mark.parametrize(("tool", "said"), [((110.0, 210.0, 380.0, 280.0), 0), ((0.0, 0.0, 60.0, 900.0), 1)])
def test_a_charts_patches_are_no_rings_and_a_ruler_beside_a_picture_hides_none(tool, said):
    image = StillImage(
        codec="tiff", compression=None, width=900, height=900, channels=3, bits_stated=8, ppi_stated=300.0,
        ppi_y_stated=300.0, profile=None, lossy=False,
    )  # fmt: skip
    told = rings.Rings(
        x=300.0, y=350.0, first_px=40.0, clear=9.0, coloured=9.0, codes=2.0, area=(100.0, 200.0, 400.0, 300.0)
    )
    seen = Seen(image=image, machine=Machine(rings=(told,)), tools=(tool,))
    assert [one.name for one in machine_findings(seen, "print", load_rows())] == ["rings"] * said
