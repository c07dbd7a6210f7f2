"""Pages as one PDF: words where the ink is, upright, straight, as small as asked for, by the rules of PDF/A."""

import io
import shutil
import subprocess

import cv2
import numpy as np
import pikepdf
import pytest
import pyvips
from make import pages
from PIL import Image

from takeup.media.page_pdf import Page, write_pdf
from takeup.media.page_pictures import small_grey
from takeup.media.pdf_rules import broken_rules
from takeup.media.text_reading import Word, find_language_data
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tables.loader import load_rows
from takeup.tasks.ears import SILENT
from takeup.tasks.finish_pages import pages_pdf
from takeup.tasks.finishing import Chosen, Place

SMALL = (5.0, 4.0)  # inches: a small leaf is read quickly
needs_english = pytest.mark.skipif(find_language_data("eng") is None, reason="no English language data here")
needs_chinese = pytest.mark.skipif(find_language_data("chi_sim") is None, reason="no Chinese language data here")
needs_reader = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not here")


def save(path, pixels, across, down=None, **options):
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels))
    options = {"resunit": "inch", "compression": "lzw"} | options
    image.tiffsave(str(path), xres=across / 25.4, yres=(down or across) / 25.4, **options)
    return path


def finished(paths, folder, *, form="", label="", carrier="document"):
    original = Original(id="d1", carrier=carrier, label=label)
    chosen = [
        Chosen(original=original, part=str(n + 1), stored=(path,), relative=(path.name,), reports=(None,))
        for n, path in enumerate(paths)
    ]
    (folder / "copies").mkdir(exist_ok=True)
    place = Place(masters=folder / "masters", copies=folder / "copies", page_form=form)
    return pages_pdf(chosen, place, load_rows(), Settings(), SILENT)


def boxes_of(path, page):
    """Words and the middles of their boxes [pt from the top left], as a reader of its own finds them."""
    out = subprocess.run(
        ["pdftotext", "-f", str(page), "-l", str(page), "-bbox", str(path), "-"],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    found = []
    for line in out.splitlines():
        if "<word " in line:
            parts = line.split('"')
            left, top, right, foot = (float(parts[n]) for n in (1, 3, 5, 7))
            found.append((line.split(">")[1].split("<")[0], (left + right) / 2, (top + foot) / 2))
    return found


def assert_in_place(path, page, words, across, down, *, least):
    """Every word that was read lies within 1 mm of its ink; `least` of all words were read."""
    boxes, read = boxes_of(path, page), 0
    for word in words:
        x, y = word.x / across * 72, word.y / down * 72
        off = [np.hypot(bx - x, by - y) / 72 * 25.4 for text, bx, by in boxes if text == word.text]
        if off and min(off) < 12:  # farther away stands the same word once more; this one was read as another
            read += 1
            assert min(off) <= 1.0, word
    assert read >= least * len(words)


@pytest.fixture(scope="module")
def leaf():
    return pages.as_scanned(pages.sheet("page", 4, ppi=200, size_in=SMALL))


@needs_english
@needs_reader
def test_words_lie_on_their_ink_however_the_page_was_scanned(tmp_path, leaf):
    """As it lies; turned by the file's own tag (TIFF 6.0: 8 means that the first column is the foot); on its head,
    undone by its text; turned by 2 degrees, undone; with half as many rows to the inch, stated by the centimetre."""
    height, width = leaf.pixels.shape
    half = cv2.resize(leaf.pixels, (width, height // 2), interpolation=cv2.INTER_AREA)
    crooked = pages.as_scanned(pages.sheet("page", 4, ppi=200, size_in=SMALL), tilt=2.0)
    paths = [
        save(tmp_path / "1.tif", leaf.pixels, 200),
        save(tmp_path / "2.tif", leaf.pixels[::-1, ::-1], 200),
        save(tmp_path / "3.tif", crooked.pixels, 200),
        save(tmp_path / "4.tif", half, 200, 100, resunit="cm"),
    ]
    turned = pyvips.Image.new_from_array(np.ascontiguousarray(np.rot90(leaf.pixels, -1))).copy()
    turned.set_type(pyvips.GValue.gint_type, "orientation", 8)
    turned.tiffsave(str(tmp_path / "5.tif"), xres=200 / 25.4, yres=200 / 25.4, resunit="inch")
    made = finished([*paths, tmp_path / "5.tif"], tmp_path)
    assert made.settings["rules_broken"] == [] and made.settings["turned"] == [{"page": 2, "degrees": 180}]
    assert set(made.settings["straightened"]) == {"3"}
    assert made.settings["straightened"]["3"] == pytest.approx(-2.0, abs=0.05)
    back = cv2.getRotationMatrix2D((width / 2 - 0.5, height / 2 - 0.5), 2.0, 1.0)
    straight = [pages.Placed(one.text, *(back @ [one.x, one.y, 1])) for one in crooked.words]
    with pikepdf.open(made.path) as file:
        sizes = [[float(edge) for edge in page.mediabox[2:]] for page in file.pages]
    for page, words in enumerate([leaf.words, leaf.words, straight, leaf.words, leaf.words], 1):
        assert sizes[page - 1] == pytest.approx([width / 200 * 72, height / 200 * 72], abs=0.5)
        assert_in_place(made.path, page, words, 200, 200, least=0.5 if page == 4 else 0.9)


@needs_english
def test_columns_that_lie_on_their_side_are_set_upright(tmp_path):
    page = pages.as_scanned(pages.sheet("columns", 2, ppi=150, size_in=(7.5, 3.4)), tilt=1.2, margin_in=0.15)
    made = finished([save(tmp_path / "1.tif", np.rot90(page.pixels), 150)], tmp_path)
    assert made.settings["turned"] == [{"page": 1, "degrees": 90}]


@needs_chinese
@needs_reader
def test_chinese_is_read_and_lies_on_its_ink(tmp_path):
    page = pages.as_scanned(pages.sheet("chinese", 2, ppi=200, size_in=SMALL))
    made = finished([save(tmp_path / "1.tif", page.pixels, 200)], tmp_path, label="外婆的信")
    assert made.settings["language"] == "chi_sim" and made.settings["rules_broken"] == []
    boxes = boxes_of(made.path, 1)
    read = [sign for text, *_ in boxes for sign in text if "\u4e00" <= sign <= "\u9fff"]
    drawn = [sign for one in page.words for sign in one.text if "\u4e00" <= sign <= "\u9fff"]
    assert len(read) >= 0.9 * len(drawn)
    size, held = 0.17 * 25.4, 0  # signs are square and stand side by side
    for text, x, y in boxes:
        for one in page.words:
            if len(text) < 2 or text not in one.text:
                continue
            from_middle = one.text.index(text) + (len(text) - 1) / 2 - (len(one.text) - 1) / 2
            at = np.array([one.x / 200 * 25.4 + from_middle * size, one.y / 200 * 25.4])
            if (off := np.hypot(*(at - np.array([x, y]) / 72 * 25.4))) < size:
                held += 1
                assert off <= 1.0, text
    assert held >= 10


def test_a_jpeg_goes_in_byte_for_byte_and_forms_are_as_small_as_they_are_said_to_be(tmp_path, monkeypatch, leaf):
    monkeypatch.setattr("takeup.tasks.finish_pages.find_language_data", lambda language, extra="": None)
    colour = np.repeat(leaf.pixels[..., None], 3, axis=2) - np.uint8([0, 6, 20])
    Image.fromarray(colour).save(tmp_path / "1.jpg", dpi=(200, 200), quality=92)
    photo = pages.as_scanned(pages.sheet("photo", 4, ppi=100)).pixels
    blank = pages.as_scanned(pages.sheet("blank", 1, ppi=100, size_in=SMALL)).pixels
    paths = [tmp_path / "1.jpg", save(tmp_path / "2.tif", photo, 100), save(tmp_path / "3.tif", blank, 100)]
    made = finished(paths, tmp_path)
    assert images_of(made.path)[0] == (["/DCTDecode"], (tmp_path / "1.jpg").read_bytes())
    assert made.settings["blank"] == [3] and made.settings["pages"] == 3
    small = finished(paths, tmp_path, form="bitonal,without-blanks")
    filters = [filters for filters, _ in images_of(small.path)]
    assert filters == [["/CCITTFaxDecode"], ["/DCTDecode"]]
    assert ("scan.mixed-pages", {"name": "d1.pdf", "pages": [2]}) in small.notes
    assert ("scan.blank-left-out", {"name": "d1.pdf", "pages": [3]}) in small.notes
    assert small.settings["rules_broken"] == []
    with pikepdf.open(small.path) as file:
        black = pikepdf.PdfImage(next(iter(file.pages[0].get_images().values()))).as_pil_image()
    wanted = leaf.pixels < 140  # half way from the paper, 238, to the ink, 42
    assert np.mean((np.asarray(black) == 0) == wanted) > 0.985


def images_of(path):
    with pikepdf.open(path) as file:
        images = [next(iter(page.get_images().values())) for page in file.pages]
        return [([str(image.Filter)], image.read_raw_bytes()) for image in images]


@pytest.fixture(scope="module")
def lawful(tmp_path_factory):
    path = tmp_path_factory.mktemp("pdf") / "a.pdf"
    out = io.BytesIO()
    Image.new("RGB", (200, 100), "white").save(out, "jpeg")
    word = Word(text="naïve “外婆”\U0001f600", x=20, y=20, width=80, height=20, sure=90, line=0)
    page = Page(picture=out.getvalue(), width=200, height=100, ppi=(100, 50), words=(word,))
    write_pdf(path, [page], title="外婆的信", language="zh-Hans")
    assert broken_rules(path) == ()
    return path


def without_fonts(pdf):
    for thing in pdf.objects:
        if isinstance(thing, pikepdf.Dictionary) and thing.get("/Type") == "/FontDescriptor":
            for name in ("/FontFile2", "/FontFile3"):
                if name in thing:
                    del thing[name]


def without_meaning(pdf):
    for thing in pdf.objects:
        if isinstance(thing, pikepdf.Dictionary) and thing.get("/Subtype") == "/Type0":
            del thing["/ToUnicode"]


def packed_with_lzw(pdf):
    pdf.Root.Extra = pdf.make_stream(b"\x80\x0b\x60\x50\x22\x0c\x0c\x85\x01", Filter=pikepdf.Name.LZWDecode)


def not_srgb(pdf):
    pdf.Root.OutputIntents[0].DestOutputProfile = pdf.make_stream(b"no profile at all" * 9, N=3)


def other_claim(pdf):
    with pdf.open_metadata(set_pikepdf_as_editor=False) as about:
        about["pdfaid:part"] = "7"


def another_title(pdf):
    pdf.docinfo["/Title"] = "another title"


BROKEN = {
    "xmp": lambda pdf: pdf.Root.__delitem__("/Metadata"),
    "claim": other_claim,
    "info": another_title,
    "intent": lambda pdf: pdf.Root.__delitem__("/OutputIntents"),
    "intent-profile": not_srgb,
    "colour": lambda pdf: pdf.Root.OutputIntents[0].DestOutputProfile.__setitem__("/N", 4),
    "fonts": without_fonts,
    "unicode": without_meaning,
    "lzw": packed_with_lzw,
    "actions": lambda pdf: pdf.Root.__setitem__(
        "/OpenAction", pdf.make_indirect(pikepdf.Dictionary(S=pikepdf.Name.JavaScript, JS="app.alert(1)"))
    ),
    "actions-launch": lambda pdf: pdf.Root.__setitem__(
        "/OpenAction", pdf.make_indirect(pikepdf.Dictionary(S=pikepdf.Name.Launch, F="a"))
    ),
    "files": lambda pdf: pdf.Root.__setitem__("/Extra", pdf.make_stream(b"", F="elsewhere.bin")),
}


@pytest.mark.parametrize("name", BROKEN)
def test_each_rule_that_is_broken_is_named(tmp_path, lawful, name):
    with pikepdf.open(lawful) as pdf:
        BROKEN[name](pdf)
        pdf.save(tmp_path / "b.pdf", preserve_pdfa=False, compress_streams=False)
    assert broken_rules(tmp_path / "b.pdf") == (name.split("-")[0],)


def test_a_locked_one_and_one_without_its_id_are_named(tmp_path, lawful):
    with pikepdf.open(lawful) as pdf:
        pdf.save(tmp_path / "b.pdf", encryption=pikepdf.Encryption(owner="o", user=""))
    assert "encryption" in broken_rules(tmp_path / "b.pdf")
    data = lawful.read_bytes()
    (tmp_path / "c.pdf").write_bytes(data.replace(b"/ID [", b"/IX ["))
    assert broken_rules(tmp_path / "c.pdf") == ("id",)
    (tmp_path / "d.pdf").write_bytes(data[:400])
    assert broken_rules(tmp_path / "d.pdf") == ("readable",)


@pytest.mark.parametrize(
    ("size", "ppi", "small"),
    [((3300, 2550), 300.0, (1650, 1275)), ((3300, 2550), 118110.0, (412, 318)), ((90, 40), 9600.0, (90, 40))],
)
def test_a_page_is_looked_at_whatever_a_wrong_tag_says(size, ppi, small):
    assert small_grey(np.zeros(size, np.uint8), ppi).shape == small
