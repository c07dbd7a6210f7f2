"""How the compiled loops lay out what they hand over and keep: places in rows of plain numbers."""

from __future__ import annotations

CHANNEL_SUMS = 10  # of one channel in a hop, in this order:
SUM, SQUARES, STEPS, HIGH, HIGH_COUNT, HIGH_RUNS, LOW, LOW_COUNT, LOW_RUNS, PEAK = range(CHANNEL_SUMS)
PAIR_SUMS = 4  # of two channels: product; below 1 kHz: left squared, right squared, product
LEFT, RIGHT, BOTH = 0, CHANNEL_SUMS, 2 * CHANNEL_SUMS
SUMS = 2 * CHANNEL_SUMS + PAIR_SUMS
TAIL = 64  # samples of the hop before that are still seen; the true peak is looked for TAIL / 2 samples late
HALF_TAPS = 24
CHANNEL_STATE = 3 + 2 + 1  # last value, the one before its run, run; low band: two poles; true peak
STATE = 2 * CHANNEL_STATE + 1  # and: whether any sample is finer than 16 bits
RUN, LOW_BAND, TRUE_PEAK = 0, 3, 5
FINE = 2 * CHANNEL_STATE
