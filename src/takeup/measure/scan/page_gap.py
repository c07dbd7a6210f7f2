"""Where a page of text can be cut into an upper and a lower part that are read apart, each by one core."""

from __future__ import annotations

import cv2
import numpy as np

MIDDLE = 0.3, 0.7  # share of the ink that may lie above the cut
NEAR_LINES = 5  # lines above and below the cut that are asked whether they stand in columns
GUTTER = 0.5  # of a line's height that is blank down all of them: columns; gaps between words never stand so
TRIED = 8  # cuts that are tried, the evenest first
BLANK = 0.0005  # share of a row that specks of dust and noise may cover


def reading_cut(grey: np.ndarray) -> int | None:
    """The row below which a page's second part begins; None where it is not to be cut.

    It goes between two lines, all across the page, and nowhere through columns or a table: those are read from top to
    bottom one after the other, and a cut would change their order.

    Parameters
    ----------
    grey : ndarray, shape (rows, columns), uint8
        Dark on light, its lines level.
    """
    level, _ = cv2.threshold(grey[::4, ::4].copy(), 0, 255, cv2.THRESH_BINARY_INV | cv2.THRESH_OTSU)
    ink = (grey < level).view(np.uint8)
    by_row = cv2.reduce(ink, 1, cv2.REDUCE_SUM, dtype=cv2.CV_32S)[:, 0]
    lines = _runs(by_row > BLANK * grey.shape[1])
    heights = np.sort([end - start for start, end in lines if end - start >= 4])
    if heights.size < 2 * NEAR_LINES:
        return None
    usual = float(heights[heights.size // 2])
    above = np.cumsum(by_row, dtype=np.int64) / max(int(by_row.sum()), 1)
    cuts = []
    for at in range(1, len(lines)):
        end, start = lines[at - 1][1], lines[at][0]
        if MIDDLE[0] <= above[end] <= MIDDLE[1] and start - end >= max(2, 0.1 * usual):
            cuts.append((abs(above[end] - 0.5), at, (end + start) // 2))
    for _, at, row in sorted(cuts)[:TRIED]:
        upper, lower = lines[max(0, at - NEAR_LINES) : at], lines[at : at + NEAR_LINES]
        if all(_in_one_column(ink[near[0][0] : near[-1][1]], near, usual) for near in (upper, lower)):
            return int(row)
    return None


def _in_one_column(ink: np.ndarray, near: list[tuple[int, int]], usual: float) -> bool:
    """Whether some lines are of text alone and no blank stripe runs down all of them."""
    if len(near) < NEAR_LINES or max(end - start for start, end in near) > 2 * usual:
        return False  # a picture, a rule down the page, or lines that do not stand level
    by_column = cv2.reduce(ink, 0, cv2.REDUCE_SUM, dtype=cv2.CV_32S)[0]
    stripes = _runs(by_column > 0)
    gaps = [later[0] - earlier[1] for earlier, later in zip(stripes, stripes[1:], strict=False)]
    return max(gaps, default=0) < GUTTER * usual


def _runs(there: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], there.view(np.int8), [0]])))
    return [(int(start), int(end)) for start, end in zip(edges[::2], edges[1::2], strict=True)]
