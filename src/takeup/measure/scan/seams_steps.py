"""Where straight steps run across a shape that lies straight, and where its outline has corners."""

from __future__ import annotations

import cv2
import numpy as np

CROSSING = 0.6  # share of a seam's length along which it must be seen
CERTAIN = 0.85  # the same where the whole could be one print too
LEAST_STEP = 2.0  # codes of 255: medians over a sixteenth of a seam stand some 0.3 codes about the truth
DRAWN_LINES, SPREAD = 8, 0.3  # more lines than a bed has seams, and the widest gap between them (share of the whole)


def crossing(turned: np.ndarray, there: np.ndarray) -> np.ndarray:
    """For each column, in how many of 16 pieces along it a step stands out from its neighbourhood (0..1).

    Only pieces count in which the shape lies at both sides of the column: prints of different sizes touch along a part.
    """
    size = (turned.shape[1], 16 * 5)
    few = cv2.resize(np.ascontiguousarray(turned), size, interpolation=cv2.INTER_AREA).reshape(16, 5, size[0], -1)
    profile = np.median(few, axis=1)  # (16, columns, channels)
    inside = (
        cv2.resize(np.ascontiguousarray(there).view(np.uint8) * 255, (size[0], 16), interpolation=cv2.INTER_AREA) > 229
    )
    step = np.zeros(profile.shape[:2])
    step[:, 2:-2] = np.abs(profile[:, 3:-1] + profile[:, 4:] - profile[:, :-4] - profile[:, 1:-3]).max(axis=2) / 2
    thin = np.zeros_like(step)
    thin[:, 2:-2] = np.abs(profile[:, 2:-2] - (profile[:, :-4] + profile[:, 4:]) / 2).max(axis=2)
    step = np.maximum(step, thin)
    near = np.maximum(np.roll(step, 1, axis=1), np.roll(step, -1, axis=1))
    peak = np.maximum(step, near)
    ground = np.median(np.stack([np.roll(step, n, axis=1) for n in (-12, -10, -8, -6, -5, 5, 6, 8, 10, 12)]), axis=0)
    both = _within(inside, 1) & _within(inside, -1)
    count = both.sum(axis=0)
    seen = ((peak > np.maximum(2.5 * ground, LEAST_STEP)) & both).sum(axis=0) / np.maximum(count, 1)
    seen[count < 3] = 0
    return seen + 0.001 * np.minimum(step.mean(axis=0), 100)


def _within(inside: np.ndarray, side: int) -> np.ndarray:
    """For each column, whether the shape lies somewhere in the 8 to 56 columns at one side: a white border may not."""
    found = np.zeros_like(inside)
    for reach in range(8, min(57, inside.shape[1]), 8):
        if side > 0:
            found[:, :-reach] |= inside[:, reach:]
        else:
            found[:, reach:] |= inside[:, :-reach]
    return found


def peaks(strength: np.ndarray, most: int, least: float = CROSSING) -> list[int]:
    """The columns of the clearest steps, the clearest first."""
    left = strength.copy()
    found: list[int] = []
    while len(found) < most and left.max(initial=0.0) >= least:
        at = int(np.argmax(left))
        found.append(at)
        left[max(0, at - 4) : at + 5] = 0
    return found


def corner_cuts(window: np.ndarray) -> list[tuple[int, int]]:
    """Places (axis 0: a vertical cut, 1: a horizontal one) where the shape's edge jumps."""
    cuts = []
    for axis, turned in ((0, window), (1, window.T)):
        first = np.argmax(turned, axis=0).astype(np.float32)
        last = (turned.shape[0] - 1 - np.argmax(turned[::-1], axis=0)).astype(np.float32)
        for edge in (first, last):
            ahead, behind = np.roll(edge, -3), np.roll(edge, 3)
            jump = np.abs(ahead - behind)
            jump[:6] = jump[-6:] = 0
            least = max(6.0, 0.02 * turned.shape[0])
            while jump.max(initial=0) > least:
                peak = int(np.argmax(jump))
                level = jump[max(0, peak - 5) : peak + 6]
                at = max(0, peak - 5) + int(np.flatnonzero(level > 0.7 * level.max()).mean().round())
                cuts.append((axis, at + 1))
                jump[max(0, peak - 8) : peak + 9] = 0
                if len(cuts) > 12:
                    return cuts
    return list(dict.fromkeys(cuts))


def is_drawn(picture: np.ndarray, flat: np.ndarray) -> bool:
    """Whether a sheet is ruled, or written on, or printed with rows of frames, from one end to the other: its many
    lines are no seams."""
    for turned, there in ((picture, flat), (picture.transpose(1, 0, 2), flat.T)):
        if turned.shape[0] < 24 or turned.shape[1] < 24:
            continue
        strength = crossing(turned, there)
        strength[:6] = strength[-6:] = 0
        at = np.array(peaks(strength, 4 * DRAWN_LINES, CERTAIN))
        ends = np.sort(np.concatenate([at, [0, turned.shape[1]]]))
        if len(at) >= DRAWN_LINES and np.diff(ends).max() <= SPREAD * turned.shape[1]:
            return True
    return False
