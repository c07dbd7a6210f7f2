"""Colour delay: how far right of luma the colour lies [luma pixels], and how far below it [lines of a field].

Where two things of different colour meet, colour and luma step together: within a short piece of a line one is the
other times a factor of either sign. So each piece in which luma, brought to the colour's own small bandwidth, and a
colour difference follow each other closely at some lag votes for that lag; pieces of one place in the picture have one
vote together, for they may all see the same edge. The delay is the middle vote. Pieces where both only have edges near
each other, as in foliage, do not follow each other and have no say. Lags are tried to either side of the delay found so
far, so that the trial itself leans to neither side. Colour samples are co-sited with the even luma samples (ITU-R
BT.601-7, 2.5.2): sample i of 4:2:2 and 4:2:0 lies at luma pixel 2 i, of 4:1:1 at 4 i. Down the picture the same is done
with the lines of one field.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from takeup.measure.video.glance import HEAD_SWITCH, SIDES, TOP
from takeup.measure.video.loops import loops

REACH_PX, REACH_LINES = 12, 4  # lags tried to either side of the delay so far
FARTHEST_PX, FARTHEST_LINES = 16, 6
EVERY = 5  # lines of a field apart
BAND_PX = 5.0  # standard deviation of the colour band of a VHS player, as a Gaussian
COLOUR_PX = 3.0  # what colour is smoothed by: so that one less limited than on tape still follows
PIECE_PX, PIECE_LINES = 96, 24  # one or two edges
PLACE = 4  # pieces under or beside each other that are one place
FOLLOWS = 0.85  # correlation at the best lag from which a piece has a say
STEP = 0.35  # RMS slope of luma and colour from which a piece has a say [codes a pixel or line]
BIN = 0.05  # of the votes' lags [px, lines]


@dataclass(frozen=True, slots=True)
class Votes:
    """How many places voted for each lag, in steps of ``BIN`` about 0."""

    counts: np.ndarray

    def middle(self) -> float:
        half = np.searchsorted(np.cumsum(self.counts), self.counts.sum() / 2)
        return float((half - len(self.counts) // 2) * BIN)

    def spread(self) -> float:
        """Standard error of the middle vote; infinite without votes."""
        number = self.counts.sum()
        if not number:
            return float("inf")
        low, high = np.searchsorted(np.cumsum(self.counts), [0.25 * number, 0.75 * number])
        return float((high - low) * BIN / 1.35 * 1.25 / np.sqrt(number))


@dataclass(frozen=True, slots=True)
class Lags:
    """State: the votes so far."""

    across: Votes
    down: Votes


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourDelay:
    """``delay_px``: positive when colour lies right of luma, ``down_lines`` when it lies below; None without edges."""

    delay_px: float | None
    down_lines: float | None
    method: str = "colour_delay/2"


def begin() -> Lags:
    return Lags(_none(FARTHEST_PX), _none(FARTHEST_LINES))


def _none(farthest: int) -> Votes:
    return Votes(np.zeros(2 * round((farthest + 2) / BIN) + 1, np.int64))


def step(state: Lags, planes: tuple[np.ndarray, ...], bits: int, parity: int = 0) -> Lags:
    """Add one field of a picture; grey pictures add nothing.

    Parameters
    ----------
    planes : tuple of ndarray
        luma, blue and red difference as they lie in the file
    parity : int
        0: its even lines, 1: its odd ones
    """
    if len(planes) < 3:
        return state
    unit = 2.0 ** (bits - 8)
    high, wide = planes[0].shape
    across, below = wide // planes[1].shape[1], high // planes[1].shape[0]
    last = max(TOP + parity + 2, high - HEAD_SWITCH)
    luma = planes[0][TOP + parity : last : 2].astype(np.float32) / unit
    colours = [_lines_of(plane, len(luma), parity, below).astype(np.float32) / unit for plane in planes[1:3]]
    soft = cv2.GaussianBlur(luma, (0, 0), sigmaX=BAND_PX, sigmaY=0.01)
    aside = round(state.across.middle() / across) if state.across.counts.any() else 0
    column = slice(SIDES // across, (wide - SIDES) // across, 5)
    upright = [_slope(np.ascontiguousarray(np.roll(colour, -aside, axis=1)[:, column].T)) for colour in colours]
    beside = _slope(np.ascontiguousarray(soft[:, ::across][:, column].T))
    down = _voted(state.down, beside, upright, (PIECE_LINES, REACH_LINES, FARTHEST_LINES))
    # what lies lower belongs to the line above; where edges slant that would be taken for a delay along the line
    lower = round(down.middle()) if down.counts.any() else 0
    lines = np.arange(2, len(luma) - FARTHEST_LINES, EVERY)
    thin = [_at_luma(colour[np.clip(lines + lower, 0, len(colour) - 1)], wide, across) for colour in colours]
    slopes = [_slope(colour)[:, SIDES:-SIDES] for colour in thin]
    sideways = _voted(state.across, _slope(soft[lines])[:, SIDES:-SIDES], slopes, (PIECE_PX, REACH_PX, FARTHEST_PX))
    return Lags(sideways, down)


def finish(state: Lags, *, least_places: int, sure_px: float) -> ColourDelay:
    """The middle votes.

    Parameters
    ----------
    least_places : int
        So many places must have voted.
    sure_px : float
        Standard error of the middle vote beyond which nothing is said; lines may be half as sure.
    """
    sideways = state.across.counts.sum() >= least_places and state.across.spread() <= sure_px
    down = state.down.counts.sum() >= least_places and state.down.spread() <= sure_px / 2
    return ColourDelay(
        delay_px=state.across.middle() if sideways else None, down_lines=state.down.middle() if down else None
    )


def _voted(votes: Votes, luma: np.ndarray, colours: list[np.ndarray], how: tuple[int, int, int]) -> Votes:
    """The votes with those of one field; its first look is taken again about what it found."""
    piece, reach, farthest = how
    about = round(votes.middle()) if votes.counts.any() else None
    for _ in range(2 if about is None else 1):
        lags = np.concatenate([_lags(luma, colour, piece, reach, about or 0) for colour in colours])
        if about is None and len(lags):
            about = int(np.clip(round(float(np.median(lags))), -farthest, farthest))
    if not len(lags):
        return votes
    middle = len(votes.counts) // 2
    at = np.clip(np.rint(lags / BIN).astype(int) + middle, 0, 2 * middle)
    return Votes(votes.counts + np.bincount(at, minlength=2 * middle + 1))


def _lags(luma: np.ndarray, colour: np.ndarray, piece: int, reach: int, about: int) -> np.ndarray:
    """The lag that each place votes for."""
    lines, wide = (min(sizes) for sizes in zip(luma.shape, colour.shape))
    luma, colour = luma[:lines, :wide], colour[:lines, :wide]
    number = (wide - 2 * reach - abs(about)) // piece
    if number < 1:
        return np.zeros(0)
    lags = np.full((-(-lines // PLACE) * PLACE, number), np.nan, np.float32)
    plain = np.ascontiguousarray(luma, np.float32), np.ascontiguousarray(colour, np.float32)
    like = np.empty(2 * reach + 1)
    loops().follow_lags(*plain, piece, reach, about, piece * STEP**2, FOLLOWS, like, lags[:lines])
    places = np.sort(lags.reshape(-1, PLACE, number), axis=1)  # what is no number comes last
    many = np.isfinite(places).sum(axis=1)
    row, part = np.nonzero(many)
    many = many[row, part]
    return (places[row, (many - 1) // 2, part] + places[row, many // 2, part]) / 2


def _slope(plane: np.ndarray) -> np.ndarray:
    slope = np.zeros_like(plane)
    slope[:, 1:-1] = (plane[:, 2:] - plane[:, :-2]) / 2
    return slope


def _lines_of(plane: np.ndarray, number: int, parity: int, below: int) -> np.ndarray:
    """Colour at every line of one field. One of 4:2:0 lies between the two lines of its field that it stands for."""
    field = plane[TOP // below + parity :: 2]
    if below == 1:
        return field[:number]
    at = np.clip((np.arange(number) - 0.5) / 2, 0, len(field) - 1)
    first = np.minimum(at.astype(int), len(field) - 2)
    part = (at - first)[:, None].astype(np.float32)
    return field[first] * (1 - part) + field[first + 1] * part


def _at_luma(lines: np.ndarray, wide: int, across: int) -> np.ndarray:
    """Colour at every luma pixel of its line; sample i at pixel ``across`` * i."""
    x = np.repeat(np.arange(wide, dtype=np.float32)[None, :] / across, len(lines), 0)
    y = np.repeat(np.arange(len(lines), dtype=np.float32)[:, None], wide, 1)
    soft = cv2.GaussianBlur(lines, (0, 0), sigmaX=COLOUR_PX / across, sigmaY=0.01)
    return cv2.remap(soft, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
