"""Dirt that stays on the glass from scan to scan, and dust that goes with its print. Truth: where each was put."""

import numpy as np
import pytest
from make import scan as made

from takeup.judge.scan_session import glass_dirt, packed, unpacked
from takeup.measure.scan import miniature, specks
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.pictures import Pictures, Print
from takeup.streams import Trace
from takeup.tables.loader import load_rows

PPI, ROWS, COLUMNS = 100, 1000, 700
GLASS = ((60, 40), (640, 900), (350, 505), (420, 300), (230, 700))  # x, y [px] of what lies on the glass


def scanned(seed, *, on_glass=(), still=False):
    """One bed's report trace: a print with dust of its own at a place of its own (``still``: always the same)."""
    rng = np.random.default_rng(seed)
    own = np.random.default_rng(99)
    pixels = made.lid(rng, ROWS, COLUMNS, 242, 3.0)
    centre = (340.0, 480.0) if still else (float(rng.uniform(260, 440)), float(rng.uniform(320, 680)))
    corners = made.outline(centre, (400, 500), 2.0)
    art = np.full((500, 400, 3), 150.0, np.float32) + np.linspace(-30, 30, 400, dtype=np.float32)[None, :, None]
    art[40:460, 60:340] = made.photograph(own if still else rng, 280, 420)
    for _ in range(40):  # dust on the print
        x, y = int(own.integers(5, 390)), int(own.integers(5, 490))
        art[y : y + 2, x : x + 2] = 40
    made.put(pixels, art, corners)
    for _ in range(25):  # crumbs that are wiped away between scans
        x, y = int(rng.integers(COLUMNS - 3)), int(rng.integers(ROWS - 3))
        pixels[y : y + 2, x : x + 2] -= 90
    for x, y in on_glass:
        pixels[y : y + 2, x : x + 3] = 90
    codes = np.clip(np.rint(pixels + rng.normal(0, 1.3, pixels.shape)), 0, 255).astype(np.uint8)
    small = miniature.finish(miniature.step(miniature.begin(1), codes))
    one = Print(corners=tuple(map(tuple, corners)), tilt=2.0, meets=(False,) * 4, sure=4)
    pictures = Pictures(prints=(one,), unsure=(), ground="lid")
    first = FirstLook(small=small, pictures=pictures, size=(COLUMNS, ROWS), ppi=PPI, full_scale=255)
    kept = packed(specks.spots(first), (COLUMNS, ROWS), PPI)
    assert len(kept) < 2500
    return "print", Trace(thumb=miniature.thumb(small), specks=kept)


@pytest.mark.parametrize("session", range(2))
def test_what_stays_while_prints_change_is_dirt_on_the_glass(session):
    scans = [scanned(10 * session + n, on_glass=GLASS) for n in range(4)]
    found = glass_dirt(scans, load_rows())
    assert len(found) == 1
    assert len(found[0].scans) >= 3
    told = [(x / 25.4 * PPI, y / 25.4 * PPI) for x, y, _ in found[0].finding.facts["at_mm"]]
    for x, y in told:
        assert min(np.hypot(x - u - 1.5, y - v - 1) for u, v in GLASS) < 1.0
    assert len(told) >= 2  # the two beside every print at least


@pytest.mark.parametrize("session", range(2))
def test_dust_that_goes_with_its_print_is_none(session):
    assert glass_dirt([scanned(50 + 10 * session + n) for n in range(4)], load_rows()) == []


def test_a_print_scanned_again_where_it_lay_tells_nothing_of_the_glass():
    assert glass_dirt([scanned(80 + n, still=True) for n in range(4)], load_rows()) == []


def test_two_scans_are_not_enough_and_neither_are_two_sizes():
    scans = [scanned(n, on_glass=GLASS) for n in range(3)]
    assert glass_dirt(scans[:2], load_rows()) == []
    (_, spots), other = (
        unpacked(scans[2][1].specks),
        Trace(thumb=scans[2][1].thumb, specks=b"\x00\x10" + scans[2][1].specks[2:]),
    )
    assert len(spots) > 5
    assert glass_dirt([*scans[:2], ("print", other)], load_rows()) == []
