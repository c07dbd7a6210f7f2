"""The slanted edge against edges whose modulation is known by formula.

An edge (1 + erf(d / (sigma sqrt 2))) / 2 by signed normal distance d, sampled at points, has MTF(f) = exp(-2 pi^2
sigma^2 f^2): half is left at 0.18739/sigma, a tenth at 0.34155/sigma. Bounds are the targets of the check values for
scans, part 2.1: 0.003 and 0.3 % without noise; with noise 1/255 a 95th percentile of 0.015 and 0.4 %.
"""

import numpy as np
import pytest
from scipy.special import erf

from takeup.measure.scan.edges import FREQUENCIES, EdgeRules, NoEdge, SlantedEdge, slanted_edge

BELOW = FREQUENCIES <= 0.5


def phi(d):
    return (1 + erf(d / 2**0.5)) / 2


def edge(sigma, degrees=5.0, rows=200, columns=80, low=48.0, high=208.0, off=0.137):
    a = np.radians(degrees)
    y, x = np.mgrid[0:rows, 0:columns].astype(float)
    d = (x - (columns - 1) / 2) * np.cos(a) - (y - (rows - 1) / 2) * np.sin(a) - off
    return low + (high - low) * phi(d / sigma)


def blur(sigma):
    return np.exp(-2 * np.pi**2 * sigma**2 * FREQUENCIES**2)


@pytest.mark.parametrize("degrees", [2.0, np.degrees(np.arctan(1 / 20)), 5.0, -7.7, 10.0])
@pytest.mark.parametrize("sigma", [0.5, 0.7, 1.0, 1.5, 2.5])
def test_a_blur_is_measured_as_its_formula_says(sigma, degrees):
    found = slanted_edge(edge(sigma, degrees), None)
    assert np.abs(found.mtf - blur(sigma))[BELOW].max() <= 0.003
    assert found.mtf50 == pytest.approx(0.18739 / sigma, rel=0.003)
    assert abs(found.angle) == pytest.approx(abs(degrees), abs=0.003)
    if found.mtf10 is not None:
        assert found.mtf10 == pytest.approx(0.34155 / sigma, rel=0.005)


@pytest.mark.parametrize("sigma", [0.5, 0.7, 1.0])
def test_noise_of_one_code_hardly_matters(sigma):
    rng, clean = np.random.default_rng(3), edge(sigma)
    found = [
        slanted_edge(np.clip(np.rint(clean + rng.normal(0, 1, clean.shape)), 0, 255).astype(np.uint8), None)
        for _ in range(30)
    ]
    worst = [np.abs(one.mtf - blur(sigma))[BELOW].max() for one in found]
    assert np.percentile(worst, 95) <= 0.015
    assert np.std([one.mtf50 for one in found]) / (0.18739 / sigma) <= 0.004


def test_an_edge_that_lies_across_is_measured_down():
    found, turned = slanted_edge(edge(0.8, 6), None), slanted_edge(edge(0.8, 6).T, None)
    assert found.across and not turned.across
    assert turned.mtf50 == pytest.approx(found.mtf50, rel=1e-6)
    assert found.angle == pytest.approx(-turned.angle, abs=1e-6)


# y = x + k (x - G_s x): MTF = MTF0 (1 + k (1 - exp(-2 pi^2 s^2 f^2)))
@pytest.mark.parametrize(("sigma", "k", "s"), [(0.6, 0.5, 1.0), (0.8, 1.0, 1.5), (0.7, 0.8, 3.0)])
def test_sharpening_shows_above_one(sigma, k, s):
    plain, soft = edge(sigma, columns=120), edge(np.hypot(sigma, s), columns=120)
    found = slanted_edge(plain + k * (plain - soft), None)
    wanted = blur(sigma) * (1 + k * (1 - blur(s)))
    assert np.abs(found.mtf - wanted)[BELOW].max() <= 0.01
    assert found.most == pytest.approx(wanted[BELOW].max(), abs=0.01) and found.most > 1


def test_channels_that_lie_apart():
    """Red 0.20 px one way, blue 0.35 px the other of green: +-0.01 px."""
    rgb = np.stack([edge(0.8, off=0.2), edge(0.8, off=0.0), edge(0.8, off=-0.35)], axis=2)
    assert slanted_edge(rgb, None).misplaced == pytest.approx((0.2, -0.35), abs=0.01)


# FADGI 2016, SFR10 sampling efficiency: 90/80/70/60 % of half-sampling are these blurs
@pytest.mark.parametrize(("share", "sigma"), [(0.9, 0.7590), (0.8, 0.8539), (0.7, 0.9758), (0.6, 1.1385)])
def test_just_inside_and_just_outside_each_star(share, sigma):
    assert slanted_edge(edge(sigma * 0.99), None).efficiency > share
    assert slanted_edge(edge(sigma * 1.01), None).efficiency < share


def test_light_is_measured_and_not_codes():
    """The same blur in light, kept as codes of a known curve: only through the curve is it found again."""
    light = edge(1.0, low=0.05, high=0.8)
    codes = np.rint(65535 * light ** (1 / 2.2)).astype(np.uint16)
    tone = (np.arange(65536) / 65535) ** 2.2
    assert slanted_edge(codes, tone).mtf50 == pytest.approx(0.18739, rel=0.003)
    assert slanted_edge(codes.astype(float), None).mtf50 < 0.97 * 0.18739


CLIPPED = np.clip((edge(1.0) - 128) * 2 + 128, 0, 255)


@pytest.mark.parametrize(
    ("pixels", "why"),
    [
        (CLIPPED.astype(np.uint8), "clipped"),
        (edge(1.0, columns=52), "narrow"),  # 26 px beside the middle, less the 9 px that the slope takes
        (edge(1.0, low=100, high=140), "contrast"),
        (edge(1.0, 1.2), "angle"),
        (edge(1.0, 17, columns=140), "angle"),
        (np.full((200, 80), 128.0), "flat"),
        (edge(1.0, 2, rows=20), "short"),
    ],
    ids=["clipped", "narrow", "pale", "upright", "steep", "plain", "under one period"],
)
def test_what_is_no_edge_to_measure_at_is_refused(pixels, why):
    assert slanted_edge(pixels, None) == NoEdge(why=why)


def test_a_wavy_edge_is_refused():
    a, sigma = np.radians(5), 0.8
    y, x = np.mgrid[0:200, 0:100].astype(float)
    d = (x - 49.5 - 2.0 * np.sin(y / 9)) * np.cos(a) - (y - 99.5) * np.sin(a)
    assert slanted_edge(60 + 140 * phi(d / sigma), None) == NoEdge(why="bent")


def test_plain_noise_is_no_edge():
    noise = np.clip(np.random.default_rng(5).normal(128, 12, (200, 80)), 1, 254).astype(np.uint8)
    assert not isinstance(slanted_edge(noise, None, EdgeRules(least_contrast=0.02)), SlantedEdge)
