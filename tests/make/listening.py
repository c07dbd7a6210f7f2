"""A check of sound, from samples or a file, that leaves out the folds a test does not ask about.

What is left out is what costs most and is heard apart from everything else: traces of lossy coding, print-through, and
the band powers of each millisecond (dropouts, which way time runs). All the rest, and all judging, is the product's.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from takeup.media.probe import look_at
from takeup.media.sound import read_sound
from takeup.streams import Original, Report, SoundStream
from takeup.tables.loader import load_rows
from takeup.tasks.checking import Asked
from takeup.tasks.sound_pass import SoundPass

BLOCK = 65_536


def listened(samples: np.ndarray, rate: int = 48_000, **asked: Any) -> Report:
    """What a check of a 24-bit file of these samples would say. ``samples``: shape (n, channels), within full scale."""
    whole = (np.clip(np.round(samples * 2**23), -(2**23), 2**23 - 1) / 2**23).astype(np.float32)
    stream = SoundStream(
        codec="pcm_s24le", rate_hz=rate, channels=whole.shape[1], bits=24, lossy=False, seconds_stated=len(whole) / rate
    )
    return _heard((whole[at : at + BLOCK] for at in range(0, len(whole), BLOCK)), stream, **asked)


def listened_to(path: Path, **asked: Any) -> Report:
    """What a check of this file would say."""
    capture = look_at(path)
    assert capture.sound is not None
    return _heard(read_sound(path, capture), capture.sound, **asked)


def _heard(blocks: Iterable[np.ndarray], stream: SoundStream, **asked: Any) -> Report:
    original = asked.pop("original", Original(id="t1", carrier="cassette"))
    walk = SoundPass(stream, Asked(original=original, **asked), load_rows())
    deep = walk.deep
    deep.lossy = deep.echo = deep.fine = deep.dropouts = None
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
