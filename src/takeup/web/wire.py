"""The live wire: what happens at stations, handed to every open page at once, and once more to who missed it.

What must not be lost (findings, ends, answers) has a number in the lab's database; a page that comes back says the last
number it saw and gets the rest. Meters are only handed through: the next one is a tenth of a second away.
"""

from __future__ import annotations

import asyncio
import json
from collections import deque
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from typing import Any

from takeup.web.outline import Outlines

BEAT_S = 10  # a line of nothing, so that a dead connection is noticed
METERS_S = 0.1  # meters of several stations are gathered so long and handed on together
MOST_WAITING = 500  # a page that does not read so many events is let go; it comes back and asks for the rest


@dataclass(eq=False)
class _Reader:
    stations: frozenset[str] | None  # None: all
    waiting: deque[str] = field(default_factory=deque)
    news: asyncio.Event = field(default_factory=asyncio.Event)
    gone: bool = False
    urgent: bool = False  # something waits that is no meter


class Wire:
    """Lives in the server's loop; ``tell`` may be called from any thread."""

    def __init__(self) -> None:
        self.readers: set[_Reader] = set()
        self.loop: asyncio.AbstractEventLoop | None = None
        self.closing = False
        self.levels: dict[str, dict[str, Any]] = {}  # station -> the last meters
        self.outlines = Outlines()  # what the meters told of each capture that grows

    def start(self) -> None:
        self.loop = asyncio.get_running_loop()

    def tell(self, station: str, kind: str, facts: dict[str, Any], seq: int | None = None) -> None:
        """Hand an event to every page that shows this station."""
        if kind == "progress":
            self.levels[station] = facts
            self.outlines.hear(facts)
        if self.loop is None or self.closing:
            return
        text = _event(kind, {"station": station} | facts, seq)
        self.loop.call_soon_threadsafe(self._hand_out, station, text, kind != "progress")

    def _hand_out(self, station: str, text: str, urgent: bool) -> None:
        for reader in self.readers:
            if reader.stations is None or station in reader.stations:
                reader.waiting.append(text)
                reader.urgent |= urgent
                if len(reader.waiting) > MOST_WAITING:
                    reader.gone = True
                reader.news.set()

    def close(self) -> None:
        """End every stream, so that the server can."""
        self.closing = True
        for reader in self.readers:
            reader.gone = True
            reader.news.set()

    async def listen(self, stations: frozenset[str] | None, missed: Any) -> AsyncIterator[str]:
        """Events as text for a browser.

        Parameters
        ----------
        stations : which ones; None: all.
        missed : callable
            Gives, off the loop, the numbered events since the page's last one: (seq, station, kind, facts).
        """
        reader = _Reader(stations)
        self.readers.add(reader)
        try:
            yield "retry: 2000\n\n"
            seen = 0
            for seq, station, kind, facts in await asyncio.to_thread(missed):
                seen = max(seen, seq)
                yield _event(kind, {"station": station} | facts, seq)
            while not reader.gone:
                texts, reader.urgent = list(reader.waiting), False
                reader.waiting.clear()
                reader.news.clear()
                if together := "".join(text for text in texts if not _told_already(text, seen)):
                    yield together  # one piece of the stream for all of them: each costs more than what it carries
                if reader.waiting or reader.gone:
                    continue
                try:
                    await asyncio.wait_for(reader.news.wait(), BEAT_S)
                    if not reader.urgent and not reader.gone:
                        await asyncio.sleep(METERS_S)
                except TimeoutError:
                    yield ": still here\n\n"
        finally:
            self.readers.discard(reader)


def _event(kind: str, facts: dict[str, Any], seq: int | None) -> str:
    number = f"id: {seq}\n" if seq else ""
    return f"{number}event: {kind}\ndata: {json.dumps(facts, ensure_ascii=False)}\n\n"


def _told_already(text: str, seen: int) -> bool:
    return text.startswith("id: ") and int(text[4 : text.index("\n")]) <= seen
