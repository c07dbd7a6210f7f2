"""Jitter, noise, colour delay, head switching and dropouts of simulated tapes whose amounts are laid down."""

import numpy as np
import pytest
from make.video import Form, Tape, coded, render, write
from make.video_check import check, named

from takeup.measure.video import chroma, dropouts
from takeup.measure.video.headswitch import head_switch_lines
from takeup.measure.video.jitter import line_jitter
from takeup.measure.video.noise import noise_codes

WORLDS = ["mixed", "chelsea", "astronaut"]


def luma_of(**tape):
    return coded(next(iter(render(Tape(pictures=1, seed=81, **tape)))), "yuv422p10le")[0]


@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("true_px", [0.12, 0.7, 1.6])
def test_line_jitter_comes_back_to_a_tenth(world, true_px):
    """Target of check-values/video.md 4.1.2: 0.1 px or 10 %."""
    pictures = [
        coded(planes, "uyvy422")[0] for planes in render(Tape(pictures=3, seed=81, world=world, jitter_px=true_px))
    ]
    found = [line_jitter(luma, 8, parity, sharp_enough=0.3, least_lines=60) for luma in pictures for parity in (0, 1)]
    assert np.median([one.rms_px for one in found]) == pytest.approx(true_px, abs=max(0.13, 0.12 * true_px))


def test_line_jitter_of_an_even_picture_is_not_guessed():
    luma = np.random.default_rng(1).normal(100, 1.5, (576, 720)).astype(np.uint8)
    assert line_jitter(luma, 8, 0, sharp_enough=0.3, least_lines=60).rms_px is None


@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("codes", [1.5, 5.0])
def test_noise_comes_back_within_a_decibel_and_a_half(world, codes):
    found = noise_codes(luma_of(world=world, noise=codes), 10)
    assert 20 * np.log10(found / codes) == pytest.approx(0, abs=1.5)


def test_noise_of_nothing_but_texture_is_not_guessed():
    luma = np.random.default_rng(2).integers(20, 230, (72, 90)).astype(np.float32)
    luma = np.kron(luma, np.ones((8, 8))).astype(np.uint8)
    assert noise_codes(luma, 8) is None


@pytest.mark.parametrize("sampling", ["yuv422p10le", "yuv420p", "yuv411p"])
@pytest.mark.parametrize("true_px", [-4.5, 0.0, 6.0])
def test_colour_delay_comes_back(sampling, true_px):
    state = chroma.begin()
    for planes in render(Tape(pictures=2, chroma_delay_px=true_px, seed=82)):
        state = chroma.step(state, coded(planes, sampling), 10 if "10" in sampling else 8)
    assert chroma.finish(state, least_likeness=0.15).delay_px == pytest.approx(true_px, abs=0.3)


def test_a_grey_picture_has_no_colour_delay():
    grey = np.full((576, 360), 128, np.uint8)
    luma = luma_of().astype(np.uint16) >> 2
    state = chroma.step(chroma.begin(), (luma.astype(np.uint8), grey, grey), 8)
    assert chroma.finish(state, least_likeness=0.15).delay_px is None


@pytest.mark.parametrize("lines", [0, 3, 6, 12])
def test_head_switch_lines_are_counted_from_the_bottom_of_a_field(lines):
    assert head_switch_lines(luma_of(head_switch_lines=lines), 10, bent_px=3, least_step=12) == lines


def test_dropouts_are_found_and_none_where_there_are_none():
    """18 streaks of 45 codes and more over their surroundings; the same seeds without them as control."""
    rng = np.random.default_rng(5)
    found = total = wrong = 0
    for seed, world in ((83, "astronaut"), (84, "bright"), (85, "coffee")):
        clean = [coded(planes, "yuv422p10le")[0] for planes in render(Tape(pictures=9, world=world, seed=seed))]
        spoilt = [luma.copy() for luma in clean]
        for at in (2, 4, 6):
            line, start, length = int(rng.integers(40, 500)), int(rng.integers(40, 500)), int(rng.integers(60, 150))
            before = float(np.median(clean[at][line, start : start + length])) / 4
            spoilt[at][line, start : start + length] = 4 * (235 if before < 125 else 20)
            total += 1
        for pictures, planted in ((clean, 0), (spoilt, 3)):
            state, counts = dropouts.begin(), []
            for luma in pictures:
                state, number = dropouts.step(state, luma, 10, contrast=22, length_px=42, busy_share=0.02)
                counts.append(number)
            hits = sum(counts[at + 1] == 1 for at in (2, 4, 6)) if planted else 0
            found += hits
            wrong += sum(counts) - hits
    assert found >= 0.85 * total and wrong == 0


def test_jitter_without_a_corrector_is_told_and_a_steady_tape_is_not(tmp_path):
    for true_px, verdicts in ((1.6, ["redo"]), (0.12, [])):
        write(tmp_path / "a.avi", Tape(pictures=26, jitter_px=true_px, seed=86), Form("uyvy"))
        report = check(tmp_path / "a.avi")
        assert [one.verdict for one in named(report, "jitter")] == verdicts
        assert report.measures["line_jitter"].value == pytest.approx(true_px, abs=0.16)
        assert report.measures["picture_snr"].value == pytest.approx(43.3, abs=1.5)
        assert report.measures["head_switch_lines"].value == 6 and report.measures["dropouts"].value == 0
