"""Writes a sheet to print as PDF, A4: headings, steps with a drawing each, pairs of sentences, small print.

Set with the letters that came along, so that Chinese prints on a computer that has none of its own.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

EDGE_MM, DRAWN_MM, GAP_MM = 14.0, 38.0, 6.0
DRAWN_HIGH_MM = DRAWN_MM * 200 / 320
SHARP = 2.0  # pixels to a unit of the drawing


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """A line of large type. ``fresh``: on a page of its own; ``size`` in points."""

    text: str
    size: float = 20.0
    fresh: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Stepping:
    """A step: its number, its drawing (SVG text or empty), its sentence, its caution."""

    number: int
    svg: str
    text: str
    caution: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two sentences side by side."""

    left: str
    right: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A sentence across the page, in points of ``size``."""

    text: str
    size: float = 12.0


Part = Heading | Stepping | Pair | Line


def sheet_pdf(parts: Sequence[Part], *, title: str, language: str) -> bytes:
    """The PDF's bytes."""
    import pylopdf_fonts_zh_cn as letters
    from fpdf import FPDF

    pdf = FPDF(format="A4")
    pdf.set_margin(EDGE_MM)
    pdf.set_auto_page_break(True, margin=EDGE_MM)
    pdf.set_title(title)
    pdf.set_lang(language)
    pdf.set_producer("takeup")
    pdf.set_creation_date(datetime.now(UTC))
    pdf.add_font("sheet", "", str(letters.sans_path()))
    pdf.add_page()
    draw: dict[type, Any] = {Heading: _heading, Stepping: _step, Pair: _pair, Line: _line}
    for part in parts:
        draw[type(part)](pdf, part)
    return bytes(pdf.output())


def _heading(pdf: Any, part: Heading) -> None:
    if part.fresh:
        pdf.add_page()
    pdf.set_font("sheet", size=part.size)
    _set(pdf, 0, part.size * 0.5, part.text, new_x="LMARGIN")
    pdf.ln(2)


def _line(pdf: Any, part: Line) -> None:
    pdf.set_font("sheet", size=part.size)
    _set(pdf, 0, part.size * 0.52, part.text, new_x="LMARGIN")
    pdf.ln(1.5)


def _step(pdf: Any, part: Stepping) -> None:
    left = EDGE_MM + DRAWN_MM + GAP_MM
    wide = pdf.w - EDGE_MM - left
    text = f"{part.number}  {part.text}"
    high = _high(pdf, text, wide, 15.0) + (_high(pdf, part.caution, wide, 9.5) + 2 if part.caution else 0)
    high = max(high, DRAWN_HIGH_MM) + 6
    if pdf.get_y() + high > pdf.h - EDGE_MM:
        pdf.add_page()
    top = pdf.get_y()
    pdf.set_draw_color(124, 129, 138)
    pdf.line(EDGE_MM, top, pdf.w - EDGE_MM, top)
    if part.svg:
        pdf.image(io.BytesIO(_png(part.svg)), EDGE_MM, top + 3, DRAWN_MM, DRAWN_HIGH_MM)
    pdf.set_xy(left, top + 3)
    pdf.set_font("sheet", size=15.0)
    _set(pdf, wide, 15.0 * 0.52, text, new_x="LEFT")
    if part.caution:
        pdf.set_xy(left, pdf.get_y() + 1)
        pdf.set_font("sheet", size=9.5)
        _set(pdf, wide, 9.5 * 0.52, part.caution, new_x="LEFT")
    pdf.set_xy(EDGE_MM, top + high)


def _pair(pdf: Any, part: Pair) -> None:
    size = 10.0
    wide = (pdf.w - 2 * EDGE_MM - GAP_MM) / 2
    high = max(_high(pdf, part.left, wide, size), _high(pdf, part.right, wide, size)) + 3
    if pdf.get_y() + high > pdf.h - EDGE_MM:
        pdf.add_page()
    top = pdf.get_y()
    pdf.set_font("sheet", size=size)
    for x, text in ((EDGE_MM, part.left), (EDGE_MM + wide + GAP_MM, part.right)):
        pdf.set_xy(x, top)
        _set(pdf, wide, size * 0.52, text, new_x="LEFT")
    pdf.set_xy(EDGE_MM, top + high)


def _high(pdf: Any, text: str, wide: float, size: float) -> float:
    """How high a text runs in a column [mm]."""
    pdf.set_font("sheet", size=size)
    return float(_set(pdf, wide, size * 0.52, text, dry_run=True, output="HEIGHT"))


def _set(pdf: Any, wide: float, high: float, text: str, *, new_x: str = "LEFT", **more: Any) -> Any:
    """Set a text in a column; Han has no blanks, so its lines are broken at any sign."""
    han = any("\u3400" <= sign <= "\u9fff" for sign in text)
    wrap = "CHAR" if han else "WORD"
    return pdf.multi_cell(wide, high, text, align="L", wrapmode=wrap, new_x=new_x, new_y="NEXT", **more)


def _png(svg: str) -> bytes:
    import pyvips

    return bytes(pyvips.Image.svgload_buffer(svg.encode(), scale=SHARP).flatten(background=[255]).pngsave_buffer())
