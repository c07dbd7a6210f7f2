"""System parts that some tests need and no Python package brings; installed where this user may, named where not."""

import os
import shutil
import subprocess
from pathlib import Path

PARTS = {  # what the system calls it: (how to see that it is there, which tests skip without it)
    "chromium": (lambda: shutil.which("chromium"), "the tests that open pages in a browser"),
    "poppler-utils": (lambda: shutil.which("pdftotext"), "the tests that read finished PDF pages back"),
    "fonts-noto-cjk": (lambda: any(Path("/usr/share/fonts").rglob("NotoSansCJK*")), "Chinese on screenshots"),
    "tesseract-ocr-chi-sim": (
        lambda: any(Path("/usr/share").glob("tesseract-ocr/*/tessdata/chi_sim.traineddata")),
        "the tests that recognise Chinese text",
    ),
}


def main() -> None:
    missing = [name for name, (there, _) in PARTS.items() if not there()]
    if missing and shutil.which("apt-get") and hasattr(os, "geteuid") and os.geteuid() == 0:
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        subprocess.run(["apt-get", "update", "-qq"], check=False, **quiet)
        environment = os.environ | {"DEBIAN_FRONTEND": "noninteractive"}
        subprocess.run(["apt-get", "install", "-y", "-qq", *missing], check=False, env=environment, **quiet)
        missing = [name for name in missing if not PARTS[name][0]()]
    for name in missing:
        print(f"{name} is not on this machine and could not be installed: skipped are {PARTS[name][1]}.")


if __name__ == "__main__":
    main()
