"""Scans made from the wrong side, and what shows through paper: told by lettering that reads in a mirror alone."""

import cv2
import numpy as np
import pytest
from make.both_sides import scanned
from make.photographs import photograph

from takeup.judge.scan import Seen
from takeup.judge.scan_reading import both_sides_finding, ghost_findings, reading_findings
from takeup.measure.scan.lettering import lettering
from takeup.measure.scan.miniature import Miniature
from takeup.measure.scan.mirrored import Reading, reading_of, signs_read
from takeup.streams import StillImage
from takeup.tables.loader import load_rows
from takeup.tasks.scan_ghosts import _shown
from takeup.tasks.scan_reading import ghost_seen, reading_seen

WORDS = ("library morning river", "children and summer", "the house by the water", "letters from a market town")


def seen(pixels, **known):
    image = StillImage(
        codec="tiff", compression=None, width=pixels.shape[1], height=pixels.shape[0], channels=3, bits_stated=8,
        ppi_stated=300.0, ppi_y_stated=300.0, profile=None, lossy=False,
    )  # fmt: skip
    return Seen(image=image, **known)


def found(pixels, family):
    pixels = np.ascontiguousarray(pixels)
    read = reading_seen(Miniature(pixels=pixels, block=1), seen(pixels), family, load_rows())
    return reading_findings(seen(pixels, reading=read), family, load_rows())


@pytest.fixture(scope="module")
def sign():
    """A photograph with a sign in it, seven letters on a board."""
    photo = cv2.resize(photograph("coffee"), (900, 600), interpolation=cv2.INTER_AREA)
    cv2.rectangle(photo, (80, 60), (420, 150), (20, 60, 30), -1)
    cv2.putText(photo, "STATION", (100, 125), cv2.FONT_HERSHEY_DUPLEX, 1.8, (235, 235, 220), 3, cv2.LINE_AA)
    return cv2.GaussianBlur(photo, (0, 0), 0.7)


def test_a_sign_that_reads_only_in_a_mirror_tells_a_slide_scanned_from_its_back(sign):
    (told,) = found(sign[:, ::-1], "film")
    assert (told.name, told.verdict, told.again, told.says) == ("mirrored", "look", "helps", "mirrored.film")
    assert told.facts["words"] == ["STATION"] and told.value == 7


@pytest.mark.parametrize("turn", range(4))
def test_the_same_sign_the_right_way_round_says_nothing_however_the_slide_lies(sign, turn):
    assert found(np.rot90(sign, turn), "film") == []


def test_a_picture_without_lettering_says_nothing():
    assert found(cv2.resize(photograph("chelsea"), (900, 600)), "film") == []


def test_lettering_that_runs_up_the_picture_is_cut_level(sign):
    (line, *_) = lettering(cv2.cvtColor(np.ascontiguousarray(np.rot90(sign)), cv2.COLOR_RGB2GRAY))
    assert line.upwards and line.pixels.shape[1] > 3 * line.pixels.shape[0]


def test_only_sure_words_of_one_form_count():
    assert signs_read([("STATION", 96.0), ("noyns", 86.0), ("2AUOH", 95.0), ("to", 96.0)], 92) == (9, ("STATION", "to"))
    assert signs_read([("to", 96.0), ("1Il", 96.0), ("aaaa", 95.0)], 92) == (0, ())
    assert reading_of([[("HOT", 95.0)], []], [[], [("TOOTH", 95.0)]], 92) == Reading(3, 5, ("TOOTH",))


def page_of(lines, top):
    page = np.full((700, 900), 235, np.uint8)
    for n, line in enumerate(lines):
        cv2.putText(page, line, (70, top + 55 * n), cv2.FONT_HERSHEY_DUPLEX, 1.0, 30, 2, cv2.LINE_AA)
    return (page / 255.0) ** 2.2


@pytest.mark.parametrize("share", [0.0, 0.12])
@pytest.mark.parametrize("mirrored", [True, False])
def test_pale_words_are_the_other_sides_where_they_read_in_a_mirror_alone(share, mirrored):
    """Density of the front plus a share of what the other side keeps back, blurred by 1.5 px; 12 % shows, 0 does not.
    The same pale words as they lie are the page's own."""
    other = 1 - page_of(WORDS, 330) / (235 / 255) ** 2.2
    other = other[:, ::-1] if mirrored else other
    light = 10 ** (np.log10(page_of(WORDS[:2], 90)) - share * cv2.GaussianBlur(other, (0, 0), 1.5))
    codes = 255 * light ** (1 / 2.2) + np.random.default_rng(2).normal(0, 1, light.shape)
    pixels = np.repeat(np.clip(np.rint(codes), 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    read = ghost_seen(Miniature(pixels=pixels, block=1), seen(pixels), "document", load_rows())
    told = ghost_findings(seen(pixels, ghost=read), load_rows())
    assert [one.name for one in told] == (["show_through"] if share and mirrored else [])


def test_neighbours_that_show_each_other_are_told_and_strangers_are_not():
    """Both sides scanned with a tenth of the ink showing; a page of another leaf shows nothing of this one."""
    front, back = (light.astype(np.float32) for light in ((side / 255.0) ** 2.2 for side in scanned(0.1, 2.0)[0]))
    (stranger, _), _, _ = scanned(0.1, 2.0, seed=4)
    share = _shown(front, back[:, ::-1])  # the maker hands the back as it lies under the front
    told = both_sides_finding(share, ("a.tif", "b.tif"), load_rows())
    assert told.name == "show_through" and told.verdict == "look" and share == pytest.approx(0.1, rel=0.1)
    assert (
        both_sides_finding(_shown(front, ((stranger / 255.0) ** 2.2).astype(np.float32)), ("a", "b"), load_rows())
        is None
    )
