"""Pages of text: the time of recognising one, upright and in place, against what a person waits for."""

from __future__ import annotations

import sys
import time
from pathlib import Path

WANTED_S = 3.0


def run() -> list[dict]:
    """Recognise one full page of small print at 300 pixels per inch: the best of three."""
    sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
    from make import pages

    from takeup.media.text_reading import find_language_data, read_words

    folder = find_language_data("eng")
    if folder is None:
        return []
    page = pages.as_scanned(pages.sheet("page", 1, ppi=300))
    took, words = [], []
    for _ in range(3):
        begun = time.perf_counter()
        words = read_words(page.pixels, "eng", folder, 300.0)
        took.append(time.perf_counter() - begun)
    right = {word.text for word in words} & {word.text for word in page.words}
    return [{
        "name": "a page of text recognised", "ratio": min(took) / WANTED_S, "wanted": "1 or less",
        "met": min(took) <= WANTED_S and len(words) >= 0.9 * len(page.words) and len(right) > 30,
        "detail": f"{min(took):.2f} s of {WANTED_S:.0f}; {len(words)} words of {len(page.words)}",
    }]  # fmt: skip
