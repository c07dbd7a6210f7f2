"""The fold of faint echoes: how much the quiet moments hold of what comes, and came, one to four seconds away.

Print-through is sound that lay one turn of tape away. It is heard best where the tape itself is quiet. Every quarter of
a second is held against the seconds after and before it by a matched filter in the noise of that moment (each frequency
weighs as much as it stands above it). Its squared size, in units of what chance gives, is summed for each second and
each millisecond of lag; :mod:`print_through` looks for the curve of a reel in that map.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from takeup.measure.sound.loops import Loops, compiled_loops

SLOW_RATE_HZ = 1500.0  # of the complex signal that is compared
MIDDLE_HZ = 800.0  # print-through is strongest at wavelength 2 pi d: 421 to 842 Hz; its upper slope is the flatter one
BAND_HZ = 1200.0
TAPS = 16  # of the filter, in slow samples
SIZE = 384  # slow samples of a block: a quarter of a second, in which the length of a turn moves by half a millisecond
NEAREST, FARTHEST = 4, 14  # lags of 1.0 to 3.75 s, in blocks: hubs and full reels of every cassette, and a margin
BLOCKS = FARTHEST - NEAREST + 1
REACH = 16  # blocks kept on either side of the batch that is heard: FARTHEST and 2
SMOOTH = 17  # bins: the quiet moment's noise is taken over 34 Hz
FINER = 8  # stretches of lag in a block, for what an echo would give
GROUP = 16  # bins: as fine as a spectrum need be to tell how an echo spreads
BATCH = 8  # blocks that are worked on together
PERIOD = 4  # blocks to a row of the map
MOST = 4500  # rows; twice as many are joined in pairs
LOBE = 9  # lags on each side over which an echo spreads: as many as the nine bins in which its level is taken
WORTH = 1e6  # a comparison weighs half when an echo at -60 dB would just equal chance
LEAST = 2e4  # one that weighs under a fiftieth tells nothing
THINNEST = 0.05  # of the usual power in a block of lags: less is rounding
SCALE, ZERO = 28.0, 64  # how a row is written into bytes: asinh, 0.04 fine near nothing, up to 450 times chance
STEPS = np.array([*range(NEAREST, FARTHEST + 1), *range(-NEAREST - 1, -FARTHEST - 2, -1)])  # blocks away
QUIETEST = 1e-16  # power of a bin: a block of digital silence is no quiet moment of a tape
TABLE = np.sinh((np.arange(256) - ZERO) / SCALE).astype(np.float32)


@dataclass(frozen=True, slots=True)
class Row:
    """One stretch of time."""

    found: np.ndarray  # uint8, shape (2, BLOCKS * bins)
    squares: np.ndarray  # float32, shape (2, BLOCKS): squared weights
    gains: np.ndarray  # float32, shape (2, BLOCKS * FINER)


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoState:
    """Between two pieces. Frozen; ``step`` makes a new one.

    ``sounds``, ``spectra``, ``powers``, ``shapes`` hold the last blocks, oldest first; a spectrum spans its block and
    the one after it.
    """

    rate_hz: float  # of the pieces
    cut: int  # one slow sample from so many
    taps: np.ndarray  # float32, shape (2, TAPS * cut): real and imaginary parts
    lobe: np.ndarray  # float32, shape (groups, 2 * LOBE + 2): waves of so many lags
    loops: Loops
    inside: np.ndarray  # float32, shape (2 * SIZE,): bins of the band
    left: np.ndarray  # float32, shape (channels, n)
    sounds: np.ndarray  # complex64, shape (BATCH + 2 * REACH, SIZE)
    spectra: np.ndarray  # complex64, shape (BATCH + 2 * REACH - 1, 2 * SIZE)
    powers: np.ndarray  # float32: their squares
    shapes: np.ndarray  # float32, shape (BATCH + 2 * REACH - 1, SIZE): power at each lag over its mean
    batches: int = 0
    joined: int = 1  # seconds' rows to a row kept
    fresh: tuple[Row, ...] = ()  # not joined yet
    rows: tuple[Row, ...] = ()

    @property
    def bin_s(self) -> float:
        """Lag of one bin: two slow samples."""
        return 2 * self.cut / self.rate_hz

    @property
    def block_s(self) -> float:
        return SIZE * self.cut / self.rate_hz


@dataclass(frozen=True, slots=True, kw_only=True)
class EchoMap:
    """What chance does not explain, by time and lag.

    ``found[row, 0]`` tells of what comes later (an echo before its sound), ``found[row, 1]`` of what came before.
    """

    found: np.ndarray  # uint8, shape (rows, 2, bins): see :func:`plain`
    squares: np.ndarray  # shape (rows, 2, BLOCKS): what a row weighs, squared, for each block of lags
    gains: np.ndarray  # shape (rows, 2, BLOCKS * FINER): what an echo as loud as its sound would give, within LOBE
    row_s: float  # row 0 begins at 0
    lowest_s: float  # middle of bin 0
    bin_s: float

    @property
    def per_block(self) -> int:
        """Bins to a block of lags."""
        return self.found.shape[2] // BLOCKS


def plain(found: np.ndarray) -> np.ndarray:
    """The map's bytes as figures: weighted sums less what chance gives, over the root of the squared weights."""
    return TABLE[found]


def begin_echo(thin_rate_hz: float, channels: int, loops: Loops | None = None) -> EchoState:
    """Nothing heard yet. ``thin_rate_hz``: of the thin stream; ``loops``: ready-made ones."""
    cut = max(1, round(thin_rate_hz / SLOW_RATE_HZ))
    rate = thin_rate_hz / cut
    at = (np.arange(TAPS * cut) - (TAPS * cut - 1) / 2) / thin_rate_hz
    window = BAND_HZ * np.sinc(BAND_HZ * at) * np.kaiser(len(at), 6.0) / thin_rate_hz
    wave = window * np.exp(2j * np.pi * MIDDLE_HZ * at)
    hz = (np.fft.fftfreq(2 * SIZE, 1 / rate) - MIDDLE_HZ + rate / 2) % rate - rate / 2
    turn = np.exp(2j * np.pi * np.outer(np.arange(2 * SIZE // GROUP), np.arange(LOBE + 1)) * GROUP / (2 * SIZE))
    kept = BATCH + 2 * REACH
    return EchoState(
        rate_hz=thin_rate_hz,
        cut=cut,
        taps=np.stack([wave.real, wave.imag]).astype(np.float32),
        lobe=np.concatenate([turn.real, turn.imag], axis=1).astype(np.float32),
        loops=loops or compiled_loops(),
        inside=(np.abs(hz) < BAND_HZ / 2).astype(np.float32),
        left=np.zeros((min(channels, 2), TAPS * cut // 2), np.float32),
        sounds=np.zeros((kept, SIZE), np.complex64),
        spectra=np.zeros((kept - 1, 2 * SIZE), np.complex64),
        powers=np.zeros((kept - 1, 2 * SIZE), np.float32),
        shapes=np.ones((kept - 1, SIZE), np.float32),
    )


def step_echo(state: EchoState, piece: np.ndarray) -> EchoState:
    """Take in thin samples, float32, shape (n, channels). The first two channels are heard.

    The work goes by whole batches of blocks, so that no bit depends on how the pieces are cut.
    """
    left = np.concatenate([state.left, piece.T[: len(state.left)]], axis=1)
    whole, start = BATCH * SIZE * state.cut, 0
    while left.shape[1] - start >= whole + TAPS * state.cut:
        state = _hear(_pushed(state, _slow(left[:, start : start + whole + TAPS * state.cut], state)))
        start += whole
    return replace(state, left=left[:, start:].copy())


def finish_echo(state: EchoState) -> EchoMap | None:
    """The map, as if silence followed; None where the sound is too short for one row."""
    batch = BATCH * SIZE * state.cut
    heard = state.batches * BATCH * state.block_s + state.left.shape[1] / state.rate_hz
    state = step_echo(state, np.zeros((batch - state.left.shape[1] % batch + TAPS * state.cut, 2), np.float32))
    for _ in range(-(-REACH // BATCH)):
        state = step_echo(state, np.zeros((batch, 2), np.float32))
    row_s = state.joined * PERIOD * state.block_s
    count = min(len(state.rows), int(heard / row_s))
    if not count:
        return None
    return EchoMap(
        found=np.stack([row.found for row in state.rows[:count]]),
        squares=np.stack([row.squares for row in state.rows[:count]]),
        gains=np.stack([row.gains for row in state.rows[:count]]),
        row_s=row_s,
        lowest_s=NEAREST * state.block_s + state.bin_s / 4,
        bin_s=state.bin_s,
    )


def _slow(samples: np.ndarray, state: EchoState) -> np.ndarray:
    """One batch in the band, as complex slow samples. Shape (BATCH, SIZE).

    Left is the source of its real and right of its imaginary part: one comparison then hears both, each with itself.
    """
    made = np.zeros((len(samples), 2, BATCH * SIZE), np.float32)
    for plane, parts in zip(samples, made):
        for taps, part in zip(state.taps, parts):
            state.loops.thin_plane(plane, taps, state.cut, part)
    planes = (made[:, 0] + np.complex64(1j) * made[:, 1]).reshape(len(samples), BATCH, -1)
    return planes[0] if len(planes) == 1 else planes[0] + np.complex64(1j) * planes[1]


def _pushed(state: EchoState, sounds: np.ndarray) -> EchoState:
    """A batch of new blocks at the end, with the spectra that they complete."""
    sounds = np.concatenate([state.sounds[BATCH:], sounds])
    pairs = np.concatenate([sounds[-BATCH - 1 : -1], sounds[-BATCH:]], axis=1)
    spectra = np.fft.fft(pairs, axis=1)
    power = np.cumsum(_squares(pairs), axis=1, dtype=float)
    over = power[:, SIZE - 1 : -1] - np.pad(power[:, : SIZE - 1], ((0, 0), (1, 0)))
    shapes = np.maximum(over / np.maximum(power[:, -1:] / 2, 1e-30), THINNEST)
    return replace(
        state,
        sounds=sounds,
        spectra=np.concatenate([state.spectra[BATCH:], spectra]),
        powers=np.concatenate([state.powers[BATCH:], _squares(spectra)]),
        shapes=np.concatenate([state.shapes[BATCH:], shapes.astype(np.float32)]),
        batches=state.batches + 1,
    )


def _squares(values: np.ndarray) -> np.ndarray:
    return np.square(values.real) + np.square(values.imag)


def _hear(state: EchoState) -> EchoState:
    """Hold each block of the middle batch against the seconds after and before it."""
    if state.batches * BATCH < BATCH + REACH:
        return state
    middle = np.arange(REACH, REACH + BATCH)
    quiet = np.fft.fft(state.sounds[middle], 2 * SIZE, axis=1)
    share = _shares(_squares(quiet), state)
    loud = (state.powers @ share.T).T / (4 * SIZE)  # power over one block, in units of the quiet one's noise
    at = middle[:, None] + STEPS
    ratio = np.take_along_axis(loud, at, axis=1)
    block, which = np.nonzero(SIZE * ratio > LEAST)
    sums = np.zeros((BATCH // PERIOD, 2, BLOCKS, SIZE // 2), np.float32)
    squares = np.zeros((BATCH // PERIOD, 2, BLOCKS), np.float32)
    gains = np.zeros((BATCH // PERIOD, 2, BLOCKS, FINER), np.float32)
    if len(block):
        other = at[block, which]
        found = np.fft.ifft(state.spectra[other] * (quiet.conj() * share)[block], axis=1)[:, :SIZE]
        own = (state.powers[other] * share[block]).reshape(len(other), -1, GROUP).sum(
            axis=2
        ) @ state.lobe  # the other sound against itself, a few lags each way
        own = _squares(own[:, : LOBE + 1] + 1j * own[:, LOBE + 1 :])
        spread = (own.sum(axis=1) / own[:, 0] - 0.5)[:, None]
        shapes = state.shapes[other]
        spread = spread * shapes.reshape(len(other), FINER, -1).mean(axis=2)
        _add((sums, squares, gains), _squares(found) / shapes, (ratio[block, which], spread), (block, which))
    scaled = sums / np.sqrt(np.maximum(squares, 1e-30))[..., None]
    rows = zip(_bytes(scaled).reshape(len(sums), 2, -1), squares, gains.reshape(len(sums), 2, -1))
    return _kept(state, tuple(Row(*row) for row in rows))


def _shares(power: np.ndarray, state: EchoState) -> np.ndarray:
    """One over the noise of each quiet block, by bins; nothing outside the band or where a block is digital silence."""
    half = SMOOTH // 2
    around = np.cumsum(np.concatenate([power[:, -half - 1 :], power, power[:, :half]], axis=1), axis=1, dtype=float)
    noise = (around[:, SMOOTH:] - around[:, :-SMOOTH]) / SMOOTH
    loudest = noise.max(axis=1, keepdims=True)
    share = state.inside / np.maximum(noise, 1e-9 * loudest + 1e-30)
    return (share * (loudest > QUIETEST)).astype(np.float32)


def _add(rows: tuple[np.ndarray, ...], found: np.ndarray, loud: tuple, place: tuple) -> None:
    """Put comparisons to their rows: each one's size over what chance gives, less one, by its weight.

    ``loud``: the other sound's power over the quiet one's noise; over how many bins an echo of it spreads, by lags.
    """
    (sums, squares, gains), (ratio, spread), (block, which) = rows, loud, place
    chance = np.maximum(ratio / SIZE, found.mean(axis=1))
    gain = ratio * ratio / chance
    weight = gain / (gain + WORTH)
    pairs = weight[:, None] * ((found[:, ::2] + found[:, 1::2]) / (2 * chance[:, None]) - 1)
    whole = (weight * gain)[:, None] * spread
    row, side, lag = block // PERIOD, which // BLOCKS, which % BLOCKS
    pairs[side == 1], whole[side == 1] = pairs[side == 1, ::-1], whole[side == 1, ::-1]
    for one, two, *at in zip(pairs, whole, row, side, lag):
        sums[tuple(at)] += one
        gains[tuple(at)] += two
    np.add.at(squares, (row, side, lag), weight * weight)


def _kept(state: EchoState, fresh: tuple[Row, ...]) -> EchoState:
    """New rows at the end; in a capture of many hours rows are joined, so that they take no more room."""
    fresh, rows, joined = (*state.fresh, *fresh), state.rows, state.joined
    while len(fresh) >= joined:
        rows, fresh = (*rows, _together(fresh[:joined])), fresh[joined:]
        if len(rows) >= MOST:
            rows, joined = tuple(_together(rows[at : at + 2]) for at in range(0, len(rows), 2)), 2 * joined
    return replace(state, rows=rows, fresh=fresh, joined=joined)


def _together(rows: tuple[Row, ...]) -> Row:
    if len(rows) == 1:
        return rows[0]
    sums = sum(plain(row.found).reshape(2, BLOCKS, -1) * np.sqrt(row.squares)[..., None] for row in rows)
    squares = np.sum([row.squares for row in rows], axis=0)
    gains = np.sum([row.gains for row in rows], axis=0)
    scaled = sums / np.sqrt(np.maximum(squares, 1e-30))[..., None]
    return Row(_bytes(scaled).reshape(2, -1), squares, gains)


def _bytes(scaled: np.ndarray) -> np.ndarray:
    return np.clip(np.round(SCALE * np.arcsinh(scaled)) + ZERO, 0, 255).astype(np.uint8)
