"""Check a scan: look at every page of it, judge, and put what was found of all pages together."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from takeup.judge.scan import FAMILY, judge_scan
from takeup.judge.scan_session import packed
from takeup.measure.scan import miniature
from takeup.media.still import encode_still
from takeup.streams import CaptureFile, Finding, Measured, Report, Trace
from takeup.tables.rows import Rows
from takeup.tasks.checking import Asked
from takeup.tasks.scan_looks import look_through
from takeup.tasks.scan_twice import squares_of


def check_scan(path: Path, capture: CaptureFile, asked: Asked, rows: Rows) -> Report:
    """Measure and judge one scan: a bed, a page, a slide, or a file of pages. Writes nothing.

    Parameters
    ----------
    path, capture : Path, CaptureFile
        The file, and what ``media.still.look_at_still`` said of it.
    asked : Asked
        What is known of the item.
    rows : Rows
        Every table's rows.
    """
    assert capture.image is not None
    measures: dict[str, Measured] = {}
    findings: list[Finding] = []
    thumb, prints, specks, stills = b"", b"", b"", ()  # type: ignore[var-annotated]
    for page in range(capture.image.pages):
        seen, small = look_through(path, capture, page, asked.original.carrier, rows)
        figures, found = judge_scan(seen, asked.original, rows)
        findings += [_on_page(finding, page, capture.image.pages) for finding in found]
        if page == 0:
            measures = figures
            if small is not None:
                thumb = miniature.thumb(small)
                prints = squares_of(small, seen.pictures, FAMILY.get(asked.original.carrier, "print"))
                specks = packed(seen.machine.spots, (seen.image.width, seen.image.height), seen.image.ppi_stated)
                stills = (encode_still(small.pixels, longest_px=1200),) if asked.stills else ()
    if capture.image.pages > 1:
        measures["pages"] = Measured(value=capture.image.pages, unit="count")
    return Report(
        medium="scan",
        seconds=None,
        measures=measures,
        findings=merged(findings),
        trace=Trace(thumb=thumb, prints=prints, specks=specks),
        stills=stills,
    )


def _on_page(finding: Finding, page: int, pages: int) -> Finding:
    return finding if pages == 1 else replace(finding, facts=dict(finding.facts) | {"page": page + 1, "pages": pages})


def merged(findings: list[Finding]) -> tuple[Finding, ...]:
    """One finding for each kind and verdict: several prints cut off, several pages tilted are one line.

    The first keeps its place; the facts count how many there were and on which pages.
    """
    kept: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in findings:
        place = "" if finding.name not in ("split_unsure", "cut_off", "streak", "banding") else str(finding.area)
        kept.setdefault((finding.name, finding.says + place, finding.verdict), []).append(finding)
    joined = []
    for same in kept.values():
        pages = [finding.facts["page"] for finding in same if "page" in finding.facts]
        facts = dict(same[0].facts) | ({"on_pages": pages} if pages else {})
        joined.append(replace(same[0], facts=facts))
    return tuple(joined)
