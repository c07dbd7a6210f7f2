"""The true resolution from rulers, perforations and known sizes: against drawn ones (tests/make/scan_targets.py).

Target of the check values, 2.2: within 0.02 % with 100 mm of a ruler in view, both axes.
"""

import cv2
import numpy as np
import pytest
from make import scan as made
from make import scan_targets as things

from takeup.judge.scan import Seen, judge_scan
from takeup.judge.scan_scale import sizes_for
from takeup.measure.scan import miniature
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.pictures import Pictures, pictures
from takeup.measure.scan.scale import Scale, scale
from takeup.streams import Original, StillImage
from takeup.tables.loader import load_rows
from takeup.tasks.scan_looks import papers_of, pictures_whole

ROWS = load_rows()


def first_look(pixels, stated, family="print", block=2):
    pixels = pixels if pixels.ndim == 3 else pixels[..., None]
    small = miniature.finish(miniature.step(miniature.begin(block), pixels))
    size = pixels.shape[1::-1]
    many = family in ("print", "film")
    seen = pictures(small.pixels, block, size, ppi=stated, many=many, papers=papers_of(ROWS))
    return FirstLook(small=small, pictures=seen, size=size, ppi=stated, full_scale=255)


def look(pixels, stated=300, family="print", block=2):
    return scale(first_look(pixels, stated, family, block), family, sizes_for(family, ROWS))


def findings(found: Scale, stated, size, carrier="print", down=None):
    image = StillImage(
        codec="tiff", compression=None, width=size[0], height=size[1], channels=3, bits_stated=8, ppi_stated=stated,
        ppi_y_stated=down or stated, profile="sRGB", lossy=False,
    )  # fmt: skip
    whole = pictures_whole(size)
    _, told = judge_scan(Seen(image=image, scale=found, pictures=whole), Original(id="x", carrier=carrier), ROWS)
    return {one.says: one.verdict for one in told if one.name == "resolution"}


def with_ruler(unit, ppi, tilt, *, upright=False, seed=0, **how):
    size = (3.2, 6.6) if upright else (6.6, 3.2)
    pixels = things.glass((round(size[0] * ppi), round(size[1] * ppi)))
    paint, body = things.ruler(unit, length=how.pop("length", 100), **how)
    things.lay(pixels, ppi, (size[0] * 12.7 + 0.31, size[1] * 12.7 - 0.17), body, tilt + 90 * upright, paint)
    return things.finished(pixels, seed)


RULERS = [
    ("mm", 0.0, {}), ("mm", 1.3, {}), ("mm", -4.0, {"upright": True}), ("inch", 2.0, {}), ("inch", 178.5, {}),
    ("mm", 0.7, {"body": (60.0,) * 3, "ink": (220.0,) * 3}), ("half", 0.4, {"lengths": (2.8, 3.6, 5.0)}),
    ("mm", 2.5, {"thick": 0.35, "digits": False, "body": (170.0,) * 3, "ink": (110.0,) * 3, "upright": True}),
]  # fmt: skip


@pytest.mark.parametrize(("unit", "tilt", "how"), RULERS)
def test_a_ruler_tells_the_true_resolution(unit, tilt, how):
    found = look(with_ruler(unit, 298.7, tilt, **dict(how)))
    assert found.source == "ruler"
    assert found.ppi == pytest.approx(298.7, rel=2e-4)
    assert (found.down if how.get("upright") else found.across) is not None


def test_two_rulers_tell_both_axes_and_a_carriage_that_runs_fast():
    pixels = things.glass((1500, 1500))
    for centre, tilt in (((72, 20), 1.0), ((20, 74), 89.2)):
        paint, body = things.ruler("mm", length=85)
        things.lay(pixels, 300.0, centre, body, tilt, paint, ppi_down=298.5)
    found = look(things.finished(pixels))
    assert found.across == pytest.approx(300.0, rel=2e-4) and found.down == pytest.approx(298.5, rel=2e-4)
    assert findings(found, 300, (1500, 1500))["resolution.axes"] == "look"
    assert "resolution.axes" not in findings(Scale(across=300.0, down=300.2, source="ruler"), 300, (1500, 1500))


@pytest.mark.parametrize("stated", [72, 150, 600, 762, 118.11])
def test_a_wrong_tag_is_caught_with_a_ruler_and_a_right_one_is_not(stated):
    """300 ppi retagged as 150, 600, 72; inch taken for cm and the other way (factor 2.54)."""
    pixels = with_ruler("mm", 300.0, 1.0)
    found = look(pixels, stated)
    assert found.ppi == pytest.approx(300, rel=2e-4)
    assert findings(found, stated, pixels.shape[1::-1])["resolution.wrong-tag"] == "look"
    assert "resolution.wrong-tag" not in findings(found, 299.0, pixels.shape[1::-1])


def test_levels_are_held_against_the_true_resolution():
    """A scan of 600 ppi whose tag says 72 is kept; one of 72 with a tag of 600 is not (FADGI: 100 at least)."""
    true, size = Scale(across=600.0, source="ruler"), (5000, 7000)
    assert findings(true, 72, size) == {"resolution.wrong-tag": "look"}
    low = findings(Scale(across=72.0, source="ruler"), 600, (500, 700))
    assert low == {"resolution.wrong-tag": "look", "resolution.too-low": "redo"}
    assert findings(Scale(), 72, (7200, 10200)) == {"resolution.beyond-glass": "look"}
    assert findings(Scale(), 600, (7200, 10200)) == {}


def stripes(kind, seed=4):
    """Things with even marks that are no ruler, 300 ppi."""
    rng = np.random.default_rng(seed)
    pixels = things.glass((1500, 900))
    x = np.arange(1500)
    if kind == "comb":
        pixels[200:420, 100:1300][:, (x[100:1300] % 19) < 8] = 40
        pixels[160:200, 100:1300] = 40
    if kind == "fence":
        pixels[200:800, (x % 25) < 9] = 90
        pixels[300:320] = pixels[600:620] = 80
    if kind == "barcode":
        at = 150
        while at < 1300:
            wide = 4 * int(rng.integers(1, 5))
            pixels[300:600, at : at + wide] = 20
            at += wide + 4 * int(rng.integers(1, 5))
    if kind == "underscores":
        for row in range(150, 800, 60):
            for at in range(120, 1350, 30):
                pixels[row : row + 4, at : at + 24] = 50
    if kind == "shirt":
        pixels[100:800, 100:1400] = 200
        pixels[100:800, 100:1400][:, (x[100:1400] % 24) < 10] -= 60
        pixels[100:800, 100:1400][(np.arange(700) % 24) < 10] -= 60
    if kind == "keyboard":
        pixels[200:700, (x % 48) < 3] = 60
        for octave in range(0, 1500, 336):
            for key in (0, 1, 3, 4, 5):
                pixels[200:500, octave + 48 * key + 36 : octave + 48 * key + 64] = 30
    return things.finished(pixels, seed)


@pytest.mark.parametrize("kind", ["comb", "fence", "barcode", "underscores", "shirt", "keyboard"])
def test_even_marks_that_are_no_ruler_tell_nothing(kind):
    assert look(stripes(kind)).ppi is None


def test_photographs_tell_nothing():
    bed = made.bed(40, variant="mixed", noise=2.0, size_in=(8, 8), many=2)
    found = scale(first_look(bed.pixels, 150, block=1), "print", sizes_for("film", ROWS))
    assert found.source == ""


def film(ppi=1200.0, frames=3, tilt=0.6, light=250.0, pitch=4.7498):
    """A strip of 135 film with two rows of perforations over a light (film is the darker)."""
    size = (frames * 38.0 + 10, 34.975)

    def paint(u, v):
        hole = (np.abs((u / pitch) % 1 - 0.5) * pitch <= 0.99) & (np.abs(np.abs(v - size[1] / 2) - 14.085) <= 1.395)
        frame = (np.abs(v - size[1] / 2) < 12) & ((u % 38) > 2)
        wave = 120 + 50 * np.sin(u * 0.7) * np.cos(v * 0.5)
        grey = np.where(hole, light, np.where(frame, wave, 75.0))
        return np.repeat(grey[..., None], 3, axis=2), np.ones(u.shape, bool)

    pixels = np.full((int(42 / 25.4 * ppi), int((size[0] + 8) / 25.4 * ppi), 3), light, np.float32)
    things.lay(pixels, ppi, (size[0] / 2 + 4, 21), size, tilt, paint)
    return things.finished(pixels)


def test_perforations_tell_the_resolution_of_film():
    found = look(film(ppi=448.5), 450, "film", block=3)
    assert found.source == "perforations"
    assert found.ppi == pytest.approx(448.5, rel=1e-3)
    assert findings(found, 300, (4000, 1000), "negative")["resolution.wrong-tag"] == "look"


def sized(width_mm, height_mm, ppi, stated, family, whole=False):
    size = round(width_mm / 25.4 * ppi), round(height_mm / 25.4 * ppi)
    if whole:
        shown, scan = pictures_whole(size), size
    else:
        scan = size[0] + 900, size[1] + 900
        corners = made.outline((scan[0] / 2, scan[1] / 2), size, 2.0)
        one = pictures_whole(scan).prints[0]
        from dataclasses import replace

        one = replace(one, corners=tuple(map(tuple, corners)), tilt=2.0, meets=(False,) * 4)
        shown = Pictures(prints=(one,), unsure=(), ground="lid")
    blank = miniature.Miniature(pixels=np.full((200, 150, 1), 240, np.uint8), block=max(scan) // 200)
    first = FirstLook(small=blank, pictures=shown, size=scan, ppi=stated, full_scale=255)
    return scale(first, family, sizes_for(family, ROWS))


@pytest.mark.parametrize(
    ("sides", "ppi", "stated", "family", "whole", "wanted"),
    [
        ((101.6, 152.4), 600, 600, "print", False, 600), ((101.6, 152.4), 600, 600, "print", True, 600),
        ((102, 152), 598, 600, "print", False, 598), ((89, 127), 600, 72, "print", False, 600),
        ((127, 178), 600, 300, "print", False, 600), ((152.4, 101.6), 600, 236.22, "print", False, 600),
        ((101.6, 152.4), 600, 1524, "print", False, 600), ((210, 297), 300, 300, "document", True, 300),
        ((210, 297), 300, 118.11, "document", True, 300), ((215.9, 279.4), 300, 72, "document", False, 300),
        ((50, 50), 1200, 300, "film", False, 1200), ((111, 137), 600, 600, "print", False, None),
        ((150, 150), 600, 600, "print", False, None), ((102, 127), 600, 600, "print", False, None),
        ((203, 305), 300, 300, "print", False, None), ((148, 210), 600, 600, "document", True, None),
        ((101.6, 152.4), 600, 300, "print", True, None), ((70, 100), 400, 400, "print", True, None),
    ],
)  # fmt: skip
def test_a_known_size_tells_only_where_nothing_else_fits(sides, ppi, stated, family, whole, wanted):
    found = sized(*sides, ppi, stated, family, whole)
    assert found.ppi == (None if wanted is None else pytest.approx(wanted, rel=0.005))
    assert found.source == ("size" if wanted else "")


def test_a_ruler_in_a_photograph_is_not_on_the_glass():
    bed = things.glass((2000, 1500))
    bed[200:1300, 200:1800] = cv2.resize(made.photographs()[1], (1600, 1100)).astype(np.float32) * 0.8 + 20
    paint, body = things.ruler("mm", length=100)
    things.lay(bed, 300.0, (85, 63), body, 2.0, paint)
    assert look(things.finished(bed)).source != "ruler"
