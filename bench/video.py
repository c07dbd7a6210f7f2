"""How fast a video is checked: every picture measured, as a share of plain decoding in the same run."""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))

PICTURES = 40
WANTED = 0.04  # of plain v210 decoding (2000 pictures/s): three times real time on a shared core


def run() -> list[dict]:
    """One row a form: ``name``, ``ratio`` (check over plain decode, pictures a second), ``wanted``, ``detail``."""
    from make.video import Form, Tape, file_for, programme, render, write
    from make.video_check import check

    from takeup.media.moving import look_at_moving, read_moving

    pictures = list(render(Tape(pictures=PICTURES, seed=99)))
    rows = []
    with tempfile.TemporaryDirectory() as folder:
        for codec in ("v210", "dv", "h264", "ffv1"):
            path = file_for(Path(folder), codec)
            write(path, iter(pictures), Form(codec, shape=None), programme(PICTURES / 25))
            check(path)
            begun = time.process_time()
            check(path)
            checking = time.process_time() - begun
            begun = time.process_time()
            count = sum(1 for _ in read_moving(path, look_at_moving(path), sound=False))
            plain = max(time.process_time() - begun, 1e-6)
            detail = f"{count / checking:.0f} pictures/s of one core checked, {count / plain:.0f} decoded"
            rows.append({"name": f"check video {codec}", "ratio": plain / checking, "wanted": WANTED, "detail": detail})
    return rows


if __name__ == "__main__":
    for row in run():
        print(f"{row['name']}: {row['ratio']:.3f} (wanted {row['wanted']}), {row['detail']}")
