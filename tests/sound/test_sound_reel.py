"""The law of a reel: print-through by its moving lag, faults that return with a turn, the place on the tape.

Truth by construction: tape is wound turn by turn (tests/make/sound_reel.py), never by the closed law that is fitted.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from make.sound import Samples, db, gated, hiss, talk, tune, write
from make.sound_reel import SIDE_S, SPEED_MM_S, neighbours, printed, strikes, wound

from takeup.judge.sound_known import SoundKnown
from takeup.judge.sound_reel import judge_print_through, judge_turns, said_reel
from takeup.measure.sound.deep import DeepFacts
from takeup.measure.sound.echo import BATCH, MOST, begin_echo, finish_echo, step_echo
from takeup.measure.sound.print_through import PrintThrough, find_print_through
from takeup.measure.sound.reel import ReelLaw, place_by_law, slope_of
from takeup.measure.sound.turns import find_turns
from takeup.media.probe import look_at
from takeup.streams import Finding, Original, Report
from takeup.tables.loader import load_rows
from takeup.tasks.check_sound import check_sound
from takeup.tasks.checking import Asked

RATE = 12_000
ROWS = load_rows()
KNOWN = SoundKnown(carrier="cassette")


class Heard:
    """What the judge asks of the facts of a capture."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds


def find(samples: Samples, rate: int = RATE) -> PrintThrough | None:
    state = begin_echo(rate, samples.shape[1])
    for piece in np.array_split(samples.astype(np.float32), 7):
        state = step_echo(state, piece)
    found = finish_echo(state)
    return find_print_through(found) if found else None


def told(found: PrintThrough | None, seconds: float) -> list[Finding]:
    return judge_print_through(Heard(seconds), DeepFacts(print_through=found), ROWS, KNOWN)


@cache
def programme(kind: str, seed: int, seconds: float = 200.0) -> Samples:
    """Switched noise, a voice, or tunes with rests of 2 to 3 s between them. Shape (n, 2), RMS about 1 while on."""
    rng = np.random.default_rng(seed)
    if kind == "gated":
        return gated(rng, seconds, RATE)[0][:, None] * np.array([1, 0.8])
    if kind == "talk":
        return talk(rng, seconds, RATE)[:, None] * np.array([0.8, 1])
    parts, left = [], round(seconds * RATE)
    while left > 0:
        parts += [tune(rng, rng.uniform(8, 20), RATE), np.zeros((round(rng.uniform(2, 3) * RATE), 2))]
        left -= len(parts[-1]) + len(parts[-2])
    return np.concatenate(parts)[: round(seconds * RATE)]


def on_tape(samples: Samples, rng: np.random.Generator, hiss_dbfs: float = -50.0) -> Samples:
    """With hiss of a level over 24 kHz, of which this rate holds a quarter."""
    return samples + hiss(rng, hiss_dbfs - 6.02, len(samples))


# The law


@pytest.mark.parametrize("thickness_um", [9.0, 12.0, 18.0])
def test_the_law_of_a_reel_gives_the_turns_of_tape_wound_layer_by_layer(thickness_um):
    """Hub 11 mm: the first turn plays for 2 pi 11 / 47.625 = 1.451 s and a little more by half the tape's thickness."""
    starts = wound(thickness_um, SIDE_S[thickness_um] * SPEED_MM_S) / SPEED_MM_S
    law = ReelLaw(at_s=0.0, period_s=2 * np.pi * 11 / SPEED_MM_S, slope_s=slope_of(thickness_um))
    middles = (starts[1:] + starts[:-1]) / 2
    assert np.abs(law.period(middles) - np.diff(starts)).max() < 1e-3
    assert np.abs(law.turns(starts) - np.arange(len(starts))).max() < 0.02


def test_a_full_cassette_turns_in_3_27_seconds_whatever_its_tape():
    """Check values, part 3: C60, C90 and C120 fill the same circle."""
    for thickness_um, side_s in SIDE_S.items():
        law = ReelLaw(at_s=0.0, period_s=2 * np.pi * 11 / SPEED_MM_S, slope_s=slope_of(thickness_um))
        assert law.period(side_s) == pytest.approx(3.27, abs=0.01)


@pytest.mark.parametrize("reel", ["take-up", "supply"])
def test_the_law_gives_the_place_on_the_tape_within_a_hundredth_of_the_side(reel):
    side_s = SIDE_S[12.0]
    at_s = np.linspace(60, side_s - 60, 20)
    later, earlier = neighbours(at_s, reel, 12.0, side_s)
    period = (later - earlier) / 2
    sign = 1 if reel == "take-up" else -1
    for at, turn in zip(at_s, period):
        law = ReelLaw(at_s=at, period_s=turn, slope_s=sign * slope_of(12.0))
        side_m = side_s * SPEED_MM_S / 1000
        assert place_by_law(law, at, 11.0, side_m) == pytest.approx(at * SPEED_MM_S / 1000, abs=0.01 * side_m)


# Print-through


@pytest.mark.parametrize(
    ("kind", "levels", "reel", "thickness_um", "from_s"),
    [
        ("gated", (-60, None), "take-up", 12.0, 0.0),
        ("gated", (None, -65), "supply", 9.0, 2000.0),
        ("talk", (-60, -63), "supply", 18.0, 300.0),
        ("talk", (-65, -65), "take-up", 12.0, 1500.0),
        ("tunes", (-55, -58), "take-up", 12.0, 900.0),
        ("tunes", (-57, None), "supply", 18.0, 700.0),
    ],
)
def test_print_through_is_found_with_its_lag_its_reel_and_its_side(kind, levels, reel, thickness_um, from_s):
    """Target: -60 dB, lag within 10 ms (part 4, fault 12). Music without a rest hides it: tunes are asked at -55 dB."""
    rng, seconds = np.random.default_rng(len(kind)), 200.0
    samples = printed(
        programme(kind, 11),
        RATE,
        before_db=levels[0],
        after_db=levels[1],
        reel=reel,
        thickness_um=thickness_um,
        from_s=from_s,
    )
    found = find(on_tape(samples, rng))
    [finding] = told(found, seconds)
    at_s = np.linspace(5, seconds - 5, 50)
    later, earlier = neighbours(from_s + at_s, reel, thickness_um, SIDE_S[thickness_um])
    lag = later - from_s - at_s if levels[0] is not None else at_s + from_s - earlier
    assert np.abs(found.law.period(at_s) - lag).max() < 0.010
    assert found.law.reel == reel and found.law.thickness_um == pytest.approx(thickness_um, rel=0.05)
    sides = [name for name, level in zip(("before", "after"), levels) if level is not None]
    assert finding.says == "print_through." + ("both" if len(sides) == 2 else sides[0])
    assert (finding.verdict, finding.again) == ("look", "no")


@cache
def flat_echo() -> Samples:
    """As loud as its sound."""
    samples = programme("gated", 11)
    return printed(samples, RATE, before_db=0, flat=True, from_s=500.0) - samples


@pytest.mark.parametrize("level", [-50, -55, -60, -65])
def test_the_level_of_print_through_is_told_within_3_db(level):
    rng = np.random.default_rng(3)
    found = find(on_tape(programme("gated", 11) + db(level) * flat_echo(), rng))
    assert found.before_db == pytest.approx(level, abs=3)
    assert found.after_db is None or found.after_db < level - 15


@pytest.mark.parametrize("kind", ["gated", "talk", "tunes"])
@pytest.mark.parametrize("hiss_dbfs", [-48.0, -62.0])
def test_clean_programme_has_no_print_through(kind, hiss_dbfs):
    rng = np.random.default_rng(11)
    assert told(find(on_tape(programme(kind, 11), rng, hiss_dbfs)), 200) == []


@pytest.mark.parametrize("lag_s", [1.33, 1.8, 2.6])
@pytest.mark.parametrize("way", [-1, 1])
def test_an_echo_that_keeps_its_lag_is_no_print_through(lag_s, way):
    """An echo effect; the groove echo of a record (1.8 s at 33 1/3 turns a minute)."""
    rng = np.random.default_rng(5)
    samples = programme("talk", 11)
    samples = samples + db(-45) * np.roll(samples, way * round(lag_s * RATE), axis=0)
    assert told(find(on_tape(samples, rng)), 200) == []


@pytest.mark.parametrize("drift", [0.0, -0.06, 0.06])
def test_a_beat_is_no_print_through_even_when_its_tempo_drifts(drift):
    """One bar of a tune again and again, a rest after every eight; played ever faster or slower by 6 %."""
    rng = np.random.default_rng(8)
    bar = tune(rng, 1.5, RATE)
    parts, at = [], 0
    while at < 200 * RATE:
        reading = np.arange(0, len(bar) - 1, 1 + drift * at / (200 * RATE))
        part = np.stack([np.interp(reading, np.arange(len(bar)), bar[:, side]) for side in (0, 1)], axis=1)
        parts.append(part * (0.0 if len(parts) % 9 == 8 else rng.uniform(0.5, 1)))
        at += len(part)
    assert told(find(on_tape(np.concatenate(parts), rng, -60)), 200) == []


def test_a_short_capture_tells_nothing_and_says_so():
    rng = np.random.default_rng(4)
    found = find(on_tape(printed(programme("gated", 11, 100.0), RATE, before_db=-50), rng))
    assert told(found, 100) == []
    said = said_reel(Heard(100.0), DeepFacts(print_through=found), ROWS, KNOWN)["reel"]
    assert (said.value, said.why) == (None, "sound.short-for-turns")


def test_digital_silence_and_one_channel_are_heard_without_a_fault():
    assert find(np.zeros((30 * RATE, 1))) is None
    assert find(np.zeros((10, 2))) is None


def test_a_capture_of_many_hours_takes_no_more_room():
    """Rows are joined in pairs: their number stays under the limit, and the sums are kept."""
    state = begin_echo(RATE, 1)
    rng = np.random.default_rng(0)
    batch = BATCH * 384 * state.cut
    loud = np.repeat(10.0 ** rng.uniform(-4, 0, 60 * BATCH), batch // BATCH)[:, None]
    piece = (loud * rng.standard_normal(loud.shape)).astype(np.float32)
    plain = finish_echo(step_echo(state, piece))
    from takeup.measure.sound import echo

    try:
        echo.MOST = 40
        joined = finish_echo(step_echo(begin_echo(RATE, 1), piece))
    finally:
        echo.MOST = MOST
    assert len(joined.found) < 40 < len(plain.found)
    assert joined.row_s == pytest.approx(4 * plain.row_s)
    whole = len(joined.found) * 4
    assert joined.squares.sum() == pytest.approx(plain.squares[:whole].sum(), rel=1e-4)


# Faults that return with a turn


@pytest.mark.parametrize(
    ("reel", "thickness_um", "from_s"), [("take-up", 18.0, 200.0), ("supply", 12.0, 900.0), ("supply", 18.0, 1200.0)]
)
def test_a_dent_is_placed_on_its_reel(reel, thickness_um, from_s):
    """Three strikes in four are heard, 15 ms off at random, among 40 dropouts that have nothing to do with it."""
    rng = np.random.default_rng(round(from_s))
    at_s = strikes(reel, thickness_um, from_s, 120)
    at_s = at_s[rng.random(len(at_s)) < 0.75]
    others = rng.uniform(at_s[0] - 60, at_s[-1] + 60, 40)
    turns = find_turns(np.sort(np.concatenate([at_s + rng.normal(0, 0.015, len(at_s)), others])))
    [finding, *_] = judge_turns(DeepFacts(turns=turns), ROWS, KNOWN)
    assert finding.says == f"crease.{reel}"
    assert finding.from_s > at_s[0] - 30 and finding.to_s < at_s[-1] + 30  # a few others fit by chance
    middle = (turns[0].from_s + turns[0].to_s) / 2
    wanted = np.diff(strikes(reel, thickness_um, middle, 2))[0]
    assert float(turns[0].law.period(middle)) == pytest.approx(wanted, rel=0.01)


@pytest.mark.parametrize("kind", ["at random", "a scratched record", "in bursts"])
def test_dropouts_that_follow_no_reel_are_placed_on_none(kind):
    for seed in range(4):
        rng = np.random.default_rng(seed)
        if kind == "at random":
            at_s = np.sort(rng.uniform(0, 600, 150))
        elif kind == "a scratched record":
            at_s = np.arange(0, 400, 1.8) + rng.normal(0, 0.02, 223)
        else:
            at_s = np.sort(
                np.concatenate([start + rng.exponential(0.3, 8).cumsum() for start in rng.uniform(0, 600, 10)])
            )
        assert judge_turns(DeepFacts(turns=find_turns(at_s)), ROWS, KNOWN) == []


# Whole files


def check(path) -> Report:
    asked = Asked(original=Original(id="t1", carrier="cassette"))
    return check_sound(path, look_at(path), asked, ROWS)


def test_a_file_with_print_through_tells_it_and_where_on_the_tape_it_lies(tmp_path):
    """From minute 10 of a C90 side: 0.6 * 47.625 = 28.575 m; three minutes more make 37.15 m; within 2 % of 128.6 m."""
    rng, rate = np.random.default_rng(2), 16_000
    samples = talk(rng, 180, rate)[:, None]
    samples = 0.08 * printed(samples, rate, before_db=-56, after_db=-60, thickness_um=12.0, from_s=600.0)
    report = check(write(tmp_path / "a.wav", samples + hiss(rng, -72, len(samples), 1), rate))
    assert [finding.says for finding in report.findings if finding.name == "print_through"] == ["print_through.both"]
    reel = report.measures["reel"]
    later, _ = neighbours(np.array([600.0]), "take-up", 12.0, 2700.0)
    assert reel.value == pytest.approx(later[0] - 600, abs=0.01)
    assert reel.extra["reel"] == "take-up" and reel.extra["from"] == "print-through"
    assert reel.extra["metres"] == pytest.approx([28.575, 37.15], abs=0.02 * 128.6)


def test_a_clean_file_gives_the_place_by_time_and_says_why_no_reel(tmp_path):
    rng, rate = np.random.default_rng(6), 16_000
    samples = 0.08 * talk(rng, 160, rate)[:, None]
    report = check(write(tmp_path / "a.wav", samples + hiss(rng, -60, len(samples), 1), rate))
    assert [finding for finding in report.findings if finding.name in ("print_through", "crease")] == []
    reel = report.measures["reel"]
    assert (reel.value, reel.why) == (None, "sound.no-turns")
    assert reel.extra["metres"] == [0.0, pytest.approx(160 * 0.047625, abs=0.01)]
