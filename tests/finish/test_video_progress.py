"""How far the finishing of videos is: from 0 to 1, never back, for the item and for the desk's whole piece of work."""

from itertools import pairwise

import pytest
from make.captures import captured_box, put_capture, report_of, write_tape

from takeup.settings import Settings
from takeup.streams import Original
from takeup.tasks.ears import Ears
from takeup.tasks.finish import finish_box
from takeup.work.finishing import work


class Hearing(Ears):
    def __init__(self):
        self.shares, self.told = [], []

    def progress(self, what, done, total, unit):
        (self.shares if unit == "share" else self.told).append((what, done, total))


@pytest.fixture
def folder(tmp_path):
    box = captured_box(tmp_path / "box", [Original(id=item, carrier="vhs") for item in ("v1", "v2")])
    for item in ("v1", "v2"):
        capture = write_tape(tmp_path / f"{item}.mov", pictures=10, lines=48)
        put_capture(box, item, capture, "", report_of("video", 0.4, field_order="top"))
    return box.folder


def test_an_items_share_goes_from_nothing_to_all(folder):
    ears = Hearing()
    finish_box(folder, Settings(), item="v1", ears=ears)
    shares = [done for _, done, _ in ears.shares]
    assert shares[0] < 0.1 and shares[-1] > 0.97 and all(a <= b for a, b in pairwise(shares))
    assert max(b - a for a, b in pairwise(shares)) < 0.15
    again = Hearing()  # only the copy is to be made: its steps alone are the way
    finish_box(folder, Settings(), item="v1", copies="240p30", ears=again)
    shares = [done for _, done, _ in again.shares]
    assert shares[0] < 0.15 and shares[-1] > 0.9  # one step is a tenth of so short a tape


def test_the_desks_work_tells_one_way_through_all_items(folder):
    ears = Hearing()
    done = work(folder, {}, Settings(), ears)
    assert done == {"made": 4, "skipped": []}
    way = [done / total for _, done, total in ears.told]
    assert all(a <= b for a, b in pairwise(way)) and way[-1] > 0.97
    first = [done / total for what, done, total in ears.told if what == "v1"]
    assert first[-1] == pytest.approx(0.5, abs=0.03) and len(set(first)) > 20
