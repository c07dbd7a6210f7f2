"""A video in miniature: brightness and level every tenth of a second, and a few small pictures."""

from __future__ import annotations

import cv2
import numpy as np

from takeup.judge.video_picture import displayed_aspect
from takeup.measure.video.whole import Pictures
from takeup.media.moving import Picture
from takeup.streams import PictureStream, Still, Trace
from takeup.tables.rows import Rows

STEP_S = 0.1
WIDTH = 160
QUALITY = 80


def thread_of(pictures: Pictures, sound: Trace | None) -> Trace:
    """The miniature of a whole capture. ``recorded`` is 1 where neither black nor no signal was."""
    steps = max(1, round(pictures.seconds / STEP_S))
    times = (np.arange(steps) + 0.5) * STEP_S + (pictures.at_s[0] if len(pictures.at_s) else 0)
    at = np.clip(np.searchsorted(pictures.at_s, times, side="right") - 1, 0, max(0, pictures.frames - 1))
    shown = np.array([kind == "picture" for kind in pictures.kinds], np.uint8)
    luma = np.clip(np.rint(pictures.luma), 0, 255).astype(np.uint8)
    return Trace(
        step_s=STEP_S,
        level=sound.level if sound else b"",
        recorded=shown[at].tobytes(),
        luma=luma[at].tobytes(),
    )


class Stills:
    """Keeps a few small pictures spread over a capture whose length is not known beforehand."""

    def __init__(self, wanted: int, stream: PictureStream, rows: Rows) -> None:
        self.wanted = wanted
        self.aspect = displayed_aspect(stream, rows) or 4 / 3
        self.turn = stream.turn
        self.every_s = 0.2
        self.next_s = 0.0
        self.kept: list[Still] = []

    def step(self, picture: Picture) -> None:
        """Keep this picture if it is due; when there are too many, keep every other one and wait twice as long."""
        if self.wanted <= 0 or picture.at_s < self.next_s:
            return
        self.next_s = picture.at_s + self.every_s
        self.kept.append(still_of(picture, self.aspect, self.turn))
        if len(self.kept) >= 4 * self.wanted:
            self.kept = self.kept[::2]
            self.every_s *= 2

    def finish(self) -> tuple[Still, ...]:
        """The wanted number, evenly spread, none of the very ends."""
        if not self.kept:
            return ()
        number = min(self.wanted, len(self.kept))
        middles = ((np.arange(number) + 0.5) / number * len(self.kept)).astype(int)
        return tuple(self.kept[at] for at in middles)


def still_of(picture: Picture, aspect: float, turn: int = 0) -> Still:
    """One field of a picture, small, in its right shape, ``turn`` degrees clockwise (in quarters), as JPEG."""
    size = (WIDTH, max(8, round(WIDTH / aspect)))
    lying = size[::-1] if turn % 180 else size
    unit = 2.0 ** (picture.bits - 8)
    parts = [
        cv2.resize(np.ascontiguousarray(plane[::2]).astype(np.float32) / unit, lying, interpolation=cv2.INTER_AREA)
        for plane in picture.planes
    ]
    luma = (parts[0] - 16) * 255 / 219
    blue, red = ((part - 128) * 255 / 224 for part in (parts[1:3] if len(parts) >= 3 else (parts[0] * 0 + 128,) * 2))
    # ITU-R BT.601-7, 2.5: R' = Y' + 1.402 Cr', B' = Y' + 1.772 Cb'
    bgr = np.stack([luma + 1.772 * blue, luma - 0.344 * blue - 0.714 * red, luma + 1.402 * red], -1)
    upright = np.rot90(np.clip(bgr, 0, 255).astype(np.uint8), -turn // 90)
    _, jpeg = cv2.imencode(".jpg", np.ascontiguousarray(upright), [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    return Still(at_s=round(picture.at_s, 3), jpeg=jpeg.tobytes(), width=size[0], height=size[1])
