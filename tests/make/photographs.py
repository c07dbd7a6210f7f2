"""Photographs that test packages ship, read from their files: importing those packages takes each process seconds.

Never copied into the repository.
"""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from PIL import Image

FOLDERS = {"skimage": ("data",), "sklearn": ("datasets", "images")}
FILES = {"motorcycle": "motorcycle_left.png", "rocket": "rocket.jpg"}  # called otherwise than the picture and .png


@cache
def photograph(name: str) -> np.ndarray:
    """A photograph's pixels as its package gives them; to read only."""
    package, file = ("sklearn", name) if name.endswith(".jpg") else ("skimage", FILES.get(name, f"{name}.png"))
    with Image.open(_folder(package) / file) as image:
        found = np.array(image)
    found.setflags(write=False)
    return found


@cache
def _folder(package: str) -> Path:
    found = find_spec(package)
    assert found is not None and found.submodule_search_locations, package
    return Path(found.submodule_search_locations[0], *FOLDERS[package])
