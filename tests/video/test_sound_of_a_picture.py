"""The sound of a picture is held to the same limits as a capture of sound, and gets the same sentence."""

import struct
from fractions import Fraction

import pytest
from make.tiny import sound_samples, write_moving

from takeup.errors import Unreadable
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check import check_file
from takeup.tasks.checking import Asked

TOLD_RATE = b"\xb5\x88" + struct.pack(">d", 48_000)  # Matroska's SamplingFrequency, eight bytes long


@pytest.mark.parametrize("carrier", ["vhs", "super8"])
@pytest.mark.parametrize("rate", [1000, 800_000])
def test_sound_at_a_rate_that_cannot_be_measured_is_told(tmp_path, carrier, rate):
    path = write_moving(tmp_path / "a.mkv", 10, Fraction(25), sound=sound_samples(0.4))
    whole = path.read_bytes()
    assert whole.count(TOLD_RATE) == 1
    path.write_bytes(whole.replace(TOLD_RATE, TOLD_RATE[:2] + struct.pack(">d", rate)))
    with pytest.raises(Unreadable) as told:
        check_file(path, Asked(original=Original(id="v1", carrier=carrier)))
    assert told.value.key == "sound.odd-rate"
    assert (told.value.facts["rate"], told.value.facts["lowest"]) == (
        rate,
        load_rows().value("sound.reading.lowest_rate"),
    )
