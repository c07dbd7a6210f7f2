"""The kept machine code gives the compiled loops' figures bit for bit; a damaged or foreign file is never linked."""

from __future__ import annotations

import numpy as np
import pytest
from make.calling import listened_to

from takeup.measure.sound.loops import Loops, compiled_loops
from takeup.tasks import sound_loops


def test_the_loops_in_use_agree_with_the_compiled_ones():
    """Second computation: numba's own call of the same source."""
    for one, other in zip(sound_loops._use(sound_loops.quick_loops()), sound_loops._use(compiled_loops()), strict=True):
        assert np.array_equal(one, other)


def test_the_trial_calls_every_loop():
    """A loop the trial leaves out is not compiled, and then none is kept: the first check waits for the compiler."""
    loops, called = listened_to(compiled_loops(), sound_loops.ARGUMENTS)
    found = sound_loops._use(Loops(**loops))
    assert called == set(sound_loops.ARGUMENTS)
    assert all(len(one) for one in found), "a trial that finds nothing compares nothing"


@pytest.mark.parametrize(
    "raw", [b"", b"{}\n", b"not ours", b'{"mark": "takeup-loops/1", "sha256": "0", "loops": {}}\nabc']
)
def test_a_damaged_file_is_not_linked(tmp_path, monkeypatch, raw):
    path = tmp_path / "loops.bin"
    path.write_bytes(raw)
    monkeypatch.setattr(sound_loops, "_places", lambda: [path])
    _forget()
    try:
        assert sound_loops.quick_loops() == compiled_loops()
    finally:
        _forget()


@pytest.mark.parametrize(
    ("stderr", "line"),
    [
        ("Traceback\nValueError: the kept loops give other figures\n", "ValueError: the kept loops give other figures"),
        ("", "it ended with -11"),
    ],
)
def test_code_that_is_not_kept_is_said_in_one_line(tmp_path, monkeypatch, capsys, stderr, line):
    """A developer who broke a loop must see it; nobody else loses anything."""
    ended = sound_loops.subprocess.CompletedProcess([], -11, "", stderr)
    monkeypatch.setattr(sound_loops.subprocess, "run", lambda *_, **__: ended)
    monkeypatch.setattr(sound_loops.platform, "machine", lambda: "x86_64")
    assert sound_loops.keep_loops(tmp_path) is None and list(tmp_path.iterdir()) == []
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 1 and said[0].endswith(f"make: {line}")


def _forget() -> None:
    sound_loops.quick_loops.cache_clear()
    sound_loops._kept.cache_clear()


def test_arrays_that_do_not_fit_are_refused():
    loop = sound_loops._callable(
        sound_loops.ctypes.cast(sound_loops._NEVER, sound_loops.ctypes.c_void_p).value, ("a1",)
    )
    with pytest.raises(ValueError):
        loop(np.zeros((4, 4))[:, 0])
