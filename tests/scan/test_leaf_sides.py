"""Which scans are laid over each other as the two sides of one leaf: a table of truths by hand."""

import pytest

from takeup.plan.leaf_sides import may_be_one_leaf
from takeup.streams import Original, StillImage


def _scan(width: int, height: int, pages: int = 1) -> StillImage:
    return StillImage(
        codec="tiff", compression=None, width=width, height=height, channels=3, bits_stated=8, ppi_stated=300.0,
        ppi_y_stated=300.0, profile=None, lossy=False, pages=pages,
    )  # fmt: skip


LETTER, OTHER = Original(id="a", carrier="document"), Original(id="b", carrier="document")
PAGE = _scan(2480, 3508)


@pytest.mark.parametrize(
    ("one", "image", "following", "following_image", "may"),
    [
        (LETTER, PAGE, LETTER, _scan(2460, 3530), True),  # .8 and .6 % apart
        (LETTER, PAGE, LETTER, _scan(2350, 3508), False),  # 5.5 % narrower
        (LETTER, PAGE, LETTER, _scan(3508, 2480), False),  # a leaf keeps its way round from side to side
        (LETTER, PAGE, OTHER, PAGE, False),
        (Original(id="p", carrier="print"), PAGE, Original(id="p", carrier="print"), PAGE, False),
        (LETTER, _scan(2480, 3508, 2), LETTER, PAGE, False),  # a file of pages holds its own backs
        (LETTER, None, LETTER, PAGE, False),
    ],
)
def test_which_scans_may_be_one_leaf(one, image, following, following_image, may):
    assert may_be_one_leaf(one, image, following, following_image) is may
