"""Writes one searchable PDF from the pages of an item: each page its picture, with the words lying unseen under it.

It claims PDF/A-2u, and keeps the rules of ``media/pdf_rules.py``; no validator was run on it, and nothing says so.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from takeup.media.text_reading import Word

POINTS_PER_INCH = 72.0
FALLBACK_PPI = 300.0
CLAIM = "PDF/A-2U"


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A page for the PDF: its picture, its size [px], its resolution, the words read on it.

    ``picture``: a JPEG, whose bytes go in as they are, or a TIFF with CCITT Group 4.
    """

    picture: bytes
    width: int
    height: int
    ppi: tuple[float, float] | None
    words: tuple[Word, ...] = ()


def write_pdf(target: Path, pages: Iterable[Page], *, title: str, language: str) -> int:
    """Write the PDF; the number of its pages.

    Parameters
    ----------
    pages : iterable of Page
        In order; taken one by one.
    language : str
        ``en`` or ``zh-Hans``, for readers that speak the text aloud.
    """
    import pylopdf_fonts_zh_cn
    from fpdf import FPDF
    from fpdf.enums import TextMode

    pdf = FPDF(unit="pt", enforce_compliance=CLAIM)
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    pdf.set_title(title)
    pdf.set_lang(language)
    pdf.set_producer("takeup")
    pdf.set_creation_date(datetime.now(UTC))
    has_font, count = False, 0
    for page in pages:
        across, down = page.ppi or (FALLBACK_PPI, FALLBACK_PPI)
        width, height = page.width / across * POINTS_PER_INCH, page.height / down * POINTS_PER_INCH
        pdf.add_page(format=(width, height))
        pdf.image(io.BytesIO(page.picture), 0, 0, width, height)
        count += 1
        if not page.words:
            continue
        if not has_font:
            pdf.add_font("words", "", str(pylopdf_fonts_zh_cn.sans_path()))
            has_font = True
        with pdf.local_context(text_mode=TextMode.INVISIBLE):
            for word in page.words:
                _lay(pdf, word, POINTS_PER_INCH / across, POINTS_PER_INCH / down)
    pdf.output(str(target))
    return count


def _lay(pdf: object, word: Word, across: float, down: float) -> None:
    """Lay one word so that its box, as readers reckon it, has the middle and the width of the word on the page."""
    known = pdf.fonts["words"].cmap  # type: ignore[attr-defined]
    text = "".join(sign for sign in word.text if ord(sign) in known)  # PDF/A forbids the sign for signs a font lacks
    height = max(1.0, word.height * down)
    pdf.set_font("words", size=height)  # type: ignore[attr-defined]
    own = pdf.get_string_width(text)  # type: ignore[attr-defined]
    if not own:
        return
    pdf.set_stretching(100 * word.width * across / own)  # type: ignore[attr-defined]
    about = pdf.current_font.desc  # type: ignore[attr-defined]
    middle = (word.y + word.height / 2) * down
    baseline = middle + (about.ascent + about.descent) / 2000 * height
    pdf.text(word.x * across, baseline, text)  # type: ignore[attr-defined]
    pdf.set_stretching(100)  # type: ignore[attr-defined]
