"""Laws of the folds of sound: any cutting into blocks gives the same bits; gain and order do what they must."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from takeup.measure.sound.clipping import begin_clipping, finish_clipping, step_clipping
from takeup.measure.sound.delay import begin_delay, finish_delay, step_delay
from takeup.measure.sound.hops import Hops, begin_hops, finish_hops, step_hops
from takeup.measure.sound.windows import begin_windows, step_windows
from takeup.media.wave import Layout, unpack
from takeup.streams import Original, SoundStream
from takeup.tables.loader import load_rows
from takeup.tasks.checking import Asked
from takeup.tasks.sound_pass import SoundPass

RATE = 8000


def signal(seed: int, count: int, channels: int) -> np.ndarray:
    """Noise of changing level with cut tops and silence in it."""
    rng = np.random.default_rng(seed)
    loud = np.repeat(rng.uniform(0, 1, count // 500 + 1), 500)[:count, None]
    common = rng.standard_normal((count, 1))
    samples = np.cumsum(0.2 * common + 0.05 * rng.standard_normal((count, channels)), axis=0)
    samples = np.clip(loud * np.sin(samples) * 1.4, -0.8, 0.8)
    samples[count // 3 : count // 2] = 0
    return samples.astype(np.float32)


def heard(samples: np.ndarray, cuts: list[int]):
    state, clipping = begin_hops(RATE, samples.shape[1]), begin_clipping(gap=50)
    windows = begin_windows(RATE)
    delay = begin_delay(RATE, windows.size) if samples.shape[1] == 2 else None
    pieces = []
    for piece in np.split(samples, sorted(cuts)):
        state, hops = step_hops(state, piece)
        clipping = step_clipping(clipping, hops)
        windows, spectra = step_windows(windows, piece)
        delay = step_delay(delay, spectra) if delay else None
        pieces.append(hops)
    pieces.append(finish_hops(state))
    clipping = step_clipping(clipping, pieces[-1])
    whole = {name: np.concatenate([getattr(one, name) for one in pieces]) for name in Hops.__dataclass_fields__}
    return whole, finish_clipping(clipping), finish_delay(delay) if delay else None


@settings(max_examples=30, deadline=None)
@given(
    seed=st.integers(0, 2**16),
    count=st.integers(1, 40_000),
    channels=st.sampled_from([1, 2, 3, 6]),
    cuts=st.lists(st.integers(0, 40_000), max_size=12),
)
def test_any_cutting_gives_the_same(seed, count, channels, cuts):
    samples = signal(seed, count, channels)
    one, other = heard(samples, []), heard(samples, [min(cut, count) for cut in cuts])
    for name, values in one[0].items():
        assert np.array_equal(values, other[0][name]), name
    assert one[1] == other[1]
    assert one[2] == other[2]


def test_a_second_thread_changes_nothing():
    """Large blocks are listened to by two threads, small ones by one: figures and findings are the same."""
    samples = signal(7, 40_000, 2)
    stream = SoundStream(codec="pcm_s24le", rate_hz=RATE, channels=2, bits=24, lossy=False, seconds_stated=5.0)
    parts = []
    for size in (20_000, 500):
        walk = SoundPass(stream, Asked(original=Original(id="t1", carrier="cassette")), load_rows())
        for at in range(0, len(samples), size):
            walk.hear(samples[at : at + size])
        parts.append(walk.finish())
    assert parts[0].measures == parts[1].measures
    assert parts[0].findings == parts[1].findings
    assert parts[0].trace == parts[1].trace


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**16), count=st.integers(800, 20_000))
def test_half_the_level_is_a_quarter_of_every_power(seed, count):
    samples = signal(seed, count, 2)
    one, other = heard(samples, [])[0], heard(samples / 2, [])[0]
    for name in ("squares", "k_squares", "steps", "pair"):
        np.testing.assert_allclose(other[name] * 4, one[name], rtol=1e-6, atol=1e-12)
    np.testing.assert_allclose(other["peak"] * 2, one["peak"], rtol=1e-6)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 2**16), count=st.integers(800, 20_000))
def test_swapped_channels_swap_their_sums(seed, count):
    samples = signal(seed, count, 2)
    one, other = heard(samples, [])[0], heard(samples[:, ::-1], [])[0]
    for name in ("total", "squares", "k_squares", "high_count", "low_runs", "peak"):
        np.testing.assert_array_equal(one[name], other[name][:, ::-1])


@settings(max_examples=40, deadline=None)
@given(
    values=st.lists(st.integers(-(2**23), 2**23 - 1), min_size=1, max_size=50),
    big=st.booleans(),
)
def test_24_bit_samples_come_out_exactly(values, big):
    """By construction: each integer over 2^23."""
    raw = b"".join(value.to_bytes(3, "big" if big else "little", signed=True) for value in values)
    layout = Layout(
        container="wav", form="int", big_endian=big, rate_hz=RATE, channels=1, bits=24, sample_bytes=3, data_at=0,
        data_bytes=len(raw),
    )  # fmt: skip
    assert np.array_equal(unpack(raw, layout)[:, 0], np.array(values) / 2**23)
    from takeup.measure.sound.unpack import unpack_24

    assert np.array_equal(unpack(raw, layout, unpack_24)[:, 0], np.array(values) / 2**23)
