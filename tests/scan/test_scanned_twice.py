"""The same print scanned twice is found, with the better scan; the next picture of the same scene is another one."""

from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from make.scan import photographs

from takeup.judge.scan_twice import Scanned, better_of
from takeup.measure.scan.same_print import alike_pairs, same_print, small_square
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check import Checked, check_file
from takeup.tasks.checking import Asked
from takeup.tasks.scan_twice import print_duplicates

NUMBERS = (0, 1, 2, 4, 5)  # photographs with something in them to move


def picture(number, width=600, height=420):
    photo = cv2.cvtColor(photographs()[number], cv2.COLOR_RGB2GRAY)
    tall = min(photo.shape[0], photo.shape[1] * height // width)
    return cv2.resize(photo[:tall, : tall * width // height], (width, height), interpolation=cv2.INTER_AREA)


def rescanned(photo, seed, *, crop=0.0, quarters=0):
    """Another exposure, gamma and focus, noise, dust; turned by up to 2 degrees where it is cropped inside that."""
    rng = np.random.default_rng(seed)
    rows, columns = photo.shape
    shown = photo.astype(np.float32)
    if crop:
        turn = cv2.getRotationMatrix2D((columns / 2, rows / 2), rng.uniform(-2, 2), 1)
        shown = cv2.warpAffine(shown, turn, (columns, rows), flags=cv2.INTER_CUBIC)
        edge = int(crop * columns)
        shown = shown[edge:-edge, edge:-edge]
    shown = 250 * (shown / 255).clip(0, 1) ** rng.uniform(0.85, 1.2) * rng.uniform(0.88, 1) + rng.uniform(0, 5)
    shown = cv2.GaussianBlur(shown, (0, 0), rng.uniform(0.5, 1.1)) + rng.normal(0, 2, shown.shape)
    for _ in range(6):
        x, y = rng.integers(0, shown.shape[1]), rng.integers(0, shown.shape[0])
        cv2.circle(shown, (int(x), int(y)), 1, float(rng.choice([20, 245])), -1)
    return np.ascontiguousarray(np.rot90(np.clip(shown, 0, 255).astype(np.uint8), quarters))


def a_second_later(photo, seed):
    """Something in the middle of the scene has moved by 8 to 14 pixels; the camera has moved a little too."""
    rng = np.random.default_rng(seed)
    rows, columns = photo.shape
    y, x = np.mgrid[0:rows, 0:columns].astype(np.float32)
    strong = cv2.GaussianBlur(np.abs(cv2.Laplacian(photo, cv2.CV_32F)), (0, 0), 25)
    inner = strong[rows // 5 : -rows // 5, columns // 5 : -columns // 5]
    at = np.unravel_index(inner.argmax(), inner.shape)
    near = np.exp(-((x - at[1] - columns // 5) ** 2 + (y - at[0] - rows // 5) ** 2) / (2 * 55.0**2))
    by = rng.uniform(8, 14) * np.array([np.cos(seed), np.sin(seed)])
    maps = ((axis + near * shift + rng.uniform(-2, 2)).astype(np.float32) for axis, shift in ((x, by[0]), (y, by[1])))
    return cv2.remap(photo, *maps, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)


@pytest.mark.parametrize("number", NUMBERS)
@pytest.mark.parametrize("crop", [0.0, 0.05])
def test_a_print_is_known_again(number, crop):
    one = rescanned(picture(number), 1)
    other = rescanned(picture(number), 2 + number, crop=crop, quarters=number % 4)
    stacks = [np.frombuffer(small_square(cut), np.uint8).reshape(1, 16, 16) for cut in (one, other)]
    ((_, _, _, turn),) = alike_pairs(*stacks)
    assert same_print(one, other, framed=not crop, turn=turn).same


@pytest.mark.parametrize("number", NUMBERS)
@pytest.mark.parametrize("crop", [0.0, 0.05])
def test_the_next_picture_of_a_scene_is_another(number, crop):
    other = rescanned(a_second_later(picture(number), number), 3, crop=crop)
    assert not same_print(rescanned(picture(number), 1), other, framed=not crop).same


def test_pictures_that_have_nothing_in_common_are_apart():
    for number in NUMBERS[1:]:
        assert not same_print(picture(0), picture(number), framed=True).same
        assert not same_print(picture(0), picture(number), framed=False).same


def bed(pictures, seed):
    """Prints on a light lid, 3 in a row, each with its own small turn."""
    rng = np.random.default_rng(seed)
    glass = np.full((760, 1500), 245, np.float32)
    for n, (photo, scale) in enumerate(pictures):
        rows, columns = photo.shape
        centre = np.array([270 + 470 * n, 360.0]) + rng.uniform(-8, 8, 2)
        turn = cv2.getRotationMatrix2D((columns / 2 - 0.5, rows / 2 - 0.5), rng.uniform(-2, 2), scale)
        turn[:, 2] += centre - [columns / 2, rows / 2]
        mask = cv2.warpAffine(np.ones_like(photo, np.float32), turn, (1500, 760))
        shown = cv2.warpAffine(photo.astype(np.float32), turn, (1500, 760), flags=cv2.INTER_AREA)
        glass = glass * (1 - mask) + shown * mask
    glass += rng.normal(0, 1.5, glass.shape)
    return np.clip(np.rint(glass), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("pair", [("lamp", "ball"), ("ball", "bar"), ("glow", "bar"), ("lamp", "bar")])
def test_a_white_border_alike_makes_no_picture_the_same(pair):
    """Prints of one make, with the same border, of plain things: a lamp in mist, a ball, a bar, a glow."""
    y, x = np.mgrid[0:640, 0:640].astype(float)
    shown = {
        "glow": 90 + 100 * np.exp(-((x - 320) ** 2 + (y - 320) ** 2) / 150**2),
        "lamp": 90 + 120 * np.exp(-((((x - 320) / 90) ** 2 + ((y - 320) / 60) ** 2) ** 2)),
        "ball": np.where(((x - 330) / 150) ** 2 + ((y - 310) / 110) ** 2 < 1, 200.0, 90.0),
        "bar": np.where((np.abs(x - 320) < 60) & (np.abs(y - 300) < 8), 150.0, 90.0),
    }
    rng = np.random.default_rng(5)
    prints = []
    for name in pair:
        print_ = np.full((640, 640), 238.0)
        print_[24:-24, 24:-24] = shown[name][24:-24, 24:-24]
        print_ = cv2.GaussianBlur(print_, (0, 0), 0.8) + rng.normal(0, 1.2, print_.shape)
        prints.append(np.clip(np.rint(print_), 0, 255).astype(np.uint8))
    assert not any(same_print(*prints, framed=True, turn=turn).same for turn in range(4))


def test_across_the_scans_of_a_box(tmp_path: Path):
    first = bed([(picture(1), 0.66), (picture(2), 0.66), (picture(0), 0.66)], 1)
    second = bed([(a_second_later(picture(2), 2), 0.66), (picture(4), 0.66), (rescanned(picture(1), 9), 0.66)], 2)
    checked = []
    for name, pixels in (("b1", first), ("b2", second)):
        path = tmp_path / f"{name}.tif"
        tifffile.imwrite(path, pixels, resolution=(100, 100), resolutionunit=2)
        original = Original(id=name, carrier="print")
        capture, report = check_file(path, Asked(original=original))
        assert len(report.measures["pictures"].value) == 3
        checked.append(Checked(path=path, original=original, capture=capture, report=report))
    ((finding, paths),) = print_duplicates(checked, load_rows(), apart=lambda later, earlier: True)
    assert paths == (tmp_path / "b2.tif", tmp_path / "b1.tif")
    assert finding.name == "duplicate" and finding.facts["of"] == "b1.tif"
    assert finding.facts["pictures"] == [[3, 1]]


def test_the_better_scan():
    rows = load_rows()
    plain = Scanned(long_px=1000, sharpness=0.3, faults=frozenset())
    fine = Scanned(long_px=2000, sharpness=0.3, faults=frozenset())
    soft = Scanned(long_px=1000, sharpness=0.2, faults=frozenset())
    clipped = Scanned(long_px=2000, sharpness=0.3, faults=frozenset({"clipped"}))
    assert better_of(plain, fine, rows) == (1, "finer")
    assert better_of(plain, soft, rows) == (0, "sharper")
    assert better_of(clipped, plain, rows) == (1, "unclipped")
    assert better_of(plain, plain, rows) == (-1, "")
