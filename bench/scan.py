"""Scans: time and memory of checking beds, and of splitting and straightening what lies on them.

Times are ratios to a plain libvips read of the same file in the same run.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pyvips

WANTED_S, WANTED_MB, LARGE_MB = 6.0, 400.0, 600.0
MEASURE = """
import resource, sys, time
path = sys.argv[1]
def told(found):
    used = resource.getrusage(resource.RUSAGE_SELF)
    peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))  # of this process alone
    print(time.perf_counter() - begun, used.ru_utime + used.ru_stime - before, int(peak.split()[1]) / 1024, found)
{ready}
used = resource.getrusage(resource.RUSAGE_SELF)
before = used.ru_utime + used.ru_stime
begun = time.perf_counter()
{body}
"""
READ = """
import pyvips
image = pyvips.Image.new_from_file(path, access="sequential")
region = pyvips.Region.new(image)
for top in range(0, image.height, 256):
    region.fetch(0, top, image.width, min(256, image.height - top))
told(0)
"""
CHECK = """
one = Original(id="b", carrier="print")
report = check_scan(Path(path), look_at(Path(path)), Asked(original=one), rows)
told(len(report.measures["pictures"].value))
"""
FINISH = """
box = Path(path).with_suffix(".box")
chosen = Chosen(original=one, part="", stored=(Path(path),), relative=(Path(path).name,), reports=(report,))
place = Place(masters=box / "masters", copies=box / "copies")
told(len([made for made in finish_scan([chosen], place, rows, Settings(), SILENT) if made.role == "copy"]))
"""
READY = """
from pathlib import Path
from takeup.media.probe import look_at
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.check_scan import check_scan
from takeup.tasks.checking import Asked
from takeup.tasks.ears import SILENT
from takeup.tasks.finish_scan import finish_scan
from takeup.tasks.finishing import Chosen, Place
rows = load_rows()
"""


@dataclass(frozen=True)
class Bed:
    """A file to be checked. ``zoom``: pixels per pixel of the made bed (150 ppi); ``limit_s``: None is untimed."""

    name: str
    zoom: int
    compression: str
    limit_s: float | None
    limit_mb: float
    repeat: int = 1  # beds under each other
    finished: bool = True  # split and straightened, too


BEDS = (
    Bed("600 ppi, uncompressed", 4, "none", WANTED_S, WANTED_MB),
    Bed("600 ppi, Deflate", 4, "deflate", WANTED_S, WANTED_MB),
    Bed("1200 ppi, 881 MB", 8, "none", None, LARGE_MB),
    Bed("BigTIFF, 7.05 GB", 8, "none", None, LARGE_MB, repeat=8, finished=False),
)


def run() -> Iterator[dict]:
    """Check each bed, and finish it, in a process of its own, beside a plain read."""
    with tempfile.TemporaryDirectory(dir=_roomy()) as folder:
        for bed in BEDS:
            path = Path(folder) / "bed.tif"
            if shutil.disk_usage(folder).free < 1.2 * _bytes(bed):
                yield {"name": bed.name, "ratio": 0.0, "wanted": "room on the disk", "detail": "left out"}
                continue
            prints = write_bed(path, bed)
            ((read_s, *_),) = measured(path, "", READ)
            stages = measured(path, READY, CHECK + FINISH * bed.finished)
            for what, told in zip(("check", "check, split and straightening"), stages, strict=False):
                yield from _results(bed, what, prints, read_s, told)
            shutil.rmtree(path.with_suffix(".box"), ignore_errors=True)
            path.unlink()


def _results(bed: Bed, what: str, prints: int, read_s: float, told: tuple[float, float, float, int]) -> list[dict]:
    took, cpu, mb, found = told
    met = (bed.limit_s is None or took <= bed.limit_s) and (bed.repeat > 1 or found == prints)
    return [{
        "name": f"{what} of a bed ({bed.name}) over a plain read of it", "ratio": took / read_s,
        "wanted": f"{bed.limit_s:.0f} s or less" if bed.limit_s else "stated", "met": met,
        "detail": f"{took:.2f} s ({cpu:.2f} s of processors), read {read_s:.2f} s; {found} of {prints} prints",
    }, {
        "name": f"memory of that {what} ({bed.name})", "ratio": mb / bed.limit_mb, "wanted": "1 or less",
        "met": mb <= bed.limit_mb, "detail": f"{mb:.0f} MB of {bed.limit_mb:.0f}",
    }]  # fmt: skip


def measured(path: Path, ready: str, body: str) -> list[tuple[float, float, float, int]]:
    """Seconds, processor seconds, peak memory [MB] and what was found, up to each place where a process of its own
    tells of it."""
    code = MEASURE.format(ready=ready, body=body)
    out = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True).stdout
    stages = (line.split() for line in out.splitlines())
    return [(float(took), float(cpu), float(mb), int(found)) for took, cpu, mb, found in stages]


def write_bed(path: Path, bed: Bed) -> int:
    """An invented bed, enlarged in libvips from one at 150 to the inch; how many prints lie on it."""
    sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
    from make.scan import bed as made

    small = made(31)
    image = pyvips.Image.new_from_array(small.pixels).resize(bed.zoom, kernel="cubic")
    noise = pyvips.Image.gaussnoise(image.width, image.height, sigma=2.0, mean=0)
    scale = 150 * bed.zoom / 25.4
    image = (image + noise).cast("uchar").copy(interpretation="srgb", xres=scale, yres=scale)
    if bed.repeat > 1:
        _write_repeated(path, image, bed.repeat)
    else:
        predictor = "horizontal" if bed.compression != "none" else "none"
        image.tiffsave(str(path), compression=bed.compression, predictor=predictor, resunit="inch")
    return len(small.corners) * bed.repeat


def _write_repeated(path: Path, image: pyvips.Image, repeat: int) -> None:
    """A BigTIFF with a bed several times under each other, made only once."""
    import tifffile

    rows = 170  # of 20400
    region = pyvips.Region.new(image)
    strips = [bytes(region.fetch(0, top, image.width, rows)) for top in range(0, image.height, rows)]
    tifffile.imwrite(
        path, (strip for _ in range(repeat) for strip in strips), shape=(image.height * repeat, image.width, 3),
        dtype="uint8", photometric="rgb", rowsperstrip=rows, bigtiff=True, resolution=(image.xres * 25.4,) * 2,
        resolutionunit="INCH",
    )  # fmt: skip


def _bytes(bed: Bed) -> int:
    return 1800 * 2550 * 3 * bed.zoom**2 * bed.repeat


def _roomy() -> str | None:
    """Memory's own file system where it has room for the largest bed, so that no disk is measured."""
    shm = Path("/dev/shm")  # noqa: S108
    return str(shm) if shm.is_dir() and shutil.disk_usage(shm).free > 3e9 else None
