"""A scan checked from its file: clean controls beside every fault. Truth by construction (tests/make/scan.py)."""

from functools import lru_cache
from io import BytesIO

import numpy as np
import pytest
import pyvips
from make import scan as made
from PIL import Image

from takeup.errors import Unreadable
from takeup.judge.scan import Seen, judge_scan
from takeup.media.probe import look_at
from takeup.streams import Original, StillImage
from takeup.tables.loader import load_rows
from takeup.tasks.check_scan import check_scan
from takeup.tasks.checking import Asked
from takeup.tasks.scan_looks import pictures_whole


def save(path, pixels, ppi=600, profile="srgb", **options):
    options.setdefault("compression", "none")
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels))
    if ppi:
        options |= {"xres": ppi / 25.4, "yres": ppi / 25.4, "resunit": "inch"}
    if profile and pixels.ndim == 3:
        options["profile"] = profile
    image.tiffsave(str(path), **options)
    return path


def check(path, carrier="print", **known):
    return check_scan(path, look_at(path), Asked(original=Original(id="x", carrier=carrier, **known)), load_rows())


def found(report):
    return {finding.name: finding.verdict for finding in report.findings}


@lru_cache(maxsize=4)
def picture(seed=0, size=(360, 520), gain=0.82, lift=16.0, noise=1.2):
    """A real photograph in the tones of a print on paper (never at a rail), with a scanner's noise; to read only."""
    rng = np.random.default_rng(seed)
    art = made.photographs()[seed % 7]
    image = made.cv2.resize(art, size[::-1], interpolation=made.cv2.INTER_AREA).astype(np.float32) * gain + lift
    made_so = np.clip(np.rint(image + rng.normal(0, noise, image.shape)), 0, 255).astype(np.uint8)
    made_so.setflags(write=False)
    return made_so


@pytest.mark.parametrize("seed", range(7))
def test_a_print_that_fills_the_scan_is_good(tmp_path, seed):
    report = check(save(tmp_path / "a.tif", picture(seed)))
    assert found(report) == {}
    assert report.measures["pictures"].value[0]["corners"] == [[0, 0], [520, 0], [520, 360], [0, 360]]
    assert report.measures["pictures"].value[0]["tilt"] == 0
    assert report.measures["ppi_stated"].value == pytest.approx(600, rel=1e-4)


TONES = [(0.12, 14.0), (0.2, 195.0), (0.05, 236.0)]


@pytest.mark.parametrize(("gain", "lift"), TONES, ids=["night", "snow", "pale"])
@pytest.mark.parametrize(("seed", "carrier", "ppi"), [(0, "print", 600), (3, "slide", 1200), (6, "print", 600)])
def test_dark_and_bright_pictures_are_good(tmp_path, seed, carrier, ppi, gain, lift):
    assert found(check(save(tmp_path / "a.tif", picture(seed, gain=gain, lift=lift), ppi=ppi), carrier)) == {}


def test_black_and_white_in_rgb_is_good(tmp_path):
    grey = picture(6)[..., :1]
    assert found(check(save(tmp_path / "a.tif", np.repeat(grey, 3, axis=2)))) == {}


# FADGI 2016: lowest level 100 ppi for prints, 150 for documents, 1000 for film; the lab's aims 600, 300, 1200
@pytest.mark.parametrize(
    ("carrier", "ppi", "verdict"),
    [
        ("print", 600, None), ("print", 599.5, None), ("print", 300, "look"), ("print", 100, "look"),
        ("print", 96, "redo"),
        ("slide", 1200, None), ("slide", 1100, "look"), ("slide", 900, "redo"), ("negative", 900, "redo"),
        ("document", 300, None), ("document", 200, "look"), ("document", 100, "redo"), ("newspaper", 100, "redo"),
        ("microfilm", 1200, None),
    ],
)  # fmt: skip
def test_resolution_against_the_carriers_table(carrier, ppi, verdict):
    image = StillImage(
        codec="tiff", compression=None, width=1300, height=900, channels=3, bits_stated=8, ppi_stated=ppi,
        ppi_y_stated=ppi, profile="sRGB", lossy=False,
    )  # fmt: skip
    seen = Seen(image=image, pictures=pictures_whole((1300, 900)))
    measures, told = judge_scan(seen, Original(id="x", carrier=carrier), load_rows())
    assert {one.name: one.verdict for one in told}.get("resolution") == verdict
    assert measures["ppi_stated"].value == ppi


def test_a_missing_profile_is_said_and_never_redo(tmp_path):
    assert found(check(save(tmp_path / "a.tif", picture(1), profile=None))) == {"no_profile": "look"}


def test_eight_bits_padded_to_sixteen_are_told_and_a_converter_of_twelve_is_left_alone(tmp_path):
    eight = picture(2).astype(np.uint16)
    true = eight * 250 + np.random.default_rng(5).integers(0, 250, eight.shape).astype(np.uint16)
    for codes, bits in ((eight * 257, 8), (eight * 256, 8), (true >> 4 << 4, 12), (true, 16)):
        report = check(save(tmp_path / "a.tif", codes, profile="srgb"))
        assert report.measures["bits"].value == bits
        assert report.measures["bits_stated"].value == 16
        assert found(report).get("depth") == ("look" if bits == 8 else None)


def test_blown_highlights_are_redo_and_a_white_border_is_not(tmp_path):
    blown = np.clip(picture(1, gain=1.5, lift=-5).astype(int) + 40, 0, 255).astype(np.uint8)
    share = 100 * max((blown == 255).mean(axis=(0, 1)))
    report = check(save(tmp_path / "a.tif", blown))
    assert found(report)["clipped"] == "redo"
    assert report.measures["clipped_high"].value == pytest.approx(share, rel=0.03)
    bordered = np.full((440, 600, 3), 255, np.uint8)
    bordered[40:-40, 40:-40] = picture(1)
    assert "clipped" not in found(check(save(tmp_path / "b.tif", bordered)))


@pytest.mark.parametrize("tilt", [0.0, 0.6, 2.0, -3.5])
def test_the_lines_of_a_page_tell_its_tilt(tmp_path, tilt):
    report = check(
        save(tmp_path / "a.tif", made.page(1, tilt=tilt, ppi=150, size_in=(6, 6)), ppi=300, profile=None), "document"
    )
    assert report.measures["pictures"].value[0]["tilt"] == pytest.approx(tilt, abs=0.05)
    assert found(report).get("tilted") == ("look" if abs(tilt) > 1 else None)


def test_a_page_that_fills_the_scan_is_not_cut_off(tmp_path):
    assert set(found(check(save(tmp_path / "a.tif", made.page(2, ppi=150, size_in=(6, 6)), ppi=300), "document"))) == {
        "no_profile"
    }


def test_a_print_over_the_limit_of_the_scan_is_cut_off(tmp_path):
    whole = made.bed(4, many=1, size_in=(7, 7), ppi=100)
    x = int(whole.corners[0][:, 0].min())
    for cut, wanted in ((x + 10, "redo"), (x + 3, "redo"), (max(0, x - 20), None)):
        report = check(save(tmp_path / "a.tif", whole.pixels[:, cut:], ppi=100))
        assert found(report).get("cut_off") == wanted, cut


def test_an_empty_glass_is_said(tmp_path):
    rng = np.random.default_rng(0)
    glass = np.clip(made.lid(rng, 800, 600, 245, 4) + rng.normal(0, 1.5, (800, 600, 3)), 0, 255).astype(np.uint8)
    report = check(save(tmp_path / "a.tif", glass))
    assert report.measures["pictures"].value == []
    assert found(report) == {"split_unsure": "look"}


@pytest.mark.parametrize(
    ("compression", "tile"),
    [("none", False), ("lzw", True), ("deflate", False), ("packbits", True), ("jpeg", False), ("jpeg", True)],
)
def test_every_usual_tiff_gives_the_same_figures(tmp_path, compression, tile):
    report = check(save(tmp_path / "a.tif", picture(2), compression=compression, tile=tile, bigtiff=tile))
    assert report.measures["bits"].value == 8
    assert found(report) == ({"lossy_source": "look"} if compression == "jpeg" else {})


def test_one_bit_pages_are_read(tmp_path):
    bits = Image.fromarray(made.page(1, ppi=150, size_in=(6, 6)) > 150)
    bits.save(tmp_path / "a.tif", compression="group4", dpi=(300, 300))
    report = check(tmp_path / "a.tif", "document")
    assert report.measures["bits"].value == report.measures["bits_stated"].value == 1
    assert found(report) == {"depth": "look"}


@pytest.mark.parametrize("share", [0.1, 0.5, 0.999])
@pytest.mark.parametrize("kind", ["tiff", "jpeg", "png"])
def test_a_cut_file_gets_a_plain_answer(tmp_path, kind, share):
    out = BytesIO()
    Image.fromarray(picture(1)).save(out, kind, dpi=(600, 600))
    path = tmp_path / "a"
    path.write_bytes(out.getvalue()[: int(len(out.getvalue()) * share)])
    try:
        report = check(path)
    except Unreadable as fault:
        assert fault.key == "capture.broken"
    else:
        assert found(report)["corrupt"] == "redo"


def test_a_pdf_of_scanned_pages_tells_its_resolution(tmp_path):
    sheets = [Image.fromarray(made.page(n, ppi=100, size_in=(6, 6))) for n in range(2)]
    sheets[0].save(tmp_path / "a.pdf", save_all=True, append_images=sheets[1:], resolution=100)
    report = check(tmp_path / "a.pdf", "document")
    assert report.measures["ppi_stated"].value == pytest.approx(100, rel=0.005)
    assert report.measures["pages"].value == 2


def test_resolution_units(tmp_path):
    import tifffile

    pixels = picture(1)
    for unit, value, wanted in ((2, 600, 600), (3, 236.2205, 600), (1, 600, None)):
        tifffile.imwrite(tmp_path / "a.tif", pixels, resolution=(value, value), resolutionunit=unit, photometric="rgb")
        report = check(tmp_path / "a.tif")
        stated = report.measures["ppi_stated"].value
        assert stated is wanted if wanted is None else stated == pytest.approx(wanted, rel=1e-4)
        assert found(report).get("resolution") == (None if wanted else "look")
