"""Sharpness of whole scans: drawn scenes with a known blur, read as a check reads them, clean ones beside the soft.

Scenes are drawn four times finer, averaged to pixels and blurred in codes by a sampled Gaussian, so the truth is the
product of the pixel's own width and that kernel's transform (both by formula). Bound: a tenth, of sigma (check values
for scans, part 5).
"""

from dataclasses import replace
from functools import cache
from math import erf

import cv2
import numpy as np
import pytest
from make import scan as made

from takeup.judge.scan import Seen
from takeup.judge.scan_sharpness import Sharpness, sharpness, soft_findings, softer_than_before
from takeup.measure.scan import miniature, windows
from takeup.measure.scan.first import FirstLook
from takeup.measure.scan.natural_edges import TOOL, NaturalEdge, Sought, natural_edges
from takeup.measure.scan.pictures import Pictures, Print, pictures
from takeup.measure.scan.tone import tone_curve
from takeup.measure.scan.windows import Place, Window
from takeup.streams import Measured, Report, StillImage
from takeup.tables.loader import load_rows
from takeup.tasks.scan_edges import edges_measured, edges_sought
from takeup.tasks.scan_looks import papers_of

ROWS = load_rows()
FINER = 4


def truth(sigma):
    """Where half is left of a pixel's width times a sampled Gaussian kernel, cycles/pixel."""
    f, x = np.linspace(0.001, 0.5, 2000), np.arange(-20, 21)
    kernel = np.exp(-(x**2) / (2 * sigma**2))
    left = np.sinc(f) * (np.cos(2 * np.pi * f[:, None] * x) @ (kernel / kernel.sum()))
    return float(f[np.argmax(left < 0.5)]) if (left < 0.5).any() else 0.5


@cache
def drawn(degrees, low=70.0, high=215.0, shape=(760, 1000)):
    """Two dark squares on an even ground."""
    big = np.full((shape[0] * FINER, shape[1] * FINER), high, np.float32)
    for centre in ((260.3, 250.1), (700.7, 480.4)):
        corners = made.outline((centre[0] * FINER, centre[1] * FINER), (250 * FINER, 250 * FINER), degrees)
        cv2.fillConvexPoly(big, np.rint(corners * 256).astype(np.int32), low, shift=8)
    return cv2.resize(big, shape[::-1], interpolation=cv2.INTER_AREA)


@cache
def photographed(seed):
    return made.bed(seed, ppi=150, size_in=(8, 8), many=3, noise=0, shadow=True).pixels.astype(np.float32)


def blurred(image, across, down=None, noise=1.2, seed=5):
    soft = cv2.GaussianBlur(image, (0, 0), sigmaX=across, sigmaY=down or across)
    return np.clip(np.rint(soft + np.random.default_rng(seed).normal(0, noise, soft.shape)), 0, 255).astype(np.uint8)


def look(pixels, carrier="print", profile="sRGB"):
    pixels = pixels[..., None] if pixels.ndim == 2 else pixels
    rows, columns, channels = pixels.shape
    eight = pixels if pixels.dtype == np.uint8 else (pixels // 257).astype(np.uint8)
    small = miniature.finish(miniature.step(miniature.begin(1), eight))
    found = pictures(small.pixels, 1, (columns, rows), ppi=150, many=carrier == "print", papers=papers_of(ROWS))
    bits = 8 * pixels.dtype.itemsize
    image = StillImage(codec="tiff", compression=None, width=columns, height=rows, channels=channels,
                       bits_stated=bits, ppi_stated=150, ppi_y_stated=150, profile=profile, lossy=False)  # fmt: skip
    seen = Seen(image=image, pictures=found)
    full = 2**bits - 1
    first = FirstLook(small=small, pictures=found, size=(columns, rows), ppi=150, full_scale=full)
    wanted = edges_sought(seen, first, carrier)
    kept: dict = {}
    for place in wanted.places:
        cut = pixels[place.y : place.y + place.height, place.x : place.x + place.width]
        kept.setdefault(place.purpose, []).append(windows.Window(place=place, pixels=cut))
    seen = replace(seen, sharp=edges_measured(wanted, kept, seen, full))
    return sharpness(seen, carrier, ROWS), soft_findings(seen, carrier, ROWS)


@pytest.mark.parametrize(
    ("degrees", "sigma"),
    [(0.0, 0.6), (0.0, 2.0), (0.3, 1.0), (0.3, 3.0), (5.0, 0.6), (5.0, 1.0), (5.0, 2.0), (5.0, 3.0), (-14.0, 1.0),
     (-14.0, 2.0), (33.0, 0.6), (33.0, 3.0)],
)  # fmt: skip
def test_a_known_blur_is_found_on_the_edges_of_what_lies_there(degrees, sigma):
    measured, found = look(blurred(drawn(degrees), sigma))
    assert measured.value == pytest.approx(truth(sigma), rel=0.1)
    assert [one.verdict for one in found] == (["redo"] if sigma >= 2 else [])


def test_the_worse_direction_is_told_and_both_are_beside_it():
    measured, _ = look(blurred(drawn(5.0), 0.7, 1.4))
    assert measured.value == pytest.approx(truth(1.4), rel=0.1)
    assert measured.extra["across"] == pytest.approx(truth(0.7), rel=0.1)
    assert measured.extra["down"] == measured.value


def test_sixteen_bits_and_colour_give_the_same_figure():
    grey = blurred(drawn(5.0), 1.0)
    plain, _ = look(grey)
    for other in (np.repeat(grey[..., None], 3, axis=2), grey.astype(np.uint16) * 257):
        assert look(other)[0].value == pytest.approx(plain.value, rel=0.01)


@pytest.mark.parametrize("seed", [1, 2, 5])
def test_prints_on_the_glass_are_told_by_their_paper(seed):
    """Photographs enlarged from small files, soft in themselves, lie sharp on the glass; then the whole is blurred."""
    scene = photographed(seed)
    measured, found = look(blurred(scene, 0.3))
    assert found == [] and measured.value > 0.2
    soft, found = look(blurred(scene, 2.5))
    assert soft.value == pytest.approx(truth(2.57), rel=0.15)  # the scene itself was drawn with a blur of 0.6
    assert [one.name for one in found] == ["soft"] and found[0].area is not None


def paper_edge(half, *, lopsided=0.002, error=0.01, rows=False, picture=0):
    place = Place(y=0, x=0, width=9, height=9, purpose="edge")
    return NaturalEdge(
        sought=Sought(place=place, kind="paper", picture=picture, rows=rows), half=half, tenth=1.8 * half, most=1.0,
        noise=0.0, slanted=True, lopsided=lopsided, error=error,
    )  # fmt: skip


def told(*edges):
    image = StillImage(codec="tiff", compression=None, width=1000, height=760, channels=1, bits_stated=8,
                       ppi_stated=150, ppi_y_stated=150, profile="sRGB", lossy=False)  # fmt: skip
    one = Print(corners=((0, 0), (9, 0), (9, 9), (0, 9)), tilt=0.0, meets=(False,) * 4, sure=4)
    seen = Seen(image=image, pictures=Pictures(prints=(one,), unsure=(), ground="lid"),
                sharp=Sharpness(edges=edges, looked=True))  # fmt: skip
    return sharpness(seen, "print", ROWS).value, [one.name for one in soft_findings(seen, "print", ROWS)]


def test_an_edge_with_a_shadow_or_an_uneven_picture_tells_only_with_others():
    shadowed = [paper_edge(0.12, lopsided=0.05, rows=rows) for rows in (False, True)]
    assert told(*shadowed) == (None, [])
    assert told(paper_edge(0.22), *shadowed) == (0.22, [])
    doubtful = [paper_edge(half, error=0.08, rows=rows) for half, rows in ((0.22, False), (0.21, True), (0.15, True))]
    assert told(*doubtful) == (None, [])  # no three say the same
    assert told(*doubtful, paper_edge(0.215, error=0.09)) == (0.21, [])
    assert told(*[paper_edge(half, error=0.08) for half in (0.22, 0.215, 0.21)]) == (None, [])  # one way only


def test_edges_of_a_ruler_are_no_prints():
    """The first look's pictures hold the lab's own tools, which what was seen no longer does."""
    pixels = blurred(drawn(5.0), 2.5)[..., None]
    small = miniature.finish(miniature.step(miniature.begin(1), pixels))
    found = pictures(small.pixels, 1, pixels.shape[1::-1], ppi=150, many=True, papers=papers_of(ROWS))
    first = FirstLook(small=small, pictures=found, size=pixels.shape[1::-1], ppi=150, full_scale=255)
    left = replace(found, prints=found.prints[1:])
    image = StillImage(codec="tiff", compression=None, width=1000, height=760, channels=1,
                       bits_stated=8, ppi_stated=150, ppi_y_stated=150, profile="sRGB", lossy=False)  # fmt: skip
    numbers = {edge.picture for edge in edges_sought(Seen(image=image, pictures=left), first, "print").edges}
    assert numbers == {0, TOOL}
    assert told(*[paper_edge(0.06, rows=rows, picture=TOOL) for rows in (False, True)]) == (0.06, [])


@pytest.mark.parametrize(("sigma", "soft"), [(0.5, False), (0.9, False), (2.0, True), (3.0, True)])
def test_a_page_is_told_by_its_letters(sigma, soft):
    page = made.page(3, ppi=200, size_in=(5, 4), noise=0).astype(np.float32)
    measured, found = look(blurred(page, sigma), "document")
    assert [one.verdict for one in found] == (["look"] if soft else [])
    assert measured.value is None if soft else measured.value == pytest.approx(truth(sigma), rel=0.1)
    assert measured.why == ("scan.strokes-too-thin" if soft else None)


@pytest.mark.parametrize("seed", range(7))
def test_a_soft_picture_is_no_soft_scan(seed):
    photo = cv2.resize(made.photographs()[seed], (900, 650), interpolation=cv2.INTER_CUBIC).astype(np.float32)
    measured, found = look(blurred(photo * 0.8 + 20, 2.5), "film" if seed % 2 else "print")
    assert found == []
    assert measured.value is None and measured.why in ("scan.no-edge", "scan.soft-content")


def test_nothing_to_tell_by():
    rng = np.random.default_rng(2)
    plain = np.clip(rng.normal(225, 1.5, (800, 700)), 0, 255).astype(np.uint8)
    y, x = np.mgrid[0:800, 0:700]
    dots = 130 + 70 * np.sign(np.cos(1.27 * (x + y)) + np.cos(1.27 * (x - y)) - 0.4 + np.sin(x / 90) * 0.5)
    for pixels, carrier in (
        (plain, "document"),
        (plain, "print"),
        (blurred(dots.astype(np.float32), 0.8), "newspaper"),
    ):
        measured, found = look(pixels, carrier)
        assert found == []
        assert measured.value is None or carrier == "newspaper"


def report(value, by="paper", ppi=600):
    return Report(medium="scan", seconds=None, findings=(), measures={
        "sharpness": Measured(value=value, unit="cycles/pixel", extra={"by": by}),
        "ppi_stated": Measured(value=ppi, unit="px/inch")})  # fmt: skip


BEFORE = [report(value) for value in (0.250, 0.246, 0.253, 0.249)]


@pytest.mark.parametrize(
    ("now", "earlier", "told"),
    [
        (report(0.220), BEFORE, True),  # 11.8 % under the median 0.2495
        (report(0.226), BEFORE, False),  # 9.4 %
        (report(0.220), BEFORE[:2], False),  # two scans are no history
        (report(0.220, ppi=300), BEFORE, False),
        (report(0.220, by="text"), BEFORE, False),
        (report(0.220), [report(value) for value in (0.25, 0.21, 0.28, 0.24, 0.30)], False),  # they differ that much
    ],
)
def test_softer_than_the_stations_last_scans(now, earlier, told):
    found = softer_than_before(now, earlier, ROWS)
    assert (found is not None) == told
    if found is not None:
        assert (found.name, found.verdict) == ("soft", "look")
        assert found.facts["share"] == pytest.approx(1 - 0.220 / 0.2495, abs=1e-6)


def test_over_sharpening_is_told_beside_the_figure():
    plain = cv2.GaussianBlur(drawn(5.0), (0, 0), 0.7)
    sharpened = plain + 1.5 * (plain - cv2.GaussianBlur(plain, (0, 0), 1.5))
    measured, found = look(blurred(np.clip(sharpened, 1, 254), 0.3))
    assert measured.extra["over_sharpened"] and measured.extra["most"] > 1.3 and measured.extra["meets"] == 0
    assert found == []
    assert not look(blurred(drawn(5.0), 0.7))[0].extra["over_sharpened"]


def drawn_edge(sigma, low, high, *, in_light, degrees=4.0, shape=(201, 110)):
    """One edge by formula: a Gaussian blur of codes, or of light that is then coded (IEC 61966-2-1)."""
    rows, columns = np.indices(shape)
    slope = np.deg2rad(degrees)
    off = (columns - shape[1] / 2) * np.cos(slope) + (rows - shape[0] / 2) * np.sin(slope)
    share = np.vectorize(erf)(off / sigma / 2**0.5) / 2 + 0.5
    if not in_light:
        return low + (high - low) * share
    dark, bright = (((code / 255 + 0.055) / 1.055) ** 2.4 for code in (low, high))
    return 255 * (1.055 * (dark + (bright - dark) * share) ** (1 / 2.4) - 0.055)


def as_scanned(codes, seed=3):
    noisy = codes + np.random.default_rng(seed).normal(0, 1, codes.shape)
    return np.clip(np.rint(noisy), 0, 255).astype(np.uint8)[..., None]


def told_of(pixels, kind="paper"):
    place = Place(0, 0, pixels.shape[1], pixels.shape[0], "edge")
    asked = Sought(place=place, kind=kind, picture=0, rows=False)
    return natural_edges([asked], [Window(place=place, pixels=pixels)], tone_curve("sRGB", 255))


@pytest.mark.parametrize("in_light", [False, True])
@pytest.mark.parametrize(("low", "high"), [(30, 190), (120, 240)])
@pytest.mark.parametrize("sigma", [0.7, 2.0])
def test_an_edge_is_read_as_what_was_blurred(sigma, low, high, in_light):
    """0.18739 / sigma, the Gaussian's own half; within 3 %, where one reading for both would be up to 18 % off."""
    (edge,) = told_of(as_scanned(drawn_edge(sigma, low, high, in_light=in_light)))
    assert edge.half == pytest.approx(0.18739 / sigma, rel=0.03)


def test_what_lies_beyond_a_border_tells_nothing_of_its_edge():
    """A white border of 24 px on black card, a dark picture inside it."""
    sigma, slope = 1.5, np.deg2rad(4.0)
    border = drawn_edge(sigma, 20, 240, in_light=False)
    rows, columns = np.indices(border.shape)
    off = (columns - border.shape[1] / 2) * np.cos(slope) + (rows - border.shape[0] / 2) * np.sin(slope)
    picture = np.vectorize(erf)((off - 24) / sigma / 2**0.5) / 2 + 0.5
    (edge,) = told_of(as_scanned(border - 150 * picture))
    assert edge.half == pytest.approx(0.18739 / sigma, rel=0.03)
    assert edge.most < 1.03


@pytest.mark.parametrize("carrier", ["print", "document"])
def test_the_one_edge_of_a_target_is_told_soft_or_not(carrier):
    pixels = as_scanned(drawn_edge(2.0, 40, 200, in_light=True, shape=(420, 380)))
    measured, findings = look(pixels, carrier)
    assert measured.value == pytest.approx(0.18739 / 2.0, rel=0.03)
    assert not findings
