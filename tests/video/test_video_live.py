"""What is told of a video while it comes in: bands of noise as in the end, a picture that stands, levels cut off."""

from fractions import Fraction
from types import SimpleNamespace

import numpy as np
import pytest
from make.tape_real import Band, Scene, play
from make.video import Form, Tape, write
from make.video_check import check, named

from takeup.judge.video_lines import judge_lines
from takeup.judge.video_live import RunningBands
from takeup.judge.video_notice import judge_picture_notice
from takeup.measure.video.levels import begin, finish, step
from takeup.measure.video.tracking import Torn
from takeup.streams import PictureStream
from takeup.tables.loader import load_rows
from takeup.tasks import moving_walk

ROWS = load_rows()
STREAM = PictureStream(
    codec="v210", width=720, height=576, rate=Fraction(25), pixel_format="yuv422p10le", bits=8, shape=None,
    field_order="top", lossy=False, pictures_stated=None, seconds_stated=None,
)  # fmt: skip


def in_the_end(bands, count):
    """The same pictures judged as a finished file."""
    sampled = SimpleNamespace(jitter_px=None, colour_delay_px=None, half_height=None)
    lines = SimpleNamespace(sampled=sampled, streaks=(), bands=tuple(bands))
    kinds = ["picture"] * count
    pictures = SimpleNamespace(lines=lines, at_s=np.arange(count) / 25, picture_s=0.04, recorded=count, kinds=kinds)
    return named(SimpleNamespace(findings=judge_lines(pictures, STREAM, ROWS)), "tracking")


@pytest.mark.parametrize("seed", range(8))
def test_bands_told_on_the_way_are_those_of_the_finished_file(seed):
    """Bands come and go by chance; what was told on the way is never taken back, and the ends agree."""
    rng = np.random.default_rng([seed, 4])
    shown, on = [], False
    for _ in range(300):
        on = on if rng.random() < 0.9 else not on
        high = int(rng.integers(10, 60))
        shown.append(Torn(first=20, end=20 + high) if on and rng.random() < 0.8 else None)
    running, told = RunningBands(0.04, ROWS), set()
    for at, torn in enumerate([*shown, *[None] * 20]):
        running.step(torn, at / 25)
        now = {one.from_s for one in running.told}
        assert told <= now
        told = now
    assert running.told == in_the_end([(at, torn) for at, torn in enumerate(shown) if torn is not None], 300)


def test_a_band_is_told_while_it_lasts(tmp_path, monkeypatch):
    monkeypatch.setattr(moving_walk, "HEAR_EVERY_S", 0.0)
    scene = Scene(world="rocket", pictures=34, seed=59, lines=480, bands=(Band(4, 22, (40, 90), 30, 45.0),))
    write(tmp_path / "a.avi", play(scene), Form("raw"))
    heard = []
    report = check(tmp_path / "a.avi", hear=heard.append)
    (last,) = named(report, "tracking")
    early = [moment for moment in heard if any(one.name == "tracking" for one in moment.findings)]
    assert {one.from_s for moment in early for one in moment.findings if one.name == "tracking"} <= {last.from_s}
    assert last.from_s + 0.1 <= early[0].seconds < last.to_s


def notice(**more):
    return judge_picture_notice(None, STREAM, ROWS, **more)


def test_a_picture_that_stands_still_is_said_after_two_seconds():
    assert notice(still_s=1.9) is None
    assert notice(still_s=2.0).says == "picture-still"


@pytest.mark.parametrize(
    ("low", "high", "says"),
    [(1, 200, "picture-dark-cut"), (30, 254, "picture-bright-cut"), (16, 235, None)],
    ids=["shadows", "highlights", "neither"],
)
def test_levels_cut_off_are_said_as_soon_as_they_are_known(low, high, says):
    """A twentieth of the picture lies at the last code; beside it codes fall off evenly."""
    rng = np.random.default_rng(3)
    luma = rng.integers(max(low, 40), min(high, 200), (576, 720)).astype(np.uint8)
    luma[100:140, 60:660] = low if says == "picture-dark-cut" else high
    counted = step(begin(576, 720, 8), luma)
    bounds = ROWS.section("video.levels")
    rails, within = tuple(bounds["rails"]), tuple(bounds["within"])
    found = finish(counted, noise=1.5, bar=bounds["bar"], rails=rails, limits=within)
    told = notice(levels=found)
    assert (told.says if told else None) == says


def test_a_good_tape_is_given_no_notice(tmp_path, monkeypatch):
    monkeypatch.setattr(moving_walk, "HEAR_EVERY_S", 0.0)
    write(tmp_path / "a.avi", Tape(pictures=30, seed=12), Form("dv", shape=None))
    heard = []
    report = check(tmp_path / "a.avi", hear=heard.append)
    assert report.measures["frames"].value == 30
    assert len(heard) >= 25 and not [moment.notice for moment in heard if moment.notice]


def rising(at_pictures, count=3000, rate=0.1, shown=None):
    """Findings of ``dropout.rising`` for streaks at these pictures; each picture lasts ``rate`` seconds."""
    sampled = SimpleNamespace(jitter_px=None, colour_delay_px=None, half_height=None)
    lines = SimpleNamespace(sampled=sampled, streaks=tuple((at, None) for at in at_pictures), bands=())
    pictures = SimpleNamespace(
        lines=lines, at_s=np.arange(count) * rate, picture_s=rate, recorded=count, kinds=shown or ["picture"] * count
    )
    return [one for one in judge_lines(pictures, STREAM, ROWS) if one.says == "dropout.rising"]


def test_a_tape_that_sheds_is_told_with_both_rates():
    """300 s: ten streaks in the first 100 s (6 a minute), 100 in the last (60 a minute)."""
    (found,) = rising([*range(0, 1000, 100), *range(2000, 3000, 10)])
    assert (found.verdict, found.value, found.facts["before"], found.from_s) == ("look", 60.0, 6.0, 200.0)


@pytest.mark.parametrize(
    "streaks",
    [range(0, 3000, 10), range(0, 1000, 10), range(2000, 3000, 40), [*range(0, 1000, 25), *range(2000, 3000, 10)]],
    ids=["even", "at the beginning", "few", "not three times"],
)
def test_a_tape_with_streaks_elsewhere_does_not_shed(streaks):
    assert rising(list(streaks)) == []


def test_a_short_capture_has_no_thirds():
    assert rising([*range(1200, 1790, 5)], count=1790) == []
