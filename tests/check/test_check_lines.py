"""What the command says of a finding on a screen: when and what, each once."""

import numpy as np
import pytest
from make.command import takeup
from make.sound import side, talk, write


@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
def test_a_finding_says_once_when_it_was(tmp_path, lang):
    """A tenth of a second is silenced at 8 s: the sentence names the place, so nothing stands before it."""
    rng = np.random.default_rng(2)
    samples = side(talk(rng, 12), rng, programme_dbfs=-30)
    samples[8 * 48_000 : 8 * 48_000 + 5000] = 0
    path = write(tmp_path / "a.wav", samples)
    told = takeup("check", path, "--carrier", "cassette", "--lang", lang).out
    (line,) = [line for line in told.splitlines() if "0:08" in line]
    assert line.count("0:08") == 1
