"""Speed of taking a capture in, as a ratio to a plain copy and a plain SHA-256 in the same run.

``python -m bench files``. The plain copy is ``shutil.copyfile``, once left in the computer's memory and once flushed to
the disk as every copy of ours is. Where the disk is slower than the processor, flushing alone decides, and only the
second comparison is one of like with like.
"""

import hashlib
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SIZE = int(os.environ.get("TAKEUP_BENCH_BYTES", 2_000_000_000))


def run():
    with tempfile.TemporaryDirectory(prefix="takeup-bench-", dir=os.environ.get("TAKEUP_BENCH_DIR")) as name:
        folder = Path(name)
        source = _capture(folder / "station" / "t1.wav")
        box = folder / "box"
        (folder / "items.csv").write_text("id,carrier\nt1,cassette\n")
        subprocess.run(
            [*_takeup(), "box", "new", box, "--items", folder / "items.csv"], check=True, capture_output=True
        )
        plain = _timed(lambda: _copy_and_sum(source, folder / "plain", flush=False))
        flushed = _timed(lambda: _copy_and_sum(source, folder / "flushed", flush=True))
        take = _timed(lambda: subprocess.run([*_takeup(), "take", box, source], check=True, capture_output=True))
        peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024
        detail = f"take {take:.2f} s, plain copy + SHA-256 {plain:.2f} s, the same flushed {flushed:.2f} s"
        yield _ratio("take over plain copy, flushed, + SHA-256", take / flushed, 1.5, detail)
        yield {
            "name": "take over plain copy, left in memory, + SHA-256",
            "ratio": take / plain,
            "wanted": "<= 1.5 where the disk keeps up",
            "met": take / plain <= 1.5 or flushed / plain > 1.3,
            "detail": detail,
        }
        yield _ratio("peak memory of take in MB", peak / 1e6, 600, "")


def _ratio(name, ratio, most, detail):
    return {"name": name, "ratio": ratio, "wanted": f"<= {most}", "met": ratio <= most, "detail": detail}


def _takeup():
    return [sys.executable, "-m", "takeup"]


def _capture(path):
    """A WAV header and seeded noise behind it."""
    import numpy as np

    path.parent.mkdir(parents=True)
    block = np.random.default_rng(1).integers(0, 256, 1 << 24, dtype=np.uint8).tobytes()
    with path.open("wb") as file:
        file.write(b"RIFF" + (SIZE - 8).to_bytes(4, "little") + b"WAVEfmt ")
        while (left := SIZE - file.tell()) > 0:
            file.write(block[:left])
        file.flush()
        os.fsync(file.fileno())
    return path


def _copy_and_sum(source, target, *, flush):
    shutil.copyfile(source, target)
    if flush:
        handle = os.open(target, os.O_RDWR)
        os.fsync(handle)
        os.close(handle)
    digest, buffer = hashlib.sha256(), memoryview(bytearray(1 << 20))
    with target.open("rb", buffering=0) as file:
        while count := file.readinto(buffer):
            digest.update(buffer[:count])


def _timed(work):
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun
