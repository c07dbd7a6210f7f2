"""The contract's sound measures and their units, for whoever measures a sound or has to say there is none."""

from __future__ import annotations

from takeup.streams import Measured

SOUND_UNITS = {
    "loudness": "LUFS",
    "loudness_range": "LU",
    "true_peak": "dBTP",
    "noise_floor": "dBFS",
    "dc_offset": "share of full scale",
    "channel_balance": "dB",
    "channel_correlation": "1",
    "channel_delay": "µs",
    "mains_hum": "dBFS",
    "speed_error": "%",
    "wow_flutter": "%",
    "bandwidth": "Hz",
}


def without_value(why: str) -> dict[str, Measured]:
    """Every measure of sound without a value, each saying the same why."""
    return {name: Measured(value=None, unit=unit, why=why) for name, unit in SOUND_UNITS.items()}
