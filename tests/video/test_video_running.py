"""What is told of streaks, lost and held pictures while a capture comes in: soon, never taken back, as in the end.

The numbers that a walk keeps of each picture are laid down by hand; pictures themselves are in the last tests.
"""

import json
from fractions import Fraction

import cv2
import numpy as np
import pytest
from make.tape_real import photograph
from make.video import Form, write
from make.video_check import check, named

from takeup.judge.video_lost import Place, RunningLost
from takeup.judge.video_notice import judge_tape_notice
from takeup.judge.video_picture import judge_stretches
from takeup.judge.video_running import RunningVideo, SoFar
from takeup.judge.video_streaks import RunningStreaks, Shedding, judge_streaks
from takeup.judge.video_time import End, judge_lost
from takeup.measure.video.motion import Motion
from takeup.measure.video.whole import Walk
from takeup.tables.loader import load_rows
from takeup.tasks import moving_walk

ROWS = load_rows()
SECTIONS = (
    "kind",
    "order",
    "repeat",
    "silent",
    "levels",
    "sampled",
    "dropout",
    "tracking",
    "half_height",
    "recordings",
)
LIMITS = {name: ROWS.section(f"video.{name}") for name in SECTIONS}
WHOLE = End(stated_s=None, came_s=0.0, cut=False, unreadable=False)
SOON_S = 3.0


class Tale:
    """A walk that is told its pictures: 25 a second, a camera that moves 4 px a picture and is read well."""

    def __init__(self, predicted=False, faults_s=()):
        self.faults_s = faults_s
        self.walk = Walk(LIMITS, 8, predicted)
        self.running = RunningVideo(self.walk, 0.04, ROWS)
        self.told = {}  # (name, from_s) -> when it was told first
        self.last = ()

    def step(self, at, kind="picture", moved=4.0, equal=False, streaks=0):
        walk, number = self.walk, len(self.walk.kinds)
        inside = (2.0, 2.0) if moved > 6.2 else None  # top field first: half a step further in the second field
        walk.path.add(Motion(across=0.0 if equal else moved, down=0.0, sure=0.95, inside=inside))
        walk.votes["top"] += 1
        rows = (
            (walk.kinds, kind),
            (walk.at_s, at),
            (walk.luma, 100.0),
            (walk.most, 9.0),
            (walk.own, 1.0),
            (walk.noise, 2.0),
        )
        for row, one in rows:
            row.append(one)
        walk.difference.append(0.0 if equal and number else 5.0)
        walk.same.append(1.0 if equal and number else 0.0)
        walk.of_lines.streaks += [(number - 1, None)] * (streaks if number else 0)  # known one picture later
        self.running.step()
        found = self.running.told(self.faults_s)
        keys = {(one.name, one.from_s) for one in found}
        assert set(self.told) <= keys, "taken back"
        for key in keys:
            self.told.setdefault(key, at)
        self.last = found

    def whole(self):
        pictures = self.walk.finish(Fraction(25))
        return [
            *judge_streaks(pictures, ROWS),
            *judge_stretches(pictures, ROWS),
            *judge_lost(pictures, self.faults_s, WHOLE, ROWS),
        ]


def faults(seed, count):
    """Chance faults: (picture, what). Gaps and leaps of one to three, holds of 2 to 20 pictures, bursts of streaks."""
    rng, found, at = np.random.default_rng([seed, 9]), [], 12
    while at < count - 80:
        found.append((at, str(rng.choice(["gap", "leap", "hold", "burst", "streak"])), int(rng.integers(1, 4))))
        at += int(rng.integers(25, 400))
    return found


def play(tale, planted, count):
    planted = {at: (what, size) for at, what, size in planted}
    at_s, holds, burst = 0.0, 0, 0
    for number in range(count):
        what, size = planted.get(number, ("", 0))
        holds = 7 * size if what == "hold" else max(0, holds - 1)
        burst = 6 * size if what == "burst" else max(0, burst - 1)
        at_s += 0.04 * (1 + size if what == "gap" else 1)
        moved = 4.0 * (1 + size) if what in ("leap", "gap") else 4.0
        tale.step(round(at_s, 3), moved=moved, equal=holds > 0, streaks=int(burst > 0 or what == "streak"))


@pytest.mark.parametrize("seed", range(3))
def test_what_is_told_on_the_way_is_what_the_finished_file_says(seed):
    """Four minutes: every look of the end was told, none besides, each within 3 s of when it began to show."""
    tale, count = Tale(), 6000
    play(tale, faults(seed, count), count)
    said = {(one.name, one.from_s, one.to_s, one.value) for one in tale.last if one.verdict == "look"}
    end = [one for one in tale.whole() if one.verdict != "good" and one.says != "dropout.rising"]
    assert {(one.name, one.from_s, one.to_s, one.value) for one in end} == said
    assert {one.name for one in end} == {"frames_lost", "frozen", "dropout"}
    assert all(when - from_s <= SOON_S for (_, from_s), when in tale.told.items())


def test_a_quiet_tape_is_told_nothing_of():
    tale = Tale()
    play(tale, [], 400)
    assert tale.last == () and judge_tape_notice(tale.running.so_far(), ROWS) is None


def test_figures_are_numbers_that_json_has_from_before_the_first_picture_on(followed):
    """An event with a number that is none would end the following."""
    figures = [Tale().running.so_far().figures(), *(moment.figures for moment in followed[0])]
    assert len(figures) > COUNT / 2
    assert all(set(json.loads(json.dumps(dict(one), allow_nan=False))) == set(figures[0]) for one in figures)


def test_after_a_codec_that_predicts_only_gaps_are_told_on_the_way():
    tale = Tale(predicted=True)
    play(tale, [(100, "gap", 2), (200, "leap", 1), (260, "hold", 1)], 400)
    assert [(one.name, one.value) for one in tale.last] == [("frames_lost", 2)]


def test_pictures_missing_where_the_file_is_damaged_are_not_told_as_lost():
    """Gaps from 4.04 s and, 0.08 s later by the first, from 8.12 s on; the file did not decode at 4.06 s."""
    tale = Tale(faults_s=(4.06,))
    play(tale, [(100, "gap", 2), (200, "gap", 3)], 400)
    for found in (tale.last, named_in(tale.whole(), "frames_lost")):
        assert [(one.name, one.value, one.from_s) for one in found] == [("frames_lost", 3, 8.12)]


def test_beside_dark_pictures_that_may_be_black_only_what_is_certain_is_told():
    """Dark from 100 to 110; a leap before it and a hold right after it wait for the end, a leap far away does not."""
    tale = Tale()
    for number in range(400):
        kind = "lifted" if 100 <= number < 110 else "picture"
        moved = 8.0 if number in (80, 300) else 4.0
        tale.step(round(0.04 * number, 3), kind, moved=moved, equal=110 <= number < 125)
    assert [(one.name, one.value, one.from_s) for one in tale.last] == [("frames_lost", 1, 12.0)]


def test_film_on_a_tape_is_told_nothing_of_on_the_way():
    """Every fifth step is twice as far for ten seconds: the beat of film, in the middle of a tape."""
    tale = Tale()
    play(tale, [(at, "leap", 1) for at in range(300, 550, 5)], 800)
    assert tale.last == () and named_in(tale.whole(), "frames_lost") == []


def named_in(findings, name):
    return [one for one in findings if one.name == name]


def test_a_stated_rate_that_is_twice_the_true_one_loses_nothing():
    """Stated 25, stamped every 80 ms: no gap."""
    tale = Tale()
    for number in range(200):
        tale.step(round(0.08 * number, 3))
    assert tale.last == () == tuple(named_in(tale.whole(), "frames_lost"))


def streaks(at_s):
    running = RunningStreaks(0.04, ROWS)
    for at in at_s:
        running.streak(at)
    return running


def test_a_single_streak_is_told_at_once_and_a_crowd_with_its_fifth():
    running = streaks([10.0])
    assert [(one.verdict, one.says, one.from_s, one.to_s) for one in running.told] == [
        ("good", "dropout.few", 10.0, 10.04)
    ]
    for at in (10.5, 11.0, 11.5, 12.0):
        running.streak(at)
    (found,) = running.told
    assert (found.verdict, found.from_s, found.to_s, found.facts["streaks"]) == ("look", 10.0, 12.04, 5)


def test_a_burst_after_a_sparse_beginning_is_a_crowd():
    """One streak each four seconds for two minutes (15 a minute), then ten in a second."""
    sparse = [4.0 * number for number in range(30)]
    assert streaks(sparse).told[0].verdict == "good"
    assert streaks([*sparse, *(118.0 + 0.1 * number for number in range(10))]).told[0].verdict == "look"


def test_many_crowds_are_told_together_from_the_twelfth_on():
    """Twenty crowds of ten streaks, a minute apart, and one an hour later."""
    begins = [60.0 * number for number in range(20)] + [4800.0]
    found = streaks([begin + 0.2 * number for begin in begins for number in range(10)]).finish()
    assert [one.from_s for one in found] == [60.0 * number for number in range(12)] + [4800.0]
    assert found[11].to_s == pytest.approx(19 * 60 + 1.84) and found[11].facts["streaks"] == 90


def test_many_lost_places_are_told_together_from_the_twelfth_on():
    running = RunningLost(ROWS, silent=False)
    for number in range(30):
        running.add(Place(from_s=20.0 * number, to_s=20.0 * number + 0.04, missing=1))
    assert [one.value for one in running.told] == [1] * 11 + [19]
    assert (running.told[11].from_s, running.told[11].to_s, running.missing) == (220.0, 580.04, 30)


def test_a_tape_that_begins_to_shed_is_noticed_within_the_minute():
    """Four minutes with 2 streaks a minute, then 60 a minute: 30 in the last minute are enough, after about 30 s."""
    shedding, said = Shedding(0.04, ROWS), []
    for number in range(6000 + 1500):
        shedding.step(int(number % 750 == 0 if number < 6000 else number % 25 == 0))
        if shedding.rates():
            said.append(number)
    assert said and 0.04 * (said[0] - 6000) == pytest.approx(30, abs=2)


def so_far(**more):
    known = {"seconds": 60.0, "recorded_s": 60.0, "streaks": 0, "missing": 0, "repeated": 0, "shaken_px": 0.2}
    known |= {"shaken_long_px": 0.2, "colour_px": 0.5, "halved": None, "rising": None}
    return SoFar(**known | more)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({}, None),
        ({"missing": 5}, "pictures-missing"),
        ({"missing": 4}, None),
        ({"rising": (2.0, 40.0)}, "streaks-rising"),
        ({"shaken_px": 1.1}, "lines-shaken"),
        ({"shaken_px": 0.9}, None),
        ({"shaken_long_px": 0.8}, "lines-shaken"),
        ({"colour_px": -2.5}, "colour-aside"),
    ],
)
def test_what_depends_on_the_whole_is_said_so_far(more, says):
    """By the rows of the findings: 5 pictures and 2 a minute, 1.0 and 0.7 px, 2 px."""
    told = judge_tape_notice(so_far(**more), ROWS)
    assert (told.says if told else None) == says


COUNT, SHAKEN_PX, GAP, WORN, HELD = 80, 1.5, 12, range(20, 26), range(30, 50)


def tape_with_faults():
    """A pan of 2 px a field over a photograph, each line shifted by chance, noise, streaks, a hold. Float codes."""
    rng = np.random.default_rng(5)
    world = cv2.GaussianBlur(cv2.cvtColor(photograph("china.jpg"), cv2.COLOR_RGB2GRAY), (0, 0), 1.2)[100:580]
    fine = cv2.resize(world, None, fx=8, fy=1, interpolation=cv2.INTER_CUBIC).astype(np.float32)  # eighths of a pixel
    noise = rng.normal(0, 1.5, (480, 1440)).astype(np.float32)
    colour, last = np.full((480, 360), 128, np.float32), None
    line = np.arange(480)
    for number in range(COUNT):
        if number not in HELD or last is None:
            shift = 80 + 16 * (2 * number + line % 2) + np.rint(rng.normal(0, 8 * SHAKEN_PX, 480)).astype(int)
            luma = np.stack([fine[at, shift[at] : shift[at] + 5760 : 8] for at in line])
            at = int(rng.integers(0, 700))
            luma = 16 + luma * 0.8 + noise[:, at : at + 720]
            for streak in range(2 * (number in WORN)):
                at = 60 + 37 * (number % 6) + 180 * streak
                luma[at, 200:330] = 240 if luma[at, 200:330].mean() < 150 else 16
            luma[:, :9] = luma[:, -9:] = 16
            last = np.clip(luma, 1, 254), colour, colour
        yield last


@pytest.fixture(scope="module")
def followed(tmp_path_factory):
    """All faults in one file: (moments heard, report)."""
    path = tmp_path_factory.mktemp("live") / "a.mkv"
    write(path, tape_with_faults(), Form("uyvy", stamps=lambda number: number + 2 * (number >= GAP)))
    heard, every = [], moving_walk.HEAR_EVERY_S
    moving_walk.HEAR_EVERY_S = 0.0
    try:
        return heard, check(path, hear=heard.append)
    finally:
        moving_walk.HEAR_EVERY_S = every


@pytest.mark.parametrize(
    ("name", "number", "soon_s"), [("frames_lost", GAP, 2.4), ("dropout", WORN[0], 0.4), ("frozen", HELD[0], 0.4)]
)
def test_a_fault_in_a_picture_is_told_soon_after_it(followed, name, number, soon_s):
    """A gap with the 65th picture, streaks with the fifth (two a picture, known one later), a hold with the fourth.

    The file lasts 2.8 s from the gap on, 2.3 s from the hold: told at its end would be too late.
    """
    heard, report = followed
    (last,) = named(report, name)
    first = next(
        moment for moment in heard if any((one.name, one.verdict) == (name, "look") for one in moment.findings)
    )
    assert first.seconds - (number + 2) / 25 <= soon_s
    assert {one.from_s for moment in heard for one in moment.findings if one.name == name} == {last.from_s}
    assert last.verdict == "look"


def test_lines_that_shake_are_said_within_three_seconds_and_figures_run_along(followed):
    heard, report = followed
    assert named(report, "jitter")[0].verdict == "redo"
    said = [moment for moment in heard if moment.notice and moment.notice.says == "lines-shaken"]
    assert said[0].seconds <= SOON_S
    assert heard[-1].figures["lost_frames"] == 2 and heard[-1].figures["dropouts"] >= 8
    assert heard[-1].figures["line_jitter"] == pytest.approx(SHAKEN_PX, rel=0.15)
