"""The wheel builds, installs into an empty environment, and starts there fast enough for a queue at the counter."""

import os
import subprocess
import sys
import time
import wave
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FIRST_CHECK = """
import sys
from pathlib import Path
from takeup.streams import Original
from takeup.tasks.check import check_file
from takeup.tasks.checking import Asked
_, report = check_file(Path(sys.argv[1]), Asked(original=Original(id="t1", carrier="cassette")))
print(report.seconds, "numba" in sys.modules)
"""


def _tone(path):
    """Ten seconds of a 480 Hz square wave."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(48_000)
        file.writeframes((b"\x00\x10" * 100 + b"\x00\xf0" * 100) * 4800)
    return path


@pytest.mark.slow
def test_wheel_installs_into_an_empty_environment_and_starts(tmp_path):
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--quiet"]
    subprocess.run([*pip, "wheel", "--no-deps", "--wheel-dir", tmp_path, ROOT], check=True, cwd=tmp_path)
    (wheel,) = tmp_path.glob("takeup-*.whl")
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", tmp_path / "empty"], check=True)
    inside = tmp_path / "empty" / ("Scripts" if os.name == "nt" else "bin")
    install = [*pip, "--python", inside / "python", "install", "--no-compile", "--only-binary", ":all:"]
    locked = ["-c", ROOT / "requirements.lock"]  # nothing is compiled beforehand: the first start does it for its own
    subprocess.run([*install, "--no-binary", "pyvips", *locked, wheel], check=True, cwd=tmp_path)
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "VIRTUAL_ENV"))}
    took = []
    for _ in range(3):  # the first start compiles; a person waits for the later ones
        begun = time.perf_counter()
        ran = subprocess.run([inside / "takeup", "--help"], capture_output=True, text=True, cwd=tmp_path, env=clean)
        took.append(time.perf_counter() - begun)
        assert ran.returncode == 0 and "deliver" in ran.stdout, ran.stderr
    assert min(took) < 1.5, took  # the issue's own figure; the median here is about a tenth of it
    heard = subprocess.run(
        [inside / "python", "-c", FIRST_CHECK, _tone(tmp_path / "tone.wav")],
        capture_output=True, text=True, cwd=tmp_path, env=clean | {"XDG_CACHE_HOME": str(tmp_path / "cache")},
    )  # fmt: skip
    assert heard.stdout.split() == ["10.0", "False"], heard.stderr  # seconds heard; whether the compiler was loaded
    shown = subprocess.run(
        [inside / "takeup", "--help", "--lang", "zh-Hans"], capture_output=True, text=True, env=clean
    )
    assert "收据" in shown.stdout
