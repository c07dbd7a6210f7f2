"""The deeper listening of one walk: three thinner streams are made of each block, every further measure steps on one.

``thin`` (about 12 kHz): hum, speed, a test tone, print-through. ``fine`` (band powers of each millisecond): dropouts,
which way time runs. ``windows`` (spectra of 85 ms, one a second): delay, bandwidth, traces of lossy coding, the strip.
"""

from __future__ import annotations

import numpy as np

from takeup.judge.sound_dropouts import judge_dropouts
from takeup.judge.sound_lost import judge_repeats
from takeup.measure.sound.bits import BitsState, step_bits
from takeup.measure.sound.deep import DeepFacts
from takeup.measure.sound.delay import begin_delay, finish_delay, step_delay
from takeup.measure.sound.direction import begin_direction, finish_direction, step_direction
from takeup.measure.sound.dropouts import begin_dropouts, finish_dropouts, step_dropouts
from takeup.measure.sound.echo import begin_echo, finish_echo, step_echo
from takeup.measure.sound.fine import begin_fine, finish_fine, step_fine
from takeup.measure.sound.flutter import begin_flutter, finish_flutter, step_flutter
from takeup.measure.sound.gaps import begin_gaps, finish_gaps, step_gaps
from takeup.measure.sound.history import History
from takeup.measure.sound.hum import begin_hum, finish_hum, step_hum
from takeup.measure.sound.lossy import begin_lossy, finish_lossy, step_lossy
from takeup.measure.sound.print_through import find_print_through
from takeup.measure.sound.spectrum import begin_spectrum, finish_spectrum, step_spectrum
from takeup.measure.sound.strip import begin_strip, finish_strip, step_strip
from takeup.measure.sound.thin import begin_thin, finish_thin, step_thin
from takeup.measure.sound.turns import find_turns
from takeup.measure.sound.windows import begin_windows, step_windows
from takeup.streams import Finding, SoundStream
from takeup.tables.rows import Rows
from takeup.tasks.sound_loops import quick_loops


class DeepWalk:
    """Hears blocks one after the other and hands each stream to the folds that stand on it.

    The sound of a picture (``of_picture``) is not searched for what is told of sound tapes only: dropouts by hiss,
    print-through and the reel, traces of lossy coding.
    """

    def __init__(self, stream: SoundStream, *, of_picture: bool) -> None:
        self.stream = stream
        rate, channels = stream.rate_hz, stream.channels
        self.thin = begin_thin(rate, channels, quick_loops())
        self.fine = None if of_picture else begin_fine(rate, channels, quick_loops())
        self.windows = begin_windows(rate)
        self.delay = begin_delay(rate, self.windows.size) if channels == 2 else None
        self.strip = begin_strip(self.windows)
        self.spectrum = begin_spectrum(self.windows)
        self.bits = BitsState()
        self.lossy = None if stream.lossy or of_picture else begin_lossy(rate, quick_loops())
        self.dropouts = begin_dropouts(channels, self.fine.edges_hz, self.fine.hop_s) if self.fine else None
        self.direction = begin_direction()
        self.echo = None if of_picture else begin_echo(self.thin.thin_rate_hz, channels, quick_loops())
        self.gaps = begin_gaps(rate, quick_loops())
        self.flutter = begin_flutter(self.thin.thin_rate_hz)
        self.hum = begin_hum(self.thin.thin_rate_hz, quick_loops())

    def hear(self, block: np.ndarray) -> None:
        """Take in one block, float32, shape (n, channels)."""
        block = np.ascontiguousarray(block.T).T  # channel after channel: read that way by everything from here on
        self.bits = step_bits(self.bits, block)
        self.lossy = step_lossy(self.lossy, block) if self.lossy else None
        self.gaps = step_gaps(self.gaps, block)
        self.thin, thin = step_thin(self.thin, block)
        self._hear_thin(thin)
        if self.fine:
            self.fine, fine = step_fine(self.fine, block)
            self._hear_fine(fine)
        self.windows, windows = step_windows(self.windows, block)
        if windows is not None:
            self.delay = step_delay(self.delay, windows) if self.delay else None
            self.strip = step_strip(self.strip, windows)
            self.spectrum = step_spectrum(self.spectrum, windows)

    def certain(self, rows: Rows) -> tuple[Finding, ...]:
        """Findings that no later second can undo."""
        dropouts = judge_dropouts(self.dropouts.found, rows) if self.dropouts else []
        return (*dropouts, *judge_repeats(self.gaps.places, self.stream, rows))

    def finish(self, history: History, *, long_enough_for_turns: bool = True) -> DeepFacts:
        """All facts. ``history``: the hops of 10 ms of the whole capture, for folds that need the long view.

        In a capture that is too short for anything to be told of the turns of a reel, none are looked for.
        """
        self._hear_thin(finish_thin(self.thin))
        if self.fine:
            self._hear_fine(finish_fine(self.fine))
        spectrum = finish_spectrum(self.spectrum)
        echo = finish_echo(self.echo) if self.echo and long_enough_for_turns else None
        dropouts = finish_dropouts(self.dropouts) if self.dropouts else ()
        return DeepFacts(
            delay=finish_delay(self.delay) if self.delay else None,
            strip=finish_strip(self.strip),
            spectrum=spectrum,
            lossy=finish_lossy(self.lossy, spectrum) if self.lossy else None,
            bits=self.bits.bits,
            hum=finish_hum(self.hum),
            gaps=finish_gaps(self.gaps),
            flutter=finish_flutter(self.flutter),
            dropouts=dropouts,
            direction=finish_direction(self.direction),
            print_through=find_print_through(echo) if echo else None,
            turns=find_turns(np.array([one.from_s for one in dropouts]), np.array([one.depth_db for one in dropouts])),
        )

    def _hear_thin(self, thin: np.ndarray) -> None:
        """Samples at ``self.thin.thin_rate_hz``, shape (n, channels)."""
        self.hum = step_hum(self.hum, thin)
        self.flutter = step_flutter(self.flutter, thin)
        self.echo = step_echo(self.echo, thin) if self.echo else None

    def _hear_fine(self, fine: np.ndarray) -> None:
        """Band powers every ``self.fine.hop_s``, shape (n, channels, n_bands)."""
        self.dropouts = step_dropouts(self.dropouts, fine) if self.dropouts else None
        self.direction = step_direction(self.direction, fine)
