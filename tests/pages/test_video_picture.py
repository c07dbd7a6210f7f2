"""What the picture of a video shows beside its strip: its sound, where recordings begin, the places themselves."""

import re

import pytest
from make.video import Form, Tape, write

from takeup.pages.capture import Place, capture_picture
from takeup.pages.thread import Size, parts
from takeup.streams import Measured, Original, Report, Still, Trace
from takeup.tasks.picture import seen

STILL = Still(at_s=1.0, jpeg=b"not looked into", width=160, height=120)


def report(begins=(), level=b"\x50" * 100):
    extra = {"from_s": list(begins), "programme": [0.0, 10.0]}
    return Report(
        medium="video", seconds=10.0, findings=(), trace=Trace(level=level, recorded=b"\x01" * 100), stills=(STILL,),
        measures={"recordings": Measured(value=len(begins), unit="recordings", extra=extra)},
    )  # fmt: skip


def test_each_recording_after_the_first_is_marked_where_it_begins():
    """1000 units for 10 s: the second begins at 2.5 s, the third at 7 s."""
    drawn = parts([report((0.0, 2.5, 7.0))], size=Size(width=1000), stills=(STILL,), langs=("en",))
    assert re.findall(r'class="begins" d="M([\d.]+) ', drawn) == ["250.0", "700.0"]
    assert re.findall(r'paint-order="stroke">(\d)<', drawn) == ["2", "3"]


def test_sound_lies_under_the_strip_only_where_there_is_some():
    loud, silent = (
        parts([report(level=level)], size=Size(width=1000, band=30), stills=(STILL,), langs=("en",))
        for level in (b"\x50" * 100, b"\x00" * 100)
    )
    assert 'class="silhouette"' in loud and 'class="silhouette"' not in silent


def test_a_place_is_seen_beside_its_sentence():
    places = [
        Place(verdict="look", sentence="A.", from_s=1.0, still=STILL),
        Place(verdict="look", sentence="B."),
    ]
    drawn = capture_picture(report(), Original(id="v1", carrier="vhs"), places, "en")
    assert drawn.count("<image") == 2, "one along the thread, one beside the first place"


@pytest.mark.parametrize("from_s", [0.2, 0.4], ids=["within", "at the very end"])
def test_places_are_looked_up_in_the_capture_itself(tmp_path, from_s):
    write(tmp_path / "a.avi", Tape(pictures=10, seed=4), Form("dv", shape=None))
    (found,) = seen([Place(verdict="look", sentence="", from_s=from_s)], tmp_path / "a.avi")
    assert found.still is not None and found.still.jpeg.startswith(b"\xff\xd8")
