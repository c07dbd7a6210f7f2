"""Copies of scans that mend what is asked, picture by picture, and say so; masters that never change."""

import shutil

import cv2
import numpy as np
import pytest
import pyvips
from make import both_sides
from make import mended as made
from make.captures import captured_box, put_capture, tree

from takeup.errors import NotPossible
from takeup.media.probe import look_at
from takeup.media.still import OpenStill
from takeup.media.still_mend import sample
from takeup.plan.arranging import Placed, facts_of
from takeup.settings import Settings
from takeup.streams import Measured, Original, Report
from takeup.tasks.finish import finish_box
from takeup.tasks.side_by_side import compare

SIDES = (24, 24, 24, 24)
RIM = 6  # px: a quarter of a millimetre, which a copy is cut outside the print, at 600 px to the inch is 5.9


def save(path, codes):
    image = pyvips.Image.new_from_array(np.ascontiguousarray(codes))
    image.tiffsave(str(path), xres=600 / 25.4, yres=600 / 25.4, resunit="inch", profile="srgb")
    return path


def report_of(*boxes):
    """A check that found prints in these places: x, y, width, height."""
    found = [{"corners": [[x, y], [x + w, y], [x + w, y + h], [x, y + h]], "tilt": 0.0} for x, y, w, h in boxes]
    measures = {"pictures": Measured(value=found, unit="px", extra={"ground": "lid"})}
    return Report(medium="scan", seconds=None, measures=measures, findings=())


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    """A negative in 16 bits with its clear edge, and a bed of two faded prints."""
    folder = tmp_path_factory.mktemp("mended")
    listed = [Original(id="n1", carrier="negative", label="Boat"), Original(id="b1", carrier="print", label="Yard")]
    box = captured_box(folder / "box", listed)
    photo = cv2.resize(made.pictures()[8], (300, 200), interpolation=cv2.INTER_AREA)
    film = made.framed(made.negative(photo), made.MASK, SIDES)
    put_capture(box, "n1", save(folder / "n1.tif", np.rint(257 * made.codes(film)).astype(np.uint16)), "", report_of())
    bed = np.full((260, 760, 3), 250, np.uint8)
    prints = [made.faded(made.muted(cv2.resize(made.pictures()[n], (320, 210)))) for n in (0, 19)]
    for left, one in zip((20, 400), prints):
        bed[20 : 20 + one.shape[0], left : left + 320] = one
    report = report_of((20, 20, 320, 210), (400, 20, 320, 210))
    put_capture(box, "b1", save(folder / "b1.tif", bed), "", report)
    return box.folder


@pytest.fixture
def box(full, tmp_path):
    return shutil.copytree(full, tmp_path / "box")


def finish(box, **asked):
    return {one.made.path.name: one for one in finish_box(box, Settings(), **asked).made}


def shown(path):
    image = pyvips.Image.new_from_file(str(path), revalidate=True)
    return image.numpy().reshape(image.height, image.width, image.bands).astype(int)


def asked_of(one):
    return one.made.settings["mend_asked"], [mend["what"] for mend in one.made.settings.get("mended", [])]


def test_a_negative_is_shown_positive_and_kept_as_scanned(box):
    first = finish(box)
    before = tree(box / "masters")
    one = first["n1.jpg"]
    assert asked_of(one) == (["positive"], ["positive"])
    assert [key for key, _ in one.made.notes] == ["finish.mended-positive"]
    assert one.made.settings["mended"][0]["base"] == pytest.approx(list(made.MASK), abs=0.01)
    packet = one.made.path.read_bytes()
    assert b"<xmpMM:History><rdf:Seq>" in packet and b"positive: interpretation=True, base=[0.25, 0.65, 0.95]" in packet
    positive = shown(one.made.path)
    inside = positive[30:-30, 30:-30].mean(axis=2)
    scene = cv2.resize(made.pictures()[8], (300, 200), interpolation=cv2.INTER_AREA).mean(axis=2)[6:-6, 6:-6]
    assert np.corrcoef(inside.ravel(), scene.ravel())[0, 1] > 0.9
    assert positive[2:-2, 4:16].mean() < 12  # clear film is black
    assert finish(box) == {}
    again = finish(box, mend="none", item="n1")
    assert [*again] == ["n1.jpg"] and asked_of(again["n1.jpg"]) == ([], [])
    assert [key for key, _ in again["n1.jpg"].made.notes] == ["scan.as-negative"]
    assert b"xmpMM:History" not in (box / "copies/n1/n1.jpg").read_bytes()
    scanned = shown(box / "copies/n1/n1.jpg")[30:-30, 30:-30].mean(axis=2)
    assert np.corrcoef(scanned.ravel(), scene.ravel())[0, 1] < -0.5
    assert finish(box) == {} and tree(box / "masters") == before


def test_one_picture_of_a_bed_is_mended_and_the_choice_is_kept_and_taken_back(box):
    first = finish(box, item="b1")
    plain = {name: one.sha256 for name, one in first.items()}
    before = tree(box / "masters")
    changed = finish(box, mend="fading", picture="b1-2")
    assert [*changed] == ["b1-2.jpg"] and asked_of(changed["b1-2.jpg"]) == (["fading"], ["fading"])
    keys = [key for key, _ in changed["b1-2.jpg"].made.notes]
    assert keys == ["finish.mended-fading", "finish.mended-from-8-bits"]
    assert finish(box, item="b1") == {}
    truth = made.muted(cv2.resize(made.pictures()[19], (320, 210)))
    apart = np.abs(shown(changed["b1-2.jpg"].made.path)[RIM:-RIM, RIM:-RIM] - truth).mean()
    assert apart < 0.6 * np.abs(made.faded(truth).astype(int) - truth).mean()
    back = finish(box, mend="none", picture="b1-2")
    assert {name: one.sha256 for name, one in back.items()} == {"b1-2.jpg": plain["b1-2.jpg"]}
    assert tree(box / "masters") == before


def test_what_is_asked_in_vain_is_said(box):
    made_now = finish(box, mend="positive,hum,dust", item="b1")
    one = made_now["b1-1.jpg"]
    assert one.made.settings["mend_asked"] == ["positive", "dust"]
    assert "finish.left-positive.not-for" in [key for key, _ in one.made.notes]
    assert look_at(one.made.path).image.width == 320 + 2 * RIM


@pytest.mark.parametrize(
    ("asked", "key"),
    [
        ({"mend": "fading", "picture": "b1-9"}, "finish.no-such-picture"),
        ({"picture": "b1-1"}, "finish.picture-alone"),
        ({"mend": "scratches"}, "finish.no-such-mend"),
    ],
)
def test_what_cannot_be_asked_is_one_sentence(box, asked, key):
    with pytest.raises(NotPossible) as fault:
        finish(box, **asked)
    assert fault.value.key == key


def test_before_and_after_are_drawn_beside_each_other_and_the_box_stays(box, tmp_path):
    before = tree(box)
    drawn = compare(box, Settings(), tmp_path / "choose", mend="fading", item="b1")
    assert [one.picture for one in drawn] == ["b1-1", "b1-2"] and tree(box) == before
    picture = shown(drawn[1].path)
    scan, mended = picture[200:900:9, 100:1400:9], picture[200:900:9, 1750:3050:9]
    assert picture.shape[1] == 3200 and np.abs(scan - mended).mean() > 8  # two units of a drawing to a pixel
    assert [key for key, _ in drawn[1].notes][0] == "finish.mended-fading"
    with pytest.raises(NotPossible, match="nothing-to-compare"):
        compare(box, Settings(), tmp_path / "choose", mend="hum")
    with pytest.raises(NotPossible, match="compare-inside"):
        compare(box, Settings(), box / "choose", mend="fading")


def test_both_sides_of_a_leaf_lose_each_others_ghost_once_they_are_paired(tmp_path):
    (front, back), _, _ = both_sides.scanned(0.09, 2.5)
    rows, columns = front.shape
    bed = np.full((rows + 40, 2 * columns + 60, 3), 255, np.uint8)
    corners = []
    for left, side in ((20, front), (columns + 40, back[:, ::-1])):
        bed[20 : 20 + rows, left : left + columns] = side[..., None]
        corners.append(((left, 20), (left + columns, 20), (left + columns, 20 + rows), (left, 20 + rows)))
    box = captured_box(tmp_path / "box", [Original(id="l1", carrier="print", label="Letter", keep="copy")])
    boxes = [(*one[0], columns, rows) for one in corners]
    put_capture(box, "l1", save(tmp_path / "l1.tif", bed), "", report_of(*boxes))
    alone = finish(box.folder, mend="show-through")
    assert {one.made.notes[0][0] for one in alone.values()} == {"finish.left-show-through.no-back"}
    taken = box.record.latest("taken", "l1")[0].facts
    sides = [Placed(number=n, corners=one, back_of="l1-1" if n == 2 else "") for n, one in enumerate(corners, 1)]
    facts = {"sha256": taken["sha256"], "pictures": facts_of(sides)}
    box.record.append("arranged", facts, item="l1", key=taken["stored"])
    before = shown(alone["l1-1.jpg"].made.path)[RIM:-RIM, RIM:-RIM]  # once paired it is cut at the print itself
    paired = finish(box.folder)
    assert [asked_of(one)[1] for one in paired.values()] == [["show-through"]] * 2
    blank = (before[..., 0] > 190) & (before[..., 0] < 226)  # paper with the ghost on it
    blank[:40] = blank[-40:] = blank[:, :40] = blank[:, -40:] = False
    after = shown(paired["l1-1.jpg"].made.path)[..., 0]
    assert blank.mean() > 0.01 and after[blank].mean() - before[blank][..., 0].mean() > 6
    assert finish(box.folder) == {}


@pytest.mark.parametrize("size", [(1198, 999), (1197, 998), (3, 2500), (2500, 1)])
@pytest.mark.parametrize("bands", [1, 3])
def test_a_sample_is_taken_of_a_scan_of_any_size(tmp_path, size, bands):
    """Even grey of code 77: whatever is averaged, its light is the table's."""
    width, height = size
    codes = np.full((height, width, bands), 77, np.uint8)
    path = save(tmp_path / "odd.tif", codes if bands == 3 else codes[..., 0])
    light = np.repeat(np.linspace(0, 1, 256)[:, None], bands, axis=1)
    small = sample(OpenStill(path, look_at(path)), light, longest_px=400)
    assert small.shape[2] == bands and small == pytest.approx(77 / 255)
