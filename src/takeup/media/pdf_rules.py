"""Checks a PDF against what PDF/A-2u asks of scanned pages (ISO 19005-2): our own reading of the rules, no certificate.

Rules by their names: ``encryption``, ``id``, ``xmp``, ``claim``, ``info``, ``intent``, ``colour``, ``fonts``,
``unicode``, ``actions``, ``files``, ``lzw``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ACTIVE = {"/JavaScript", "/Launch", "/Sound", "/Movie", "/ResetForm", "/ImportData", "/URI", "/GoToR", "/SubmitForm"}
INFO = {"/Title": "dc:title", "/Author": "dc:creator", "/Subject": "dc:description", "/Keywords": "pdf:Keywords",
        "/Producer": "pdf:Producer", "/Creator": "xmp:CreatorTool", "/CreationDate": "xmp:CreateDate",
        "/ModDate": "xmp:ModifyDate"}  # fmt: skip
FONT_FILES = ("/FontFile", "/FontFile2", "/FontFile3")
DEVICE = {"/DeviceRGB": 3, "/DeviceGray": 1, "/DeviceCMYK": 4}


def broken_rules(path: Path) -> tuple[str, ...]:
    """The rules that a PDF breaks, in alphabetical order; ``("readable",)`` when it cannot be opened at all."""
    import pikepdf

    try:
        with pikepdf.open(path) as pdf:
            return tuple(sorted(set(_broken(pdf))))
    except (pikepdf.PdfError, OSError):
        return ("readable",)


def _broken(pdf: Any) -> Iterator[str]:
    if pdf.is_encrypted:
        yield "encryption"
    if "/ID" not in pdf.trailer or len(pdf.trailer.ID) != 2 or not bytes(pdf.trailer.ID[0]):
        yield "id"
    yield from _described(pdf)
    yield from _intended(pdf)
    yield from _objects(pdf)
    if "/AF" in pdf.Root or "/EmbeddedFiles" in pdf.Root.get("/Names", {}):
        yield "files"


def _described(pdf: Any) -> Iterator[str]:
    """XMP there and plain, its claim, and Info saying the same."""
    raw = pdf.Root.get("/Metadata")
    if raw is None or "/Filter" in raw:
        yield "xmp"
        return
    with pdf.open_metadata(set_pikepdf_as_editor=False, update_docinfo=False) as about:
        part, level = about.get("pdfaid:part"), about.get("pdfaid:conformance")
        if part != "2" or level not in ("B", "U", "A"):
            yield "claim"
        info = pdf.trailer.get("/Info", {})
        for key, name in INFO.items():
            if key in info and not _agree(str(info[key]), about.get(name), key):
                yield "info"


def _agree(said: str, other: Any, key: str) -> bool:
    if other is None:
        return not said
    text = ", ".join(other) if isinstance(other, (list, set)) else str(other)
    if not key.endswith("Date"):
        return said == text
    digits = [re.sub(r"\D", "", value.replace("Z", "").split("+")[0])[:14] for value in (said.removeprefix("D:"), text)]
    return digits[0][:12] == digits[1][:12]


def _intended(pdf: Any) -> Iterator[str]:
    """One output intent for PDF/A, with an ICC profile in it that is one."""
    own = [one for one in pdf.Root.get("/OutputIntents", []) if one.get("/S") == "/GTS_PDFA1"]
    profiles = [one.get("/DestOutputProfile") for one in own]
    good = [one for one in profiles if one is not None and one.read_bytes()[36:40] == b"acsp"]
    if not good or len(good) != len(own):
        yield "intent"
        return
    colours = int(good[0].get("/N", 0))
    for thing in pdf.objects:
        if _is(thing, "/Subtype", "/Image") and not thing.get("/ImageMask", False):
            needs = DEVICE.get(str(thing.get("/ColorSpace")), 1)
            if needs > 1 and needs != colours:
                yield "colour"


def _objects(pdf: Any) -> Iterator[str]:
    for thing in pdf.objects:
        if not _has_keys(thing):
            continue
        if _is(thing, "/Type", "/Font"):
            yield from _font(thing)
        filters = thing.get("/Filter", [])
        if "/LZWDecode" in ([str(filters)] if not _listed(filters) else [str(one) for one in filters]):
            yield "lzw"
        if str(thing.get("/S", "")) in ACTIVE or "/JS" in thing or "/AA" in thing:
            yield "actions"
        if "/F" in thing and _is_stream(thing):
            yield "files"  # what the stream holds lies outside of the file
        if _is(thing, "/Type", "/EmbeddedFile"):
            yield "files"


def _font(font: Any) -> Iterator[str]:
    """Embedded, invisible text too; every code with its meaning (level u)."""
    kind = str(font.get("/Subtype", ""))
    if kind == "/Type0":
        if "/ToUnicode" not in font:
            yield "unicode"
        return
    if kind == "/Type3":
        return
    about = font.get("/FontDescriptor")
    if about is None or not any(name in about for name in FONT_FILES):
        yield "fonts"
    if not kind.startswith("/CIDFont") and "/ToUnicode" not in font and "/Encoding" not in font:
        yield "unicode"


def _is(thing: Any, key: str, value: str) -> bool:
    return _has_keys(thing) and str(thing.get(key, "")) == value


def _has_keys(thing: Any) -> bool:
    import pikepdf

    return isinstance(thing, (pikepdf.Dictionary, pikepdf.Stream))


def _listed(value: Any) -> bool:
    import pikepdf

    return isinstance(value, (list, pikepdf.Array))


def _is_stream(thing: Any) -> bool:
    import pikepdf

    return isinstance(thing, pikepdf.Stream)
