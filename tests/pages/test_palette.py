"""Contrast of the colours, computed by the formula of WCAG 2.2 (relative luminance and contrast ratio in its glossary,
from memory; the ratio of black on white, 21, checks the formula)."""

from __future__ import annotations

import re
from itertools import product

import pytest

from takeup.pages.letter import TEMPLATES
from takeup.pages.signs import CARD, DRESS, FOCUS, GROUND, INK, PAPER, QUIET, RAMP, RULE, SHAPES, SILHOUETTE, sign


def luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_black_on_white_is_21():
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)


@pytest.mark.parametrize(
    "ground,text", list(product([PAPER, CARD], [INK, QUIET, FOCUS, *(dress.ink for dress in DRESS.values())]))
)
def test_text_stands_on_paper_and_card(ground, text):
    assert contrast(ground, text) >= 4.5


@pytest.mark.parametrize("verdict", DRESS)
def test_verdict_stands_on_its_own_tint(verdict):
    assert contrast(DRESS[verdict].ink, DRESS[verdict].tint) >= 4.5


def test_shapes_and_rules_stand_out():
    assert min(contrast(RULE, PAPER), contrast(RULE, CARD)) >= 3


def lightness(colour: str) -> float:
    """CIELAB L* from relative luminance (116 y^(1/3) - 16, from memory; black and white check it)."""
    y = luminance(colour)
    return 116 * y ** (1 / 3) - 16 if y > 216 / 24389 else y * 24389 / 27


def test_lightness_of_black_is_0_and_of_white_100():
    assert (lightness("#000000"), lightness("#FFFFFF")) == (0, pytest.approx(100))


def test_ramp_is_even_steps_of_lightness_so_that_a_grey_print_tells_the_same():
    """From 98.5 to 17 in fifteen steps: 5.43 each."""
    steps = [lightness(one) - lightness(other) for one, other in zip(RAMP, RAMP[1:])]
    assert len(RAMP) == 16 and steps == [pytest.approx(5.43, abs=0.6)] * 15


def test_ramp_is_of_one_hue():
    """Blue over green over red in every step: never another order, as a rainbow would have."""
    for colour in RAMP:
        red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
        assert red < green < blue


def test_lines_over_the_level_stand_out_from_what_is_behind_them():
    """The mean on the level and on the ground; the noise's edge on both, on paper and card; ink over the silhouette."""
    mean, noise = RAMP[14], DRESS["look"].ink
    assert min(contrast(mean, behind) for behind in (SILHOUETTE, GROUND, PAPER, CARD)) >= 3
    assert min(contrast(noise, behind) for behind in (SILHOUETTE, GROUND, PAPER, CARD)) >= 3
    assert contrast(INK, SILHOUETTE) >= 4.5


def test_verdicts_differ_in_shape_not_only_in_colour():
    plain = {re.sub(r"#\w+", "", shape.format(ink="#0", ground="#1")) for shape in SHAPES.values()}
    assert len(plain) == len(SHAPES) == 4


def test_sign_is_silent_for_screen_readers():
    assert 'aria-hidden="true"' in sign("redo")


@pytest.mark.parametrize("name", ["letter.css", "receipt.css"])
def test_pages_wear_the_same_colours(name):
    css = (TEMPLATES / name).read_text("utf-8")
    root = dict(re.findall(r"--([\w-]+): (#\w{6})", css))
    ours = {"paper": PAPER, "card": CARD, "ink": INK, "quiet": QUIET, "rule": RULE, "focus": FOCUS}
    ours |= {verdict: DRESS[verdict].ink for verdict in ("good", "look", "redo")}
    ours |= {f"{verdict}-tint": DRESS[verdict].tint for verdict in ("good", "look", "redo")}
    assert {key: root[key] for key in root if key in ours} == {key: ours[key] for key in root if key in ours}
    assert set(root) >= {"paper", "card", "ink", "quiet", "focus"}
