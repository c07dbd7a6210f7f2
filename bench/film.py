"""How well and how fast film scans are told: pictures found and wrongly dropped, and speed against plain decoding."""

from __future__ import annotations

import sys
import tempfile
import time
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))

RATIOS = ((2, 3), (3, 5), (8, 15), (4, 5), (18, 25))  # as in the house check values, 3.2
CRF = (18, 26, 32)
PICTURES = 160
WANTED_SPEED = 0.2  # of plain decoding


def run() -> list[dict]:
    """Rows ``name``, ``ratio``, ``wanted``, ``detail``, ``met``."""
    with tempfile.TemporaryDirectory() as folder:
        return [*_recovery(Path(folder)), _speed(Path(folder))]


def _recovery(folder: Path) -> list[dict]:
    from make.film import Scene, glances_of, new_of, shoot, spread, write_film

    from takeup.tables.loader import load_rows
    from takeup.tasks.check_film import find_rhythm

    scenes = [Scene(PICTURES // 2, "hand", "coffee"), Scene(PICTURES // 2, "pan", "chelsea")]
    pictures = list(shoot(scenes, 9, (240, 320)))
    found, dropped, there, clean = 0, 0, 0, 0
    for crf in CRF:
        coded = {"options": {"crf": str(crf), "preset": "veryfast"}, "rate": Fraction(30)}
        path = folder / "film.mp4"
        write_film(path, iter(pictures), None, **coded)
        clean += find_rhythm(glances_of(path), load_rows()).repeats
        for p, q in RATIOS:
            shown = spread(PICTURES, p, q, 1 % q)
            write_film(path, iter(pictures), shown, **coded)
            told, true = find_rhythm(glances_of(path), load_rows()).new, new_of(shown)
            dropped += int((~told & true).sum())
            found += int((~told & ~true).sum())
            there += int((~true).sum())
    return [
        _row("repeats found", found / there, 1, f"{found} of {there}", found == there),
        _row("pictures dropped wrongly", dropped, 0, "15 moving films, CRF 18 to 32", dropped == 0),
        _row("repeats claimed in clean films", clean, 0, "3 moving films, CRF 18 to 32", clean == 0),
    ]


def _speed(folder: Path) -> dict:
    from make.film import Scene, shoot, write_film

    from takeup.media.moving import look_at_moving, read_moving
    from takeup.streams import Original
    from takeup.tables.loader import load_rows
    from takeup.tasks.check_film import check_film
    from takeup.tasks.checking import Asked

    path = folder / "speed.mp4"
    write_film(
        path, shoot([Scene(60, "hand", "coffee")], 2, (1080, 1440)), options={"crf": "20", "preset": "ultrafast"}
    )
    capture, asked = look_at_moving(path), Asked(original=Original(id="f1", carrier="super8"))
    begun = time.process_time()
    count = sum(1 for _ in read_moving(path, capture, sound=False))
    plain = time.process_time() - begun
    begun = time.process_time()
    check_film(path, capture, asked, load_rows())
    checking = time.process_time() - begun
    detail = f"1440 x 1080: {count / checking:.0f} pictures/s of one core checked, {count / plain:.0f} decoded"
    return _row("check film", plain / checking, WANTED_SPEED, detail, plain / checking >= WANTED_SPEED)


def _row(name: str, ratio: float, wanted: float, detail: str, met: bool) -> dict:
    return {"name": name, "ratio": float(ratio), "wanted": wanted, "detail": detail, "met": bool(met)}
