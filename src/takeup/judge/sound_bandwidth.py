"""How far up the sound reaches and who cut it off; whether the noise is near to the programme."""

from __future__ import annotations

from typing import Any

import numpy as np

from takeup.judge.sound_known import SoundKnown
from takeup.measure.sound.bandwidth import Bandwidth
from takeup.measure.sound.lossy import Lossy
from takeup.measure.sound.whole import SoundFacts
from takeup.streams import Finding, Measured, SoundStream
from takeup.tables.rows import Rows


def said_bandwidth(facts: SoundFacts, bandwidth: Bandwidth | None) -> Measured:
    """The programme's upper edge, and where a digital filter ended the spectrum."""
    extra: dict[str, Any] = {"cliff_hz": None}
    if bandwidth is not None:
        extra["cliff_hz"] = None if bandwidth.cliff_hz is None else round(bandwidth.cliff_hz, 1)
        if bandwidth.lower_rate_hz is not None:
            extra["resampled_from_hz"] = bandwidth.lower_rate_hz
    if bandwidth is None or bandwidth.hz is None:
        silent, short = facts.digitally_silent, bandwidth is None or bandwidth.programme is None
        why = (
            "sound.silent" if silent else "sound.short" if short and facts.has_programme else "sound.nothing-stands-out"
        )
        return Measured(value=None, unit="Hz", why=why, extra=extra)
    return Measured(value=round(bandwidth.hz, 1), unit="Hz", extra=extra)


def said_bits(bits: int | None, facts: SoundFacts, stream: SoundStream) -> Measured:
    """True bits of the samples against those of the file."""
    extra = {"stated": stream.bits}
    if bits is None or stream.lossy:
        why = "sound.lossy-bits" if stream.lossy else "sound.silent" if facts.digitally_silent else "sound.fine-bits"
        return Measured(value=None, unit="bits", why=why, extra=extra)
    return Measured(value=bits, unit="bits", extra=extra)


def judge_bandwidth(bandwidth: Bandwidth | None, stream: SoundStream, rows: Rows, known: SoundKnown) -> list[Finding]:
    """A narrow sound is told only where the station made it so: a low rate in the chain, or a dull playback.

    A recording may be as dull as it likes: then the tape's own hiss is still bright.
    """
    if bandwidth is None or known.of_picture or stream.lossy:
        return []
    limits = rows.section("sound.narrow")
    cliff = bandwidth.cliff_hz
    if cliff is not None and cliff < limits["cliff_lowest_hz"]:
        return [
            Finding(
                name="narrow_band", verdict="redo", again="helps", says="narrow_band.rate",
                value=round(cliff, 1), unit="Hz", facts={"cliff": cliff}, rows=("sound.narrow.cliff_lowest_hz",),
            )
        ]  # fmt: skip
    dull = dull_by_db(bandwidth, limits)
    narrow = bandwidth.hz is not None and bandwidth.hz <= limits["highest_hz"]
    if cliff is not None or dull is None or dull < limits["dull_db"]:
        return []
    if not narrow and _falls_on_by_db(bandwidth, limits) < limits["falls_on_db"]:
        return []  # a room's rumble falls as well, but onto the tape's bright hiss
    return [
        Finding(
            name="narrow_band", verdict="redo", again="may help", says="narrow_band.playback",
            value=round(dull, 1), unit="dB", facts={"dull": dull},
            rows=("sound.narrow.highest_hz", "sound.narrow.dull_db", "sound.narrow.falls_on_db"),
        )
    ]  # fmt: skip


def _falls_on_by_db(bandwidth: Bandwidth, limits: dict[str, Any]) -> float:
    """By how much the hiss still falls within the treble, band by band."""
    assert bandwidth.hiss is not None
    hz = bandwidth.bands_hz
    level = 10 * np.log10(bandwidth.hiss / hz + 1e-30)
    return float(
        level[np.argmin(abs(hz - limits["falls_from_hz"]))] - level[np.argmin(abs(hz - limits["falls_to_hz"]))]
    )


def dull_by_db(bandwidth: Bandwidth, limits: dict[str, Any]) -> float | None:
    """By how much the hiss falls from the middle to the treble, in equal widths [dB]; None without hiss to hear."""
    if bandwidth.hiss is None:
        return None
    density = bandwidth.hiss / bandwidth.bands_hz
    middle = _within(bandwidth.bands_hz, limits["middle_from_hz"], limits["middle_to_hz"])
    treble = _within(bandwidth.bands_hz, limits["treble_from_hz"], limits["treble_to_hz"])
    if not middle.any() or not treble.any() or not density[treble].mean():
        return None
    return float(10 * np.log10(density[middle].mean() / density[treble].mean()))


def _within(hz: np.ndarray, low: float, high: float) -> np.ndarray:
    return (hz >= low) & (hz <= high)


def judge_noise(facts: SoundFacts, bandwidth: Bandwidth | None, rows: Rows, known: SoundKnown) -> list[Finding]:
    """Hiss near to the programme: the tape's, unless what is heard without a tape is nearly as loud."""
    hiss = None if bandwidth is None else bandwidth.hiss_a_dbfs
    if hiss is None or facts.lufs is None or not facts.has_programme or known.of_picture:
        return []
    if facts.floor is None or facts.floor.at_most:
        return []  # music without a pause: its quietest moments are no noise
    limits = rows.section("sound.noisy")
    under = facts.lufs - hiss
    if under >= limits["under_programme_db"]:
        return []
    states = facts.states
    station = (
        states.electronics_dbfs is not None
        and states.hiss_dbfs is not None
        and states.electronics_dbfs > states.hiss_dbfs - limits["station_db"]
    )
    return [
        Finding(
            name="noisy",
            verdict="redo" if station else "look",
            again="may help" if station else "no",
            says="noisy.station" if station else "noisy.tape",
            value=round(under, 1),
            unit="dB",
            facts={"under": under},
            rows=("sound.noisy.under_programme_db",) + (("sound.noisy.station_db",) if station else ()),
        )
    ]


def judge_lossy(lossy: Lossy | None, stream: SoundStream) -> list[Finding]:
    """A lossy file is certain; its traces in whole samples are as sure as the frames found. Never ``redo`` for it."""
    if stream.lossy:
        facts = {"codec": stream.codec}
        return [
            Finding(
                name="lossy_source", verdict="look", again="may help", says="lossy_source.file", facts=facts, rows=()
            )
        ]
    if lossy is None:
        return []
    return [Finding(name="lossy_source", verdict="look", again="may help", says="lossy_source.traces", rows=())]
