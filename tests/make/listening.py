"""A check of sound, from samples or a file, that leaves out the folds a test does not ask about.

What is left out is what costs most and is heard apart from everything else: traces of lossy coding, print-through, and
the band powers of each millisecond (dropouts, which way time runs). All the rest, and all judging, is the product's.
``deeper`` leaves out more: with ``"thin"`` only the thin stream is heard deeper (hum, speed, a test tone), with
``"nothing"`` only levels, channels, silence, clipping and ends are told.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from takeup.measure.sound.thin import step_thin
from takeup.media.probe import look_at
from takeup.media.sound import read_sound
from takeup.streams import Original, Report, SoundStream
from takeup.tables.loader import load_rows
from takeup.tasks.checking import Asked
from takeup.tasks.sound_deep import DeepWalk
from takeup.tasks.sound_pass import SoundPass

BLOCK = 65_536


class Deeper(DeepWalk):
    """The deeper listening with less to hear."""

    def __init__(self, stream: SoundStream, how: str) -> None:
        super().__init__(stream, of_picture=False)
        self.lossy = self.echo = self.fine = self.dropouts = None
        self.how = how

    def hear(self, block: np.ndarray) -> None:
        if self.how == "most":
            super().hear(block)
        elif self.how == "thin":
            self.thin, thin = step_thin(self.thin, np.ascontiguousarray(block.T).T)
            self._hear_thin(thin)


def listened(samples: np.ndarray, rate: int = 48_000, *, deeper: str = "most", **asked: Any) -> Report:
    """What a check of a 24-bit file of these samples would say. ``samples``: shape (n, channels), within full scale."""
    whole = samples * 2.0**23
    np.clip(np.round(whole, out=whole), -(2**23), 2**23 - 1, out=whole)
    whole = whole.astype(np.float32) * np.float32(2**-23)
    stream = SoundStream(
        codec="pcm_s24le", rate_hz=rate, channels=whole.shape[1], bits=24, lossy=False, seconds_stated=len(whole) / rate
    )
    return _heard((whole[at : at + BLOCK] for at in range(0, len(whole), BLOCK)), stream, deeper, **asked)


def listened_to(path: Path, *, deeper: str = "most", **asked: Any) -> Report:
    """What a check of this file would say."""
    capture = look_at(path)
    assert capture.sound is not None
    return _heard(read_sound(path, capture), capture.sound, deeper, **asked)


def _heard(blocks: Iterable[np.ndarray], stream: SoundStream, deeper: str, **asked: Any) -> Report:
    original = asked.pop("original", Original(id="t1", carrier="cassette"))
    walk = SoundPass(stream, Asked(original=original, **asked), load_rows())
    walk.deep = Deeper(stream, deeper)
    for block in blocks:
        walk.hear(block)
    part = walk.finish()
    return Report(
        medium="sound",
        seconds=part.seconds,
        measures=part.measures,
        findings=part.findings,
        left_out=part.left_out,
        trace=part.trace,
    )
