"""Backs find their fronts by size, place, what shines through, order; else nobody is paired."""

import cv2
import numpy as np
import pytest
from make.scan import photographs

from takeup.measure.scan.pairs import Side, is_back, pair_sides, tones_of

BLANK = np.zeros((48, 48), np.float32)


def told(sides):
    return {(pair.front, pair.back, pair.by) for pair in pair_sides(sides)}


def wanted(by):
    return {(f"f{n}", f"b{n}", by) for n in range(3)}


def side(name, size, scan, back, place=(100.0, 100.0), tones=BLANK):
    return Side(name=name, size_mm=size, scan=scan, back=back, place_mm=place, tones=tones)


def back_of(photo, seed, *, shine=0.06, written=True):
    """Paper, yellowed a little, with handwriting and the picture shining through, mirrored."""
    rng = np.random.default_rng(seed)
    grey = cv2.GaussianBlur(photo.mean(axis=2).astype(np.float32), (0, 0), 4)[:, ::-1]
    paper = np.array([232, 226, 208], np.float32) - shine * (255 - grey)[..., None]
    paper = np.ascontiguousarray(paper + rng.normal(0, 2, paper.shape)).clip(0, 255).astype(np.uint8)
    if written:
        cv2.putText(paper, "Edwin, 1954", (40, 120), cv2.FONT_HERSHEY_SCRIPT_SIMPLEX, 1.2, (70, 70, 120), 2)
    return paper


def front(number):
    return cv2.resize(photographs()[number], (480, 320), interpolation=cv2.INTER_AREA)


@pytest.mark.parametrize("number", [0, 1, 2, 4, 5])
def test_a_back_is_told_from_a_front(number):
    assert is_back(back_of(front(number), number)) is True
    assert is_back(front(number)) is not True


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_shuffled_pairs_by_size_or_not_at_all(seed):
    """Ten prints of sizes drawn at random, each side measured to 0.2 mm: every pair that is told is right."""
    rng = np.random.default_rng(seed)
    sizes = rng.uniform([80, 60], [200, 150], (10, 2))
    sides = [side(f"f{n}", tuple(size + rng.uniform(-0.1, 0.1, 2)), 2 * n, False) for n, size in enumerate(sizes)]
    for n, size in enumerate(sizes):
        again = size + rng.uniform(-0.1, 0.1, 2)
        sides.append(side(f"b{n}", tuple(again[:: rng.choice([1, -1])]), 40 + n, True))
    rng.shuffle(sides)
    pairs = pair_sides(sides)
    assert all(pair.front[1:] == pair.back[1:] for pair in pairs)
    assert len(pairs) == 10


def test_prints_of_one_size_are_left_for_a_person():
    sides = [side(f"f{n}", (152.0, 102.0), n, False) for n in range(3)]
    sides += [side(f"b{n}", (152.1, 102.0), 3 + n, True) for n in range(3)]
    assert pair_sides(sides) == ()


def test_a_glass_turned_over_in_place():
    sides = [side(f"f{n}", (152.0, 102.0), 0, False, place=(100.0, 80.0 + 120 * n)) for n in range(3)]
    sides += [side(f"b{n}", (152.0, 102.1), 1, True, place=(102.0, 79.0 + 120 * n)) for n in range(3)]
    assert told(sides) == wanted("place")


def test_one_after_the_other():
    sides = [side(f"{'fb'[n % 2]}{n // 2}", (152.0, 102.0), n, n % 2 == 1) for n in range(6)]
    assert told(sides) == wanted("order")


def test_what_shines_through_tells():
    numbers = (0, 1, 2)
    sides = [side(f"f{n}", (152.0, 102.0), n, False, tones=tones_of(front(n))) for n in numbers]
    for n in numbers:
        shown = back_of(front(n), n, shine=0.12, written=False)
        sides.append(side(f"b{n}", (152.0, 102.0), 9 - n, True, tones=tones_of(shown)))
    assert told(sides) == wanted("shines")
