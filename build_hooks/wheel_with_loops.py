"""Builds takeup's wheel with the sound loops compiled into it, so that the first check after installing is a quick one.

Setuptools does the building; this only compiles the loops beforehand, where the machine can. A wheel without them, or
one that is installed on another kind of machine, works all the same: its first check compiles.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

from setuptools.build_meta import *  # noqa: F403
from setuptools.build_meta import build_wheel as build_plain_wheel
from setuptools.build_meta import get_requires_for_build_wheel as requires_plain

ROOT = Path(__file__).parents[1]
COMPILER = ["numba>=0.68,<1", "numpy>=2.3,<3"]
KEEP = "from takeup.tasks.sound_loops import ROOM, keep_loops; keep_loops(ROOM / 'kept')"


def get_requires_for_build_wheel(config_settings=None):  # noqa: ANN001, ANN201
    """What must be there to build a wheel: the compiler too. (Not for an editable install.)"""
    return [*requires_plain(config_settings), *COMPILER]


def build_wheel(wheel_directory, config_settings=None, metadata_directory=None):  # noqa: ANN001, ANN201
    """Compile the loops afresh, then build."""
    shutil.rmtree(ROOT / "src/takeup/measure/sound/kept", ignore_errors=True)
    shutil.rmtree(ROOT / "build/lib/takeup", ignore_errors=True)  # an earlier build's files would be packed again
    subprocess.run([sys.executable, "-c", KEEP], cwd=ROOT / "src", check=False)
    return build_plain_wheel(wheel_directory, config_settings, metadata_directory)
