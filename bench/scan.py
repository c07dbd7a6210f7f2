"""Scans: the time and memory of checking a 600-ppi bed of prints, against what the lab can wait for and has."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

WANTED_S, WANTED_MB = 6.0, 400.0
CHECK = """
import sys, time
from pathlib import Path
from takeup.media.probe import look_at
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check_scan import check_scan
from takeup.tasks.checking import Asked
path = Path(sys.argv[1])
begun = time.perf_counter()
report = check_scan(path, look_at(path), Asked(original=Original(id="b", carrier="print")), load_rows())
took = time.perf_counter() - begun
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))  # of this process alone
print(took, int(peak.split()[1]) / 1024, len(report.measures["pictures"].value))
"""


def run() -> list[dict]:
    """Check one bed of 7200 x 10200 pixels, uncompressed and in Deflate."""
    results = []
    with tempfile.TemporaryDirectory() as folder:
        for compression in ("none", "deflate"):
            path = Path(folder) / f"{compression}.tif"
            prints = write_bed(path, compression)
            took, mb, found = checked(path)
            results.append({
                "name": f"check of a 600-ppi bed ({compression})", "ratio": took / WANTED_S, "wanted": "1 or less",
                "met": took <= WANTED_S and found == prints,
                "detail": f"{took:.2f} s of {WANTED_S:.0f}; {found} of {prints} prints",
            })  # fmt: skip
            results.append({
                "name": f"memory of that check ({compression})", "ratio": mb / WANTED_MB, "wanted": "1 or less",
                "met": mb <= WANTED_MB, "detail": f"{mb:.0f} MB of {WANTED_MB:.0f}",
            })  # fmt: skip
    return results


def checked(path: Path) -> tuple[float, float, int]:
    """Seconds, peak memory [MB] and pictures of a check in a process of its own."""
    out = subprocess.run([sys.executable, "-c", CHECK, str(path)], capture_output=True, text=True, check=True).stdout
    took, mb, found = out.split()
    return float(took), float(mb), int(found)


def write_bed(path: Path, compression: str) -> int:
    """An invented bed at 600 ppi, enlarged in libvips from one at 150; how many prints lie on it."""
    import pyvips

    sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
    from make.scan import bed

    small = bed(31)
    image = pyvips.Image.new_from_array(small.pixels).resize(4, kernel="cubic")
    noise = pyvips.Image.gaussnoise(image.width, image.height, sigma=2.0, mean=0)
    scale = 600 / 25.4
    (image + noise).cast("uchar").copy(interpretation="srgb").tiffsave(
        str(path), compression=compression, predictor="horizontal", xres=scale, yres=scale, resunit="inch"
    )
    return len(small.corners)
