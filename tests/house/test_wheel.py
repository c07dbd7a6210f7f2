"""The wheel builds, installs into an empty environment, and starts there fast enough for a queue at the counter."""

import os
import shutil
import subprocess
import sys
import time
import wave
from importlib.metadata import Distribution, distribution
from pathlib import Path

import pytest
from packaging.requirements import Requirement

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


def _sources(folder: Path) -> Path:
    """A copy of what the wheel is built from: a build takes the kept loops away, which other tests start with."""
    for name in ("src", "build_hooks"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__", "*.egg-info", "kept"))
    for name in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / name, folder)
    return folder


def _asked_for(wheel: Distribution) -> dict[str, Distribution]:
    """Every package that the wheel asks for, and those that they ask for, as ``make setup`` has installed them.

    Fails where an installed version is not one that is asked for.
    """
    found: dict[str, Distribution] = {}
    waiting = [Requirement(line) for line in wheel.requires or ()]
    while waiting:
        asked = waiting.pop()
        if asked.marker is not None and not asked.marker.evaluate({"extra": ""}):
            continue
        installed = distribution(asked.name)
        assert asked.specifier.contains(installed.version, prereleases=True), (str(asked), installed.version)
        for extra in ("", *asked.extras):
            if f"{asked.name.lower()}[{extra}]" not in found:
                found[f"{asked.name.lower()}[{extra}]"] = installed
                lines = [Requirement(line) for line in installed.requires or ()]
                waiting += [one for one in lines if one.marker is None or one.marker.evaluate({"extra": extra})]
    return found


def _lay_out(packages: dict[str, Distribution], folder: Path) -> None:
    """Give an environment these packages and no other: links to what is installed already."""
    for package in packages.values():
        for name in {file.parts[0] for file in package.files or ()} - {"..", "__pycache__"}:
            if not (folder / name).exists():
                (folder / name).symlink_to(package.locate_file(name))


@pytest.mark.slow
def test_wheel_installs_into_an_empty_environment_and_starts(tmp_path):
    clean = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "VIRTUAL_ENV"))}
    quick = clean | {"PIP_NO_COMPILE": "no"}  # pip's own way to say yes: the builder's numba is used once
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--quiet"]
    source = _sources(tmp_path / "source")
    subprocess.run([*pip, "wheel", "--no-deps", "--wheel-dir", tmp_path, source], check=True, cwd=tmp_path, env=quick)
    (wheel,) = tmp_path.glob("takeup-*.whl")
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", tmp_path / "empty"], check=True)
    inside = tmp_path / "empty" / ("Scripts" if os.name == "nt" else "bin")
    install = [*pip, "--python", inside / "python", "install", "--no-compile", "--no-deps"]
    subprocess.run(
        [*install, wheel], check=True, cwd=tmp_path, env=clean
    )  # the first start compiles, as a person's does
    where = [inside / "python", "-c", "import sysconfig; print(sysconfig.get_path('platlib'))"]
    site = Path(subprocess.run(where, capture_output=True, text=True, check=True).stdout.strip())
    (told,) = Distribution.discover(name="takeup", path=[str(site)])
    _lay_out(_asked_for(told), site)
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
