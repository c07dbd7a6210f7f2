"""QR codes as SVG: what is on slips and stickers, and what a phone scans from the librarian's screen."""

from __future__ import annotations

import base64
import io

import segno

QUIET_MODULES = 4  # ISO/IEC 18004: the light border that a reader needs


def qr_svg(text: str, *, sturdy: bool = False) -> str:
    """A QR code as one SVG picture that scales.

    Parameters
    ----------
    text : str
        What a reader gets; ASCII for codes that are printed small.
    sturdy : bool
        A quarter of it may be worn off (level Q), for what is stuck on an original; else 15 per cent (level M).

    Raises
    ------
    ValueError
        When the text is longer than a code holds.
    """
    made = io.BytesIO()
    code = segno.make(text, error="q" if sturdy else "m", micro=False, boost_error=False)
    code.save(made, kind="svg", border=QUIET_MODULES, xmldecl=False, omitsize=True, dark="#000", light="#fff")
    return made.getvalue().decode("utf-8")


def qr_data(text: str, *, sturdy: bool = False) -> str:
    """The same as an address that an ``<img>`` takes, so that a slip is one page and nothing else is fetched."""
    return "data:image/svg+xml;base64," + base64.b64encode(qr_svg(text, sturdy=sturdy).encode()).decode()
