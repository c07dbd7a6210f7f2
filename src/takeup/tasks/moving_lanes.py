"""Reading, pictures and sound side by side: bounded lanes between threads, in file order, faults carried over.

libav, cv2 and most of NumPy let other threads run while they work, so reading and hearing cost little time beside the
pictures. What each measure is given, and in which order, is the same as without threads.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np

from takeup.media.moving import Picture, SoundBlock

AHEAD_BYTES = 24_000_000  # that may wait in a lane: 17 pictures of 10-bit 525 lines, or one of 4K
BLOCK_S = 0.25  # of sound that is heard at once: shorter blocks cost more than they hold
NEAR_S = 1e-3  # sound that begins so near to where the last ended goes on from it


class Lane:
    """A queue that holds a bounded number of bytes, at least one thing; its end carries a fault over."""

    def __init__(self, most_bytes: int = AHEAD_BYTES) -> None:
        self.most_bytes = most_bytes
        self.things: deque[tuple[Any, int]] = deque()
        self.bytes = 0
        self.closed = self.stopped = False
        self.fault: BaseException | None = None
        self.change = threading.Condition()

    def put(self, thing: Any, size: int) -> bool:
        """Wait for room and put; False when nobody takes any more."""
        with self.change:
            self.change.wait_for(lambda: self.stopped or not self.things or self.bytes + size <= self.most_bytes)
            if self.stopped:
                return False
            self.things.append((thing, size))
            self.bytes += size
            self.change.notify_all()
            return True

    def close(self, fault: BaseException | None = None) -> None:
        """Nothing more comes; whoever takes is told the fault after everything before it."""
        with self.change:
            self.closed, self.fault = True, fault
            self.change.notify_all()

    def stop(self) -> None:
        """Nobody takes any more."""
        with self.change:
            self.stopped = True
            self.things.clear()
            self.bytes = 0
            self.change.notify_all()

    def __iter__(self) -> Iterator[Any]:
        while True:
            with self.change:
                self.change.wait_for(lambda: self.things or self.closed or self.stopped)
                if self.stopped:
                    return
                if not self.things:
                    if self.fault is not None:
                        raise self.fault
                    return
                thing, size = self.things.popleft()
                self.bytes -= size
                self.change.notify_all()
            yield thing


def reading_ahead(things: Iterable[Picture | SoundBlock]) -> Lane:
    """A lane that a thread fills from ``things``; sound in blocks of a quarter second."""
    lane = Lane()

    def fill() -> None:
        try:
            for thing in joined(things):
                if not lane.put(thing, _size(thing)):
                    return
        except BaseException as fault:  # told to whoever takes
            lane.close(fault)
        else:
            lane.close()

    threading.Thread(target=fill, daemon=True, name="read").start()
    return lane


def joined(things: Iterable[Picture | SoundBlock]) -> Iterator[Picture | SoundBlock]:
    """The same things, with short blocks of sound that follow each other made one."""
    waiting: list[SoundBlock] = []
    count = 0
    for thing in things:
        if isinstance(thing, Picture):
            yield thing
            continue
        if waiting and not _goes_on(waiting, count, thing):
            yield _one(waiting)
            waiting, count = [], 0
        waiting.append(thing)
        count += len(thing.samples)
        if count >= BLOCK_S * thing.rate_hz:
            yield _one(waiting)
            waiting, count = [], 0
    if waiting:
        yield _one(waiting)


def _goes_on(waiting: list[SoundBlock], count: int, block: SoundBlock) -> bool:
    first = waiting[0]
    alike = first.rate_hz == block.rate_hz and first.samples.shape[1:] == block.samples.shape[1:]
    return alike and abs(first.at_s + count / first.rate_hz - block.at_s) <= NEAR_S


def _one(blocks: list[SoundBlock]) -> SoundBlock:
    if len(blocks) == 1:
        return blocks[0]
    first = blocks[0]
    return SoundBlock(first.first, first.at_s, np.concatenate([block.samples for block in blocks]), first.rate_hz)


def _size(thing: Picture | SoundBlock) -> int:
    if isinstance(thing, Picture):
        return sum(plane.nbytes for plane in thing.planes)
    return thing.samples.nbytes
