"""Lost samples: every one told that can be told, and none where nothing was lost.

Truth by construction: samples taken out, zeroed or repeated in sides of known programme. Check values, part 4, fault
15: every gap from 1 ms, none on clean. Reached: holes and repeats from 1 ms always; missing samples only where the
station hums (an even line 20 dB over the noise in 1 Hz tells 5 ms within 0.5 ms; the check values' 0.12 ms are reached
with a louder family). Without a hum a loss that leaves no hole cannot be told and is not.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from make.listening import listened_to
from make.sound import db, gated, hiss, side, talk, tone, tune, write
from make.sound_hum import held_notes, hum

from takeup.measure.sound.gaps import begin_gaps, finish_gaps, step_gaps
from takeup.streams import Finding

RATE = 48_000
PLACES_S = (7.3, 11.0, 16.21, 19.9)


def lost(folder: Path, samples: np.ndarray, rate: int = RATE, subtype: str = "PCM_24") -> list[Finding]:
    path = write(folder / "a.wav", samples * min(1.0, 0.9 / np.abs(samples).max()), rate, subtype)
    return [finding for finding in listened_to(path).findings if finding.name == "lost_samples"]


@cache
def clean(kind: str, rate: int = RATE) -> np.ndarray:
    rng = np.random.default_rng(sum(map(ord, kind)))
    if kind == "hiss":
        return hiss(rng, -58, 25 * rate)
    programme = {"talk": talk, "tune": tune, "gated": lambda *how: gated(*how)[0]}[kind](rng, 20, rate)
    return side(programme, rng, rate)


KINDS = ["talk", "tune", "gated", "hiss"]


@cache
def stored(kind: str, bits: int) -> np.ndarray:
    """A clean side rounded to so many bits, as a file would give it back; for reading only."""
    samples, scale = clean(kind), 2.0 ** (bits - 1)
    return (np.round(samples * min(1, 0.9 / np.abs(samples).max()) * scale) / scale).astype(np.float32)


def places(samples: np.ndarray) -> list[tuple[float, str, int]]:
    """Holes and repeats of an array: seconds, kind, samples."""
    state = begin_gaps(RATE)
    for piece in np.array_split(samples, 23):
        state = step_gaps(state, piece)
    return [(gap.at / RATE, gap.kind, gap.lost) for gap in finish_gaps(state).places]


def told_at_the_places(kind: str, samples: np.ndarray) -> list[tuple[float, str, int]]:
    """All places, of one kind and where they were laid."""
    found = places(samples)
    assert [one[1] for one in found] == [kind] * 4
    assert [one[0] for one in found] == pytest.approx(PLACES_S, abs=0.001)
    return found


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("count", [48, 64, 480, 4096])
def test_a_hole_of_digital_nothing_is_told_with_its_place_and_length(kind, bits, count):
    samples = stored(kind, bits).copy()
    for at in PLACES_S:
        samples[round(at * RATE) : round(at * RATE) + count] = 0
    found = told_at_the_places("hole", samples)
    assert [one[2] for one in found] == pytest.approx([count] * 4, abs=2)  # a neighbour may be nothing by chance


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize("count", [64, 256, 1024, 4096])
def test_a_buffer_that_comes_twice_is_told(kind, bits, count):
    samples = stored(kind, bits).copy()
    for at in PLACES_S:
        first = round(at * RATE)
        samples[first : first + count] = samples[first - count : first]
    found = told_at_the_places("repeat", samples)
    assert [one[2] for one in found] == [count] * 4


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("bits", [16, 24])
def test_no_sound_goes_to_nothing_or_comes_twice_by_itself(kind, bits):
    assert places(stored(kind, bits)) == []


@pytest.mark.parametrize("rate", [44_100, 96_000])
def test_holes_and_repeats_are_told_at_other_rates(tmp_path, rate):
    samples = clean("talk", rate).copy()
    samples[9 * rate : 9 * rate + rate // 500] = 0
    samples[15 * rate : 15 * rate + 512] = samples[15 * rate - 512 : 15 * rate]
    found = lost(tmp_path, samples, rate)
    assert [one.says for one in found] == ["lost_samples.hole", "lost_samples.repeat"]
    assert {(one.verdict, one.again) for one in found} == {("redo", "helps")}


@pytest.mark.parametrize("kind, milliseconds", [("hiss", 1), ("talk", 1), ("talk", 5), ("tune", 5)])
def test_missing_samples_are_told_by_the_stations_hum(tmp_path, kind, milliseconds):
    rng = np.random.default_rng(3)
    samples = clean(kind) + hum(rng, 50.01, len(clean(kind)))
    keep = np.ones(len(samples), bool)
    for at in (8.0, 15.0):
        keep[round(at * RATE) : round(at * RATE) + RATE * milliseconds // 1000] = False
    found = lost(tmp_path, samples[keep])
    assert [(one.says, one.verdict) for one in found] == [("lost_samples.jump", "redo")] * 2
    assert [one.from_s for one in found] == pytest.approx([8.0, 15.0], abs=0.6)
    assert [one.value for one in found] == pytest.approx([RATE * milliseconds / 1000] * 2, abs=0.0005 * RATE)


def test_how_much_is_missing_is_known_within_an_eighth_of_a_millisecond_under_a_clear_hum(tmp_path):
    """Targets 0.12 ms at 20 dB over the noise in 1 Hz were measured on one line; here a family over hiss."""
    rng = np.random.default_rng(4)
    samples = clean("hiss") + hum(rng, 50.0, len(clean("hiss")))
    keep = np.ones(len(samples), bool)
    keep[10 * RATE : 10 * RATE + 256] = False
    assert [one.value for one in lost(tmp_path, samples[keep])] == pytest.approx([256], abs=0.00012 * RATE)


# Nothing lost


def spliced(rng: np.random.Generator) -> np.ndarray:
    """Edits of a tape: another piece from one sample to the next, under hiss that goes on."""
    pieces = [talk(rng, 5), tune(rng, 5)[:, 0], talk(rng, 5), gated(rng, 5)[0]]
    return side(np.concatenate(pieces), rng)


def clicked(rng: np.random.Generator) -> np.ndarray:
    samples = clean("talk").copy()
    for at in rng.integers(5 * RATE, 20 * RATE, 40):
        length = int(rng.integers(1, 96))
        samples[at : at + length] += 0.2 * rng.standard_normal() * np.exp(-np.arange(length) / (length / 3))[:, None]
    return samples


def knocked(rng: np.random.Generator) -> np.ndarray:
    out = np.zeros(20 * RATE)
    for at in range(0, 19 * RATE, RATE // 3):
        out[at : at + 6000] += rng.standard_normal(6000) * np.exp(-np.arange(6000) / 900)
    return side(out / out.std(), rng)


CLEAN = {
    "talk": lambda rng: clean("talk"),
    "tune": lambda rng: clean("tune"),
    "gated": lambda rng: clean("gated"),
    "hiss": lambda rng: clean("hiss"),
    "splices": spliced,
    "clicks": clicked,
    "drums": knocked,
    "bass": lambda rng: side(held_notes(rng, 20, (49.0, 55.0)), rng),
    "splices over a hum": lambda rng: spliced(rng) + hum(rng, 50.0, len(spliced(np.random.default_rng(1)))),
    "a digital leader": lambda rng: np.concatenate([np.zeros((3 * RATE, 2)), clean("talk"), np.zeros((RATE, 2))]),
    "digital pauses": lambda rng: np.repeat(db(-20) * gated(rng, 25, off_s=0.4)[0][:, None], 2, axis=1),
    "a tone of whole samples": lambda rng: np.concatenate([tone(1000, -20, 3), np.zeros((RATE, 2)), tone(500, -9, 3)]),
    "hum that stands still": lambda rng: clean("gated") + hum(rng, 49.99, len(clean("gated"))),
    "hum of a tape": lambda rng: clean("talk") + hum(rng, 50.4, len(clean("talk")), wow_share=0.003),
}


@pytest.mark.parametrize("control", CLEAN)
def test_nothing_is_lost_in_whole_captures(tmp_path, control):
    subtype = "PCM_16" if "hum" in control or "tone" in control else "PCM_24"
    assert lost(tmp_path, CLEAN[control](np.random.default_rng(1)), subtype=subtype) == []


@pytest.mark.parametrize("seed", range(4))
def test_cutting_a_capture_into_blocks_changes_no_place(seed):
    rng = np.random.default_rng(seed)
    samples = clean("talk")[: 12 * RATE].astype(np.float32)
    samples[5 * RATE : 5 * RATE + 3000] = 0
    samples[9 * RATE : 9 * RATE + 300] = samples[9 * RATE - 300 : 9 * RATE]
    found = []
    for cuts in ([], sorted(rng.integers(0, len(samples), 40)), list(range(0, len(samples), 997))):
        state = begin_gaps(RATE)
        for piece in np.split(samples, cuts):
            state = step_gaps(state, piece)
        found.append(finish_gaps(state))
    assert found[0] == found[1] == found[2]
    assert {gap.kind for gap in found[0].places} >= {"hole", "repeat"}


def test_a_long_side_of_clicks_hides_no_loss_at_its_end():
    """Eighteen minutes with a click in each half second, each a step of the wave; the last second lacks 10 ms."""
    rate, seconds = 8000, 1080
    rng = np.random.default_rng(21)
    samples = hiss(rng, -50, seconds * rate).astype(np.float32)
    samples[rate // 4 :: rate // 2] += 0.5
    at = (seconds - 1) * rate
    samples[at : at + 80] = 0
    state = begin_gaps(rate)
    for piece in np.array_split(samples, 30):
        state = step_gaps(state, piece)
    found = finish_gaps(state)
    assert len(found.steps) > 2000
    assert [(gap.kind, gap.lost) for gap in found.places] == [("hole", pytest.approx(80, abs=2))]


@pytest.mark.parametrize("over_db", [6, 12, 20, 30])
@pytest.mark.parametrize("level", [1.0, 0.4])
def test_tops_cut_flat_for_milliseconds_are_no_holes(over_db, level):
    """A 35 Hz tone and its octave, cut: at 30 dB over the top stands still for 14 ms of each half wave of 14.3."""
    t = np.arange(3 * 48_000) / 48_000
    wave = (np.sin(2 * np.pi * 35 * t) + 0.3 * np.sin(2 * np.pi * 70 * t + 1)) * db(over_db)
    sound = level * np.clip(np.column_stack([wave, 0.9 * wave]), -1, 1).astype(np.float32)
    assert not finish_gaps(step_gaps(begin_gaps(48_000), sound)).places


def test_a_hold_of_the_last_value_between_cut_tops_is_a_hole():
    """The same wave with a buffer of ten milliseconds held at what came last, on a flank."""
    t = np.arange(3 * 48_000) / 48_000
    wave = np.clip(2 * np.sin(2 * np.pi * 35 * t), -1, 1)
    at = next(i for i in range(60_000, 70_000) if 0.2 < wave[i] < 0.5)
    wave[at : at + 480] = wave[at]
    found = finish_gaps(step_gaps(begin_gaps(48_000), np.column_stack([wave, wave]).astype(np.float32))).places
    assert [(one.kind, abs(one.at - at) <= 1, abs(one.lost - 480) <= 1) for one in found] == [("hole", True, True)]
