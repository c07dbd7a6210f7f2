"""Which turn sets a picture upright: tables of truths by hand."""

import pytest

from takeup.measure.scan.way_up import WayUp, turn_read, turns_of_neighbours

SURE = ("Harbour", 96.0)
UNSURE = ("Harbour", 60.0)


@pytest.mark.parametrize(
    ("told", "turn"),
    [
        ({0: [[SURE]]}, 0),
        ({3: [[("Bakery", 95.0), ("1974", 93.0)]], 1: [[UNSURE]]}, 3),
        ({0: [[UNSURE]]}, None),
        ({0: [[("HOTEL", 96.0)]], 2: [[("LETOH", 95.0)]]}, None),  # reads both ways
        ({1: [[("Inn", 96.0)]]}, None),  # three letters tell nothing
        ({2: [[("Inn", 96.0)], [("Wharf", 97.0)]]}, 2),  # lines of one turn count together
        ({}, None),
    ],
)
def test_the_turn_in_which_enough_is_read(told, turn):
    found = turn_read(told, sure=92.0, least=5, other_share=0.34)
    assert (found.turn if found else None) == turn
    assert found is None or found.words


def test_neighbours_follow_only_their_own_shape_and_only_where_all_agree():
    down, left = WayUp(turn=2, words=("Harbour",)), WayUp(turn=3, words=("Bakery",))
    wide = [True, True, True, False, False]
    found = turns_of_neighbours([down, None, down, left, None], wide, 2)
    assert [one and one.turn for one in found] == [2, 2, 2, 3, None]
    assert found[1].words == () and found[0].words == ("Harbour",)
    apart = turns_of_neighbours([down, left, None], [True] * 3, 2)
    assert [one and one.turn for one in apart] == [2, 3, None]
