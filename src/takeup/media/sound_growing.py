"""The samples of a WAVE or AIFF file while it is being written, whatever its header says meanwhile."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import BinaryIO

from takeup.errors import Unreadable
from takeup.media.watching import Watch
from takeup.media.wave import Layout, layout_of
from takeup.media.wave_text import text_behind

LOOK_EVERY_S = 0.1  # meters move ten times a second; looking more often costs and shows nothing more
HEADER_EVERY_S = 1.0
HELD_BACK = 4096  # bytes kept back while a header is open: closing it may put a text chunk there


def growing_samples(path: Path, layout: Layout, most: int, idle_s: float) -> Iterator[bytes]:
    """Hand out the bytes of the samples as they come, until the file has rested for ``idle_s``.

    Their end is the header's once that is closed. While it is not, the last bytes are kept back, and everything from a
    name on that begins a text chunk, until it is clear that it does not.

    Raises
    ------
    Unreadable
        What :meth:`Watch.look` raises; ``follow.header-changed`` when the samples lie elsewhere or are others now.
    """
    handed, header_at = 0, time.monotonic()
    with path.open("rb", buffering=0) as file:
        watch = Watch(path, file)
        while True:
            changed = watch.look()
            idle = watch.rested_s >= idle_s
            now = time.monotonic()
            beyond = layout.data_bytes is not None and watch.size > layout.data_at + layout.data_bytes
            if idle or beyond or not changed or now - header_at >= HEADER_EVERY_S:
                layout, header_at = _header_again(file, path, layout, last=idle), now
            until = _end_of_samples(file, layout, watch.size, handed, last=idle)
            while handed < until:
                file.seek(layout.data_at + handed)
                piece = file.read(min(most, until - handed))
                if not piece:
                    break
                handed += len(piece)
                watch.read_to = layout.data_at + handed
                yield piece
            if idle:
                return
            time.sleep(LOOK_EVERY_S)


def _header_again(file: BinaryIO, path: Path, before: Layout, *, last: bool) -> Layout:
    """The header as it is now; as it was, while somebody is in the middle of writing it."""
    try:
        now = layout_of(file, path, text=last)
    except Unreadable:
        if last:
            raise
        return before
    same = replace(now, container=before.container, data_bytes=None, ends_at=None, unclosed=False, cut_short=False)
    if same != replace(before, data_bytes=None, ends_at=None, unclosed=False, cut_short=False):
        if not last:
            return before
        raise Unreadable("follow.header-changed", path=str(path))
    return now


def _end_of_samples(file: BinaryIO, layout: Layout, size: int, handed: int, *, last: bool) -> int:
    """Up to which byte of the samples can be handed out now."""
    there = size - layout.data_at
    if layout.data_bytes is not None and (layout.cut_short or not layout.unclosed):
        return min(there, layout.data_bytes)
    if last:
        return there if layout.ends_at is None else layout.ends_at - layout.data_at
    end = layout.data_at + there - HELD_BACK
    order = ">" if layout.container == "aiff" else "<"
    text = text_behind(file, size, layout.data_at + handed, order, until=end + 8)
    return (end if text is None else min(end, text)) - layout.data_at
