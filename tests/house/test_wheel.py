"""The wheel builds, installs into an empty environment, and starts there fast enough for a queue at the counter."""

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.slow
def test_wheel_installs_into_an_empty_environment_and_starts(tmp_path):
    python = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--quiet"]
    subprocess.run([*python, "wheel", "--no-deps", "--wheel-dir", tmp_path, ROOT], check=True, cwd=tmp_path)
    (wheel,) = tmp_path.glob("takeup-*.whl")
    subprocess.run([sys.executable, "-m", "venv", tmp_path / "empty"], check=True)
    inside = tmp_path / "empty" / ("Scripts" if os.name == "nt" else "bin")
    install = [inside / "python", "-m", "pip", "--disable-pip-version-check", "--quiet", "install", "--only-binary"]
    locked = ["-c", ROOT / "requirements.lock"]
    subprocess.run([*install, ":all:", "--no-binary", "pyvips", *locked, wheel], check=True, cwd=tmp_path)
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "VIRTUAL_ENV"))}
    took = []
    for _ in range(3):  # the first start compiles; a person waits for the later ones
        begun = time.perf_counter()
        ran = subprocess.run([inside / "takeup", "--help"], capture_output=True, text=True, cwd=tmp_path, env=clean)
        took.append(time.perf_counter() - begun)
        assert ran.returncode == 0 and "deliver" in ran.stdout, ran.stderr
    assert min(took) < 1.5, took  # the issue's own figure; the median here is about a tenth of it
    shown = subprocess.run(
        [inside / "takeup", "--help", "--lang", "zh-Hans"], capture_output=True, text=True, env=clean
    )
    assert "收据" in shown.stdout
