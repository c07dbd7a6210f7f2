"""What is said at a video station while a capture comes in: after two seconds, and gone when it no longer holds."""

import pytest
from make.video import Form, Tape, file_for, programme, render, write

from takeup.streams import Original
from takeup.tasks.check import check_file
from takeup.tasks.checking import Asked

COUNT, EMPTY = 58, 54  # pictures, 25 a second


def heard(path, monkeypatch):
    """(seconds of the capture, what was said) each time that anything could be said."""
    from takeup.tasks import moving_walk

    monkeypatch.setattr(moving_walk, "HEAR_EVERY_S", 0.0)
    told = []
    asked = Asked(
        original=Original(id="t1", carrier="vhs"),
        hear=lambda heard: told.append((heard.seconds, heard.notice.says if heard.notice else None)),
    )
    check_file(path, asked)
    return told


@pytest.mark.parametrize("fault", ["blue", "snow"])
def test_no_picture_is_said_after_two_seconds_and_no_longer_than_it_lasts(tmp_path, monkeypatch, fault):
    path = tmp_path / "a.avi"
    write(path, Tape(pictures=COUNT, seed=5, **{fault: ((0, EMPTY),)}), Form("uyvy"), programme(COUNT / 25))
    told = heard(path, monkeypatch)
    said = [seconds for seconds, says in told if says == f"picture-{ {'blue': 'flat'}.get(fault, fault) }"]
    assert said and 1.9 <= said[0] <= 2.1 and said[-1] < EMPTY / 25
    assert told[-1][1] is None


@pytest.mark.parametrize(
    "lines,progressive,says", [(576, False, None), (576, True, "picture-progressive"), (720, False, "picture-size")]
)
def test_the_wrong_input_is_said_from_the_first_picture(tmp_path, monkeypatch, lines, progressive, says):
    order = "progressive" if progressive else "top"
    path = file_for(tmp_path, "ffv1")
    write(path, render(Tape(pictures=4, lines=lines, seed=6)), Form("ffv1", order=order), programme(0.16))
    assert {one for _, one in heard(path, monkeypatch)} == {says}
