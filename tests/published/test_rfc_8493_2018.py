"""RFC 8493 (BagIt 1.0, October 2018), its drafts 0.93 to 0.97: the public-domain conformance suite, then its clauses.

The suite's own sorting is the expectation (README of the suite): ``valid`` passes, ``warning`` passes with something
said, ``invalid`` is refused with a reason, ``linux-only`` and ``windows-only`` hold escaping paths, to be
refused everywhere. The suite lies beside the project (``TAKEUP_PACKAGE_CASES``); without it these tests are skipped.
"""

import hashlib
import os
from pathlib import Path

import pytest

from takeup.files.package import Payload, make_package
from takeup.files.package_read import verify_package

CASES = Path(os.environ.get("TAKEUP_PACKAGE_CASES", Path(__file__).parents[3] / "shared/check-values/package-cases"))
needs_suite = pytest.mark.skipif(not CASES.is_dir(), reason=f"the package cases are not at {CASES}")
ESCAPES = {"out-of-scope-file-paths-using-dot-notation"}


def cases(*kinds):
    found = [path for path in sorted(CASES.glob("v*/*/*")) if path.is_dir() and path.parent.name in kinds]
    return [pytest.param(path, id="/".join(path.parts[-3:])) for path in found]


@needs_suite
@pytest.mark.parametrize("case", cases("valid"))
def test_suite_valid_package_is_intact(case):
    verified = verify_package(case)
    assert (verified.intact, verified.complete, verified.problems) == (True, True, ())


@needs_suite
@pytest.mark.parametrize("case", cases("warning"))
def test_suite_warning_package_is_intact_and_something_is_said(case):
    verified = verify_package(case)
    assert verified.intact and verified.warnings


@needs_suite
@pytest.mark.parametrize("case", cases("invalid"))
def test_suite_invalid_package_is_refused_with_a_reason(case):
    verified = verify_package(case)
    assert not verified.intact and verified.problems
    if case.name in ESCAPES:
        assert "unsafe" in {noted.what for noted in verified.problems}


@needs_suite
@pytest.mark.parametrize("case", cases("linux-only", "windows-only"))
def test_suite_escaping_package_is_unsafe_on_every_system(case):
    verified = verify_package(case)
    assert not verified.intact and "unsafe" in {noted.what for noted in verified.problems}


@needs_suite
@pytest.mark.parametrize(
    "name, what",
    [
        ("v0.97/invalid/corrupt-data-file", {("data/bare-filename", "changed")}),
        ("v0.97/invalid/missing-baginfo", {("bag-info.txt", "missing")}),
        ("v0.97/invalid/missing-bagit.txt", {("bagit.txt", "missing")}),
        ("v1.0/invalid/notAllManifestsListAllFiles", {("data/missingFromManifest.txt", "extra")}),
    ],
)
def test_suite_invalid_package_says_which_path_and_what(name, what):
    """Read off the cases by hand: which one file was changed or left out."""
    assert {(noted.path, noted.what) for noted in verify_package(CASES / name).problems} == what


@needs_suite
def test_suite_every_case_agrees_with_an_independent_library(tmp_path):
    """Second computation: the ``bagit`` library, whose three known divergences are named."""
    import logging

    import bagit

    logging.disable(logging.CRITICAL)
    diverging = {
        "v0.97/windows-only/out-of-scope-file-paths-using-absolute-path-for-fetch",  # passes two escapes of fetch.txt
        "v0.97/windows-only/out-of-scope-file-paths-using-unc-for-fetch",
        "v0.97/warning/duplicate-file-with-different-case",  # it refuses what should pass with a warning
    }
    differs = set()
    for case in (path for path in sorted(CASES.glob("v*/*/*")) if path.is_dir()):
        try:
            theirs = bagit.Bag(str(case)).is_valid()
        except (bagit.BagError, ValueError):
            theirs = False
        if theirs != verify_package(case).intact:
            differs.add("/".join(case.parts[-3:]))
    logging.disable(logging.NOTSET)
    assert differs <= diverging


@pytest.fixture
def package(tmp_path):
    sources = {"t1/side-a.wav": b"first" * 900, "外婆的信/page 1.tif": b"second", "empty.txt": b""}
    payload = []
    for at, (path, data) in enumerate(sources.items()):
        (tmp_path / f"source-{at}").write_bytes(data)
        payload.append(Payload(tmp_path / f"source-{at}", path))
    return make_package(
        tmp_path / "parcel", payload, [("Source-Organization", "Port Ellery library")], algorithms=("sha256", "sha512")
    )


def test_section_2_1_1_declaration_is_two_lines_without_a_mark(package):
    text = (package.folder / "bagit.txt").read_bytes()
    assert text == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"


def test_section_2_1_3_manifest_holds_a_checksum_and_path_for_every_file(package):
    lines = (package.folder / "manifest-sha256.txt").read_text("utf-8").splitlines()
    expected = {f"{hashlib.sha256(b'second').hexdigest()}  data/外婆的信/page 1.tif"}
    assert len(lines) == 3 and expected <= set(lines)


def test_section_2_2_1_tag_manifest_lists_every_other_tag_file(package):
    listed = {line.split("  ")[1] for line in (package.folder / "tagmanifest-sha512.txt").read_text().splitlines()}
    assert listed == {"bagit.txt", "bag-info.txt", "manifest-sha256.txt", "manifest-sha512.txt"}


def test_section_2_2_2_payload_oxum_is_bytes_dot_files(package):
    """4500 + 6 + 0 bytes in 3 files."""
    assert "Payload-Oxum: 4506.3\n" in (package.folder / "bag-info.txt").read_text("utf-8")


def test_written_package_is_intact_by_us_and_by_an_independent_library(package):
    import bagit

    verified = verify_package(package.folder)
    assert (verified.intact, verified.warnings, verified.files, verified.bytes) == (True, (), 3, 4506)
    assert bagit.Bag(str(package.folder)).is_valid()
