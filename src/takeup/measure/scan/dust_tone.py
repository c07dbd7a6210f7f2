"""The one grey that the dust of a scan has, and the marks that show it.

Dust of one scan is of one kind and hides about the same share of the light, so what a mark shows, less what shines
through, is one grey for all of them. What glints in a picture is of many tones. Where the clearest marks agree on a
grey, fainter ones and those in busy places are told by it (``dust_matched``). Dust of many greys is sought as marks
that go towards white or black, where the picture has hardly any that go the other way.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from takeup.measure.scan import dust_matched

GROUND = 15  # side of the median that hides a mark [px]: wider ones are no specks
CALM = 41  # side of the surroundings whose unrest is measured [px]
OPAQUE = 0.85  # of the light that a speck covers
LARGEST = 600  # pixels of a mark
FAINT, LEAST = 14.0, 2.5  # codes, and times the unrest, that a mark of a known tone stands out at least
ABOUT = 9  # side of what a mark must stand out of [px]
GREY, CLEAR, STEP, SEED_PX = 6.0, 9.0, 18.0, 4  # of a clear mark: spread of its tone, times the unrest, codes, px
SEEDS, AGREE = 8, 0.65  # how many clear marks, and what share of them must show one tone
SAME, COLOURLESS = 12.0, 8.0  # codes by which another mark's tone, and its channels, may differ from that
VERY = 3.0  # the same of a mark that hardly stands out of all about it
LITTLE = 3.0  # codes that such a mark stands out all the same
RARE = 0.003  # share of a picture that may be of that tone itself; else a mark must stand out:
APART, APART_CLEAR = 10.0, 4.0  # codes over all about it, times the unrest
GLINTS = 252.0  # a tone at the last code is that of glints
ENDS = ((1, 255.0), (-1, 0.0))  # signs and codes that dust of many greys goes towards
ROWS, EVERY = 512, 4  # rows looked at in one go, and of how many pixels one says what the picture's tones are


@dataclass(frozen=True, slots=True)
class Standing:
    """A picture (rows, columns, channels), what lies under its marks, and the unrest about each pixel, float32."""

    whole: np.ndarray
    ground: np.ndarray
    unrest: np.ndarray

    def out(self, sign: int) -> np.ndarray:
        """By how many codes each pixel is lighter (1) or darker (-1) than what lies under it."""
        return np.asarray(sign * (self.whole - self.ground).mean(axis=2))


@dataclass(frozen=True, slots=True)
class Tone:
    """``sign``: 1 for dust that is lighter than the picture, -1 for darker. ``common``: the picture shows it too.
    ``least``: how strong a matched mark must be. ``exact``: whether the dust has this grey, or any on its way there."""

    sign: int
    code: float
    common: bool
    least: float = float("inf")
    exact: bool = True


def standing(pixels: np.ndarray) -> Standing:
    """What stands out of a picture, uint8."""
    bands = [cv2.medianBlur(np.ascontiguousarray(pixels[..., c]), GROUND) for c in range(pixels.shape[2])]
    ground, whole = np.stack(bands, axis=2).astype(np.float32), pixels.astype(np.float32)
    size = np.abs((whole - ground).mean(axis=2))
    unrest = cv2.blur(size, (CALM, CALM))
    for _ in range(3):  # marks themselves are no unrest
        unrest = cv2.blur(np.minimum(size, 2.5 * unrest), (CALM, CALM))
    return Standing(whole, ground, unrest)


@dataclass(frozen=True, slots=True)
class _Marks:
    """Marks of one sign: which each pixel belongs to, and by number (0: none) what each is like."""

    label: np.ndarray
    area: np.ndarray
    tone: np.ndarray
    spread: np.ndarray
    clear: np.ndarray
    step: np.ndarray


def _marks(seen: Standing, sign: int) -> _Marks:
    out = seen.out(sign)
    there = (out > np.maximum(FAINT, LEAST * seen.unrest)).astype(np.uint8)
    count, label, about, _ = cv2.connectedComponentsWithStats(there)
    order = np.argsort(out.ravel(), kind="stable")
    peak = np.zeros(count, int)
    peak[label.ravel()[order]] = order  # the last one, which stands out most, stays
    y, x = np.divmod(peak, out.shape[1])
    shown = (seen.whole[y, x] - (1 - OPAQUE) * seen.ground[y, x]) / OPAQUE
    light = np.asarray(sign * seen.whole.mean(axis=2))
    rest = cv2.dilate(np.where(label > 0, -999, light).astype(np.float32), np.ones((ABOUT, ABOUT), np.uint8))
    area = about[:, cv2.CC_STAT_AREA].copy()
    area[0] = LARGEST + 1
    return _Marks(
        label, area, shown.mean(axis=1), np.ptp(shown, axis=1), out[y, x] / np.maximum(seen.unrest[y, x], 0.5),
        light[y, x] - rest[y, x],
    )  # fmt: skip


def find_tones(pixels: np.ndarray) -> tuple[Tone, ...]:
    """The greys of a picture's dust; nothing where its clearest marks do not agree, or are too few.

    Parameters
    ----------
    pixels : ndarray, shape (rows, columns, 3), uint8
        All of the picture, or enough of it.
    """
    clear: dict[int, list[np.ndarray]] = {1: [], -1: []}
    free = []
    for top in range(0, pixels.shape[0], ROWS):
        seen = standing(pixels[top : top + ROWS])
        free.append(seen.ground[::EVERY, ::EVERY].reshape(-1, pixels.shape[2]))
        for sign, tones in clear.items():
            marks = _marks(seen, sign)
            good = (marks.area >= SEED_PX) & (marks.area <= LARGEST) & (marks.spread <= GREY)
            tones.append(marks.tone[good & (marks.clear >= CLEAR) & (marks.step >= STEP)])
    found, own = [], np.concatenate(free)
    for sign, parts in clear.items():
        tones_of_all = np.concatenate(parts)
        if len(tones_of_all) < SEEDS:
            continue
        code = float(np.median(tones_of_all))
        if (np.abs(tones_of_all - code) <= GREY).mean() >= AGREE and code < GLINTS:
            found.append(Tone(sign, code, bool((np.abs(own - code).max(axis=1) <= SAME).mean() > RARE)))
    if found:
        return tuple(replace(tone, least=_least(pixels, tone)) for tone in found)
    ends = (Tone(sign, code, common=True, exact=False) for sign, code in ENDS)
    told = (replace(tone, least=_least(pixels, tone)) for tone in ends)
    return tuple(tone for tone in told if np.isfinite(tone.least))


def _least(pixels: np.ndarray, tone: Tone) -> float:
    """How strong a matched mark must be; every other block of rows tells."""
    right, wrong = [], []
    for top in range(0, pixels.shape[0], 2 * ROWS):
        found, away = dust_matched.marks(pixels[top : top + ROWS], tone.code, exact=tone.exact, wrong=True)
        right.append(found.strong[found.strong > 0])
        wrong.append(away)
    return dust_matched.least_strength(np.concatenate(right), np.concatenate(wrong), exact=tone.exact)


def matched(pixels: np.ndarray, tone: Tone) -> np.ndarray:
    """Which pixels belong to marks that go towards that grey, more strongly than texture does (bool)."""
    if not np.isfinite(tone.least):
        return np.zeros(pixels.shape[:2], bool)
    found, _ = dust_matched.marks(pixels, tone.code, exact=tone.exact)
    return np.asarray((found.strong > tone.least)[found.label])


def marks_of(seen: Standing, tone: Tone) -> np.ndarray:
    """Which pixels belong to marks of that grey (bool)."""
    marks = _marks(seen, tone.sign)
    off = np.abs(marks.tone - tone.code)
    apart = (marks.step >= APART) & (marks.clear >= APART_CLEAR)
    good = (off <= SAME) & (marks.spread <= COLOURLESS) & apart
    if not tone.common:
        good |= (off <= VERY) & (marks.spread <= VERY) & (marks.step >= LITTLE)
    good &= marks.area <= LARGEST
    return np.asarray(good[marks.label])
