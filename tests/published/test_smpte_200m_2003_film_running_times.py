"""SMPTE 200M-2003 2.1 (a 50 ft Super 8 cartridge gives at least 3600 pictures back), SMPTE 149-2004 table 1 and
239-2004 clause 1 (perforation pitches), and the running-time table of the house check values, section 1.3."""

from fractions import Fraction

import pytest

from takeup.plan.film_time import feet_of, pictures_in, screen_time, whole_seconds
from takeup.tables.loader import load_rows

FOOT_MM = 304.8
TABLE = {  # feet: carrier: pictures, then running time at 16, 18, 24
    25: {"8mm": (2000, "2:05", "1:51", "1:23"), "super8": (1800, "1:52", "1:40", "1:15")},
    50: {"8mm": (4000, "4:10", "3:42", "2:47"), "super8": (3600, "3:45", "3:20", "2:30")},
    100: {"8mm": (8000, "8:20", "7:24", "5:33"), "super8": (7200, "7:30", "6:40", "5:00")},
    200: {"8mm": (16000, "16:40", "14:49", "11:07"), "super8": (14400, "15:00", "13:20", "10:00")},
    300: {"8mm": (24000, "25:00", "22:13", "16:40"), "super8": (21600, "22:30", "20:00", "15:00")},
    400: {"8mm": (32000, "33:20", "29:38", "22:13"), "super8": (28800, "30:00", "26:40", "20:00")},
}


def test_super8_cartridge_holds_at_least_what_the_standard_gives_back():
    assert pictures_in(50, "super8", load_rows()) >= load_rows().value("film.super8.cartridge_pictures") == 3600


@pytest.mark.parametrize(("carrier", "tolerance"), [("8mm", 0.001), ("super8", 0.001)])
def test_pictures_per_foot_agrees_with_the_pitch(carrier, tolerance):
    """304.8 mm over the long pitch: 80.0 and 71.99; the tolerance is the standard's own on 100 pitches (0.1 %)."""
    rows = load_rows()
    pitch = rows.value(f"film.{carrier}.pitch_mm")
    assert rows.value(f"film.{carrier}.pictures_per_foot") == pytest.approx(FOOT_MM / pitch, rel=tolerance)


@pytest.mark.parametrize("feet", TABLE)
@pytest.mark.parametrize("carrier", ["8mm", "super8"])
def test_running_times(feet, carrier):
    pictures, *times = TABLE[feet][carrier]
    assert pictures_in(feet, carrier, load_rows()) == pictures
    for rate, text in zip((16, 18, 24), times, strict=True):
        minutes, seconds = text.split(":")
        assert whole_seconds(screen_time(pictures, Fraction(rate))) == 60 * int(minutes) + int(seconds)


def test_sixty_metres_are_not_two_hundred_feet():
    """A trade table: 60 m of Super 8 at 18 run 13:07; 200 ft run 13:20."""
    pictures = pictures_in(60 / 0.3048, "super8", load_rows())
    assert whole_seconds(screen_time(pictures, Fraction(18))) == 13 * 60 + 7
    assert feet_of(pictures, "super8", load_rows()) == pytest.approx(196.85, abs=0.01)
