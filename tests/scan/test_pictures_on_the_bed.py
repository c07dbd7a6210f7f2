"""Prints found on invented beds, against their true outlines (targets: check values for scans, part 3)."""

import numpy as np
import pytest
from make import scan as made

from takeup.measure.scan.pictures import pictures
from takeup.tables.loader import load_rows
from takeup.tasks.scan_looks import papers_of


def look(bed):
    return pictures(bed.pixels, 1, bed.pixels.shape[1::-1], ppi=bed.ppi, many=True, papers=papers_of(load_rows()))


def outlines(seen):
    return [np.array(one.corners) for one in seen.prints]


@pytest.mark.parametrize("variant", ["clean", "bordered", "faded", "black", "mixed", "back"])
def test_prints_of_every_kind_are_found_with_their_paper(variant):
    bed = made.bed(21, variant=variant)
    seen = look(bed)
    assert len(seen.prints) == len(bed.corners) and not seen.unsure
    for corners, tilt in zip(bed.corners, bed.tilts):
        shares = [made.overlap(corners, other) for other in outlines(seen)]
        best = int(np.argmax(shares))
        assert shares[best] >= 0.97
        assert abs(seen.prints[best].tilt - tilt) <= 0.08
        np.testing.assert_allclose(outlines(seen)[best], corners, atol=6)


@pytest.mark.parametrize("shape", ["deckle", "rounded"])
def test_the_knife_of_the_paper_does_not_matter(shape):
    bed = made.bed(22, shape=shape)
    seen = outlines(look(bed))
    shares = [max(made.overlap(corners, other) for other in seen) for corners in bed.corners]
    assert min(shares) >= 0.97


def test_steep_prints_are_found():
    bed = made.bed(23, steep=True)
    seen = outlines(look(bed))
    shares = [max(made.overlap(corners, other) for other in seen) for corners in bed.corners]
    assert min(shares) >= 0.98


@pytest.mark.parametrize("seed", range(3))
def test_overlapping_prints_are_never_cut_silently(seed):
    bed = made.overlapping(seed)
    seen = look(bed)
    assert seen.prints == () and len(seen.unsure) == 1
    x, y, width, height = seen.unsure[0]
    low, high = np.concatenate(bed.corners).min(0), np.concatenate(bed.corners).max(0)
    np.testing.assert_allclose([x, y, x + width, y + height], [*low, *high], atol=12)


@pytest.mark.parametrize("seed", range(100, 106))
def test_touching_prints_are_told_apart_or_given_to_a_person(seed):
    bed = made.touching(seed)
    seen = look(bed)
    if seen.unsure:
        assert not seen.prints
        return
    assert len(seen.prints) == 2
    for corners in bed.corners:
        assert max(made.overlap(corners, other) for other in outlines(seen)) >= 0.95


@pytest.mark.parametrize("seed", range(3))
def test_a_picture_whose_sky_fades_into_the_lid_is_never_cut_at_the_sky(seed):
    """The sky's code is the lid's to half a code; the print is found with its paper or left to a person."""
    rng = np.random.default_rng(seed)
    ppi, size = 100, np.array([400.0, 600.0])
    pixels = made.lid(rng, 1000, 800, 246, 1)
    corners = made.outline((400, 500), tuple(size), float(rng.uniform(-4, 4)))
    art = made.art_for(rng, size, ppi, "clean")
    share = np.clip((np.arange(600) - rng.uniform(180, 260)) / 60, 0, 1)[:, None, None]
    art = (art * share + 246.5 * (1 - share)).astype(np.float32)
    made.put(pixels, art, corners, shadow=(1, 2, 1.6, 20.0))
    bed = made.finish_bed(made.Bed(pixels, ppi, [corners]), rng, 1.5)
    seen = look(bed)
    assert len(seen.prints) + len(seen.unsure) == 1
    assert all(made.overlap(corners, one) >= 0.97 for one in outlines(seen))


@pytest.mark.parametrize("seed", [6, 7])
def test_the_noise_of_the_lid_makes_no_side(seed):
    """White-bordered prints with their shadow: what is cut is cut within 3 px of the true corners, the rest is left."""
    bed = made.bed(seed, variant="bordered", ppi=100)
    seen = look(bed)
    assert len(seen.prints) + len(seen.unsure) == len(bed.corners)
    assert len(seen.prints) >= len(bed.corners) - 1
    for corners in outlines(seen):
        best = max(bed.corners, key=lambda one: made.overlap(corners, one))
        np.testing.assert_allclose(corners, best, atol=3)
