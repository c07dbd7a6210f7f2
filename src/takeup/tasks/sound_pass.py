"""One walk over the sound of a capture: every measure steps on the same block; figures and findings at its end."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from takeup.judge.sound import judge_sound
from takeup.judge.sound_born import judge_born, notice_of_born
from takeup.judge.sound_clipping import judge_stretch
from takeup.judge.sound_known import SoundKnown, known_of
from takeup.judge.sound_notice import Notice, judge_notice
from takeup.measure.sound.bandwidth import bandwidth_of
from takeup.measure.sound.clipping import begin_clipping, finish_clipping, step_clipping
from takeup.measure.sound.history import condense, gather
from takeup.measure.sound.hops import Hops, begin_hops, finish_hops, step_hops
from takeup.measure.sound.meter import Moment, begin_meter, step_meter
from takeup.measure.sound.tops import begin_tops, finish_tops, step_tops
from takeup.measure.sound.whole import SoundFacts, take_facts
from takeup.streams import Finding, Measured, SoundStream, Trace
from takeup.tables.rows import Rows
from takeup.tasks.checking import Asked
from takeup.tasks.sound_deep import DeepWalk
from takeup.tasks.sound_loops import quick_loops

MOST_MOMENTS = 600  # kept until somebody asks: a minute
WORTH_A_THREAD = 8192  # frames: a smaller block is heard sooner by one thread


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundPart:
    """What the sound of a capture gave."""

    measures: Mapping[str, Measured]
    findings: tuple[Finding, ...]
    left_out: tuple[tuple[str, float], ...]
    trace: Trace
    seconds: float
    facts: SoundFacts | None  # None when there was not one sample

    @property
    def digitally_silent(self) -> bool:
        """Every sample the same in every channel, or none at all."""
        return self.facts is None or self.facts.digitally_silent

    @property
    def has_programme(self) -> bool:
        return self.facts is not None and self.facts.has_programme

    @property
    def has_hiss(self) -> bool:
        """Whether tape hiss was heard anywhere."""
        return self.facts is not None and self.facts.has_hiss


class SoundPass:
    """Hears blocks one after the other. The measures themselves are folds; this holds their states."""

    def __init__(self, stream: SoundStream, asked: Asked, rows: Rows, *, of_picture: bool = False) -> None:
        self.stream, self.asked, self.rows, self.of_picture = stream, asked, rows, of_picture
        self.hops = begin_hops(stream.rate_hz, stream.channels, quick_loops())
        gap = round(rows.value("sound.clipping.gap_s") / self.hops.hop_s)
        self.clipping = begin_clipping(gap)
        self.tops = begin_tops(stream.rate_hz, stream.channels, self.hops.hop, quick_loops())
        self.deep = DeepWalk(stream, of_picture=of_picture)
        self.pieces: list[tuple[np.ndarray, ...]] = []
        self.peaks = np.zeros(stream.channels)
        self.true_peaks = np.zeros(stream.channels)
        self.rail = rows.value("sound.clipping.rail")
        self.rail_places = 0
        nothing_dbfs = rows.value("sound.silence.nothing_dbfs")
        self.meter = begin_meter(self.hops.hop, stream.rate_hz, stream.channels, nothing_dbfs)
        self.moments: deque[Moment] = deque(maxlen=MOST_MOMENTS)
        self.metered_s = 0.0
        self.over: list[Finding | None] = []  # what was made of the stretches that are over
        self.second: ThreadPoolExecutor | None = None

    @property
    def seconds(self) -> float:
        """Heard so far."""
        return self.hops.frames / self.stream.rate_hz

    def hear(self, block: np.ndarray) -> None:
        """Take in one block, float32, shape (n, n_channels), full scale 1.0."""
        if not len(block):
            return
        deeper = self._beside(block) if len(block) >= WORTH_A_THREAD else None
        self.hops, done = step_hops(self.hops, block)
        self.tops = step_tops(self.tops, block, done)
        if deeper is None:
            self.deep.hear(block)
        else:
            deeper.result()
        self._keep(done)

    def levels(self) -> dict[str, Any]:
        """The last 100 ms for meters [dBFS]; None where there is nothing at all."""
        return levels_of(self.moments[-1]) if self.moments else {}

    def new_moments(self) -> tuple[tuple[float, dict[str, Any]], ...]:
        """Every 100 ms since the last time this was asked: where it ends [s], and its levels."""
        new = [moment for moment in self.moments if moment.to_s > self.metered_s]
        self.metered_s = new[-1].to_s if new else self.metered_s
        return tuple((round(moment.to_s, 3), levels_of(moment)) for moment in new)

    def notice(self) -> Notice | None:
        """What to say at the machine now; may have vanished the next time."""
        notice = judge_notice(self.meter, self.rows)
        return notice_of_born(notice) if self._known().born else notice

    def certain(self) -> tuple[Finding, ...]:
        """Findings that no later second can undo; one that still lasts has no end yet."""
        state, told = self.clipping, []
        for at, stretch in enumerate(state.found[len(self.over) :], len(self.over)):
            over = at + 1 < len(state.found) or state.decided - stretch.end > state.gap
            told.append(judge_stretch(stretch, self.hops.hop_s, self.stream, self.rows, over=over))
            if over:
                self.over.append(told[-1])
        clipped = [*self.over, *(one for one in told if one is not None and one.to_s is None)]
        found = (*(one for one in clipped if one is not None), *self.deep.certain(self.rows))
        return tuple(judge_born(found)) if self._known().born else found

    def finish(self, capture_seconds: float | None = None) -> SoundPart:
        """Judge all that was heard.

        Parameters
        ----------
        capture_seconds : float, optional
            The capture's length where that is not the sound's own (a video's).
        """
        if self.second is not None:
            self.second.shutdown()
        if not self.hops.frames:
            return SoundPart(measures={}, findings=(), left_out=(), trace=Trace(), seconds=0.0, facts=None)
        whole = math.ceil(self.hops.frames / self.hops.hop)
        self._keep(finish_hops(self.hops))
        history = gather(self.pieces, self.hops.hop_s, whole)
        long_enough = self.seconds >= self.rows.value("sound.print_through.shortest_s")
        deep = self.deep.finish(history, long_enough_for_turns=long_enough)
        facts = take_facts(
            history,
            self.rows.section("sound.states"),
            seconds=self.seconds,
            peak=float(self.peaks.max()),
            rail_places=self.rail_places,
            true_peak=tuple(float(one) for one in self.true_peaks),
            clipping=finish_clipping(self.clipping),
            strip=deep.strip,
        )
        deep = replace(
            deep,
            bandwidth=bandwidth_of(deep.spectrum, facts.states, facts.hop_s),
            tops=finish_tops(self.tops, self.clipping.gap),
        )
        known = self._known()
        measures, findings = judge_sound(facts, deep, self.stream, self.rows, known)
        return SoundPart(
            measures=measures,
            findings=tuple(findings),
            left_out=tuple((name, round(seconds, 3)) for name, seconds in facts.left_out.items()),
            trace=facts.trace,
            seconds=self.seconds if capture_seconds is None else capture_seconds,
            facts=facts,
        )

    def _known(self) -> SoundKnown:
        return known_of(
            self.asked.original, self.asked.mains_hz, self.asked.recorded_mains_hz, of_picture=self.of_picture
        )

    def _beside(self, block: np.ndarray) -> Future[None]:
        """The deeper listening of a block in a second thread: both only read the samples."""
        if self.second is None:
            self.second = ThreadPoolExecutor(1, thread_name_prefix="sound")
        return self.second.submit(self.deep.hear, block)

    def _keep(self, hops: Hops) -> None:
        if not len(hops.total):
            return
        self.meter, moments = step_meter(self.meter, hops)
        self.moments.extend(moments)
        self.peaks = np.maximum(self.peaks, np.maximum(hops.high.max(axis=0), -hops.low.min(axis=0)))
        self.rail_places += int(((hops.high >= self.rail) | (hops.low <= -self.rail)).sum())
        self.true_peaks = np.maximum(self.true_peaks, hops.peak[-1])
        self.clipping = step_clipping(self.clipping, hops)
        self.pieces.append(condense(hops, self.hops.hop))


def levels_of(moment: Moment) -> dict[str, Any]:
    """A moment as meters show it: level and peak of each channel and the highest peak [dBFS]."""
    count = len(moment.power)
    names = {1: ("mono",), 2: ("left", "right")}.get(count, [f"channel_{at + 1}" for at in range(count)])
    levels = {f"{name}_dbfs": _level(10, power) for name, power in zip(names, moment.power)}
    levels |= {f"{name}_peak_dbfs": _level(20, peak) for name, peak in zip(names, moment.peak)}
    return levels | {"peak_dbfs": _level(20, max(moment.peak))}


def _level(factor: int, value: float) -> float | None:
    return round(factor * math.log10(value), 1) if value > 1e-20 else None
