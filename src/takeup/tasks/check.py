"""Check one capture, or every capture of a box: open once, measure, judge; in a box compare tries and remember."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from takeup import __version__
from takeup.box.folder import Box, work_in
from takeup.box.record import Fact
from takeup.errors import NotPossible, TakeupError, Unreadable
from takeup.judge.again import SAME_START, align, another_number, other_side, thumb_likeness, tried_twice
from takeup.judge.grades import not_from_memory
from takeup.media.probe import look_at
from takeup.plan.paging import missing_numbers
from takeup.plan.scan_finishing import is_pages
from takeup.settings import Settings
from takeup.streams import CaptureFile, Finding, Original, Report
from takeup.tables.loader import load_rows
from takeup.tables.rows import Rows
from takeup.tasks.checking import Asked
from takeup.tasks.ears import SILENT, Ears
from takeup.tasks.reporting import facts_from, report_from


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """One capture and what its check gave. ``refused`` instead of a report where the file cannot be judged."""

    path: Path
    original: Original
    capture: CaptureFile | None
    report: Report | None
    refused: TakeupError | None = None
    repeats: str = ""  # stored path of the earlier capture of the same stretch
    sha256: str = ""  # of the stored capture


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxChecked:
    """All captures of a box, and what several show together."""

    box: Path
    checked: tuple[Checked, ...]
    box_findings: tuple[tuple[Finding, tuple[Path, ...]], ...]


def check_file(path: Path, asked: Asked, seen: CaptureFile | None = None) -> tuple[CaptureFile, Report]:
    """Measure and judge one capture file. Writes nothing.

    Parameters
    ----------
    seen : CaptureFile, optional
        What it is, where that was found out before (an open MOV says it only by its media data).

    Raises
    ------
    Unreadable
        If it is not a capture, or holds another medium than its carrier's.
    """
    rows = load_rows()
    wanted = medium_of(asked.original.carrier, rows)
    capture = seen or look_at(path)
    found = medium_in(capture)
    if found != ("moving" if wanted in ("video", "film") else wanted):
        raise Unreadable(
            "capture.other-medium",
            path=str(path),
            found=f"@medium.{found}",
            wanted=f"@medium.{wanted}",
            carrier=f"@carrier.{asked.original.carrier}",
        )
    return capture, not_from_memory(checker_of(wanted)(path, capture, asked, rows), rows)


def checker_of(medium: str) -> Callable[..., Report]:
    """The check of one medium; imported when it is wanted, for each drags in its own libraries."""
    return getattr(importlib.import_module(f"takeup.tasks.check_{medium}"), f"check_{medium}")


def medium_of(carrier: str, rows: Rows) -> str:
    """What a capture of this carrier is: sound, video, film or scan.

    Raises
    ------
    NotPossible
        If takeup knows no such carrier, or none of its stations plays it.
    """
    key = f"carriers.{carrier}.medium"
    if key not in rows or not rows.value(key):
        played = [name for name in rows.names("carriers") if rows.value(f"carriers.{name}.medium")]
        raise NotPossible("carrier.unknown", carrier=carrier, known=", ".join(played))
    return rows.value(key)


def medium_in(capture: CaptureFile) -> str:
    """What a file holds: moving, sound or scan."""
    if capture.picture is not None:
        return "moving"
    return "sound" if capture.sound is not None else "scan"


def check_box(
    folder: Path,
    settings: Settings,
    *,
    item: str = "",
    anew: bool = False,
    ask: Callable[[Original], Asked],
    ears: Ears = SILENT,
) -> BoxChecked:
    """Check every capture of a box that was not yet checked as it lies there; compare tries; remember.

    Parameters
    ----------
    item : str
        Only this item's captures.
    anew : bool
        Check also what was checked before.
    ask : callable
        What is known of an item, as an :class:`Asked`.
    """
    rows = load_rows()
    with work_in(folder, "check", settings) as box:
        originals = {original.id: original for original in box.originals()}
        if item and item not in originals:
            raise NotPossible("box.no-such-item", path=str(box.folder), item=item, known=", ".join(originals))
        taken = [fact for fact in box.record.latest("taken") if not item or fact.item == item]
        done = {fact.key: fact for fact in box.record.latest("checked")}
        results: list[Checked] = []
        for at, fact in enumerate(taken):
            ears.progress(box.name, at, len(taken), "files")
            results.append(_check_taken(box, fact, originals[fact.item], done, results, rows, anew, ask, settings))
        ears.progress(box.name, len(taken), len(taken), "files")
        together = _duplicates(box, results, rows) + _glass_dirt(results, rows) + _missing_pages(taken, results)
        together += _ghosts(results, rows)
        return BoxChecked(box=box.folder, checked=tuple(results), box_findings=together)


def _check_taken(
    box: Box,
    fact: Fact,
    original: Original,
    done: dict[str, Fact],
    before: list[Checked],
    rows: Rows,
    anew: bool,
    ask: Callable[[Original], Asked],
    settings: Settings,
) -> Checked:
    """One stored capture: from the record when it was checked as it is, else measured now and remembered."""
    stored, sha256 = fact.facts["stored"], fact.facts["sha256"]
    path = box.path(stored)
    known = done.get(stored)
    try:
        if known and not anew and known.facts["sha256"] == sha256 and known.facts["by"] == __version__:
            return Checked(
                path=path,
                original=original,
                capture=look_at(path),
                report=report_from(known.facts["report"]),
                repeats=known.facts.get("repeats", ""),
                sha256=sha256,
            )
        capture, report = check_file(path, ask(original))
    except TakeupError as refused:
        return Checked(path=path, original=original, capture=None, report=None, refused=refused)
    report = _beside_last_scans(box, fact, original.carrier, report, before, rows, settings)
    report, repeats = _in_the_light_of_earlier(box, fact, report, before, rows)
    facts = {"sha256": sha256, "by": __version__, "report": facts_from(report), "repeats": repeats}
    box.record.append("checked", facts, item=fact.item, key=stored)
    return Checked(path=path, original=original, capture=capture, report=report, repeats=repeats, sha256=sha256)


def remember_report(
    folder: Path, settings: Settings, *, stored: Path, sha256: str, carrier: str, report: Report
) -> bool:
    """Remember a check that was made at the station, so that the stored capture need not be measured again.

    Parameters
    ----------
    stored : Path
        The capture in the box, of which ``report`` was made before it was taken.
    carrier : str
        What it was measured as.

    Returns
    -------
    bool
        False when the item is of another carrier, or the box holds no such capture: it must be checked there.
    """
    with work_in(folder, "check", settings) as box:
        originals = {original.id: original for original in box.originals()}
        done = {fact.key: fact for fact in box.record.latest("checked")}
        before: list[Checked] = []
        for fact in box.record.latest("taken"):
            original = originals[fact.item]
            known = done.get(fact.key)
            if box.path(fact.facts["stored"]) == stored and fact.facts["sha256"] == sha256:
                if known and known.facts["sha256"] == sha256 and known.facts["by"] == __version__:
                    return True
                if original.carrier != carrier:
                    return False
                rows = load_rows()
                report = _beside_last_scans(box, fact, carrier, report, before, rows, settings)
                report, repeats = _in_the_light_of_earlier(box, fact, report, before, rows)
                facts = {"sha256": sha256, "by": __version__, "report": facts_from(report), "repeats": repeats}
                box.record.append("checked", facts, item=fact.item, key=fact.key)
                return True
            if known and known.facts["sha256"] == fact.facts["sha256"]:
                earlier = report_from(known.facts["report"])
                path = box.path(fact.facts["stored"])
                before.append(
                    Checked(path=path, original=original, capture=None, report=earlier, sha256=known.facts["sha256"])
                )
        return False


def _beside_last_scans(
    box: Box, fact: Fact, carrier: str, report: Report, before: Sequence[Checked], rows: Rows, settings: Settings
) -> Report:
    """A scan compared with the same station's last ones of the same carrier: its focus, the white of its lid."""
    if report.medium != "scan":
        return report
    from takeup.tasks.scan_history import compared

    stations = {taken.key: taken.facts.get("station", "") for taken in box.record.latest("taken")}
    here = stations.get(fact.key, "")
    in_box = [
        (one.sha256, one.report)
        for one in before
        if one.report is not None
        and one.original.carrier == carrier
        and stations.get(box.relative(one.path), "") == here
    ]
    return compared(
        box.folder, settings, station=here, sha256=fact.facts["sha256"], carrier=carrier, report=report, in_box=in_box,
        rows=rows,
    )  # fmt: skip


def _in_the_light_of_earlier(
    box: Box, fact: Fact, report: Report, before: list[Checked], rows: Rows
) -> tuple[Report, str]:
    """Compare a capture with the latest earlier one of the same stretch of the same item."""
    parts = {earlier.facts["stored"]: earlier.facts["part"] for earlier in box.record.latest("taken", fact.item)}
    for earlier in reversed(before):
        stored = box.relative(earlier.path)
        if stored not in parts or earlier.report is None or other_side(parts[stored], fact.facts["part"]):
            continue
        if another_number(parts[stored], fact.facts["part"]) and earlier.report.verdict != "redo":
            continue  # page 2 that shows page 1 again is a slip, not another try of a good page 1
        alignment = align(report.trace, earlier.report.trace, rows)
        # Where content cannot tell (a silent first try), the same part named again after a redo is a new try.
        named_again = parts[stored] == fact.facts["part"] and earlier.report.verdict == "redo"
        if alignment or named_again or _same_picture(box.path(fact.facts["stored"]), report, earlier, rows):
            return tried_twice(report, earlier.report, alignment or SAME_START, rows), stored
    return report, ""


def _same_picture(path: Path, report: Report, earlier: Checked, rows: Rows) -> bool:
    """Whether two scans show the same page or bed: alike in miniature, and alike in their fine detail."""
    if thumb_likeness(report.trace, earlier.report.trace) < rows.value("again.scan.candidate"):
        return False
    from takeup.measure.scan.sameness import sameness
    from takeup.media.still import read_miniature

    likeness = sameness(read_miniature(path), read_miniature(earlier.path))
    return likeness >= rows.value("again.scan.likeness")


def _duplicates(box: Box, results: Sequence[Checked], rows: Rows) -> tuple[tuple[Finding, tuple[Path, ...]], ...]:
    """Captures of different items or sides that hold the same recording; tries of one stretch are not duplicates."""
    found = []
    for at, later in enumerate(results):
        for earlier in results[:at]:
            if later.report is None or earlier.report is None or later.report.medium != earlier.report.medium:
                continue
            if _first_try(later, results, box) == _first_try(earlier, results, box):
                continue
            if (
                later.sha256 == earlier.sha256
                or align(later.report.trace, earlier.report.trace, rows)
                or (not later.report.trace.prints and _same_picture(later.path, later.report, earlier, rows))
            ):
                facts = {"of": earlier.path.name}
                finding = Finding(
                    name="duplicate", verdict="look", again="no", facts=facts, rows=("again.align.likeness",)
                )
                found.append((finding, (later.path, earlier.path)))
                break
    if sum(bool(one.report and one.report.trace.prints) for one in results) > 1:
        from takeup.tasks.scan_twice import print_duplicates

        known = {paths for _, paths in found}

        def apart(later: Checked, earlier: Checked) -> bool:
            return (later.path, earlier.path) not in known and (
                _first_try(later, results, box) != _first_try(earlier, results, box)
            )

        found += print_duplicates(results, rows, apart=apart)
    return tuple(found)


def _missing_pages(taken: Sequence[Fact], results: Sequence[Checked]) -> tuple[tuple[Finding, tuple[Path, ...]], ...]:
    """Items of pages whose file names count on over a page that is not there."""
    found = []
    for original in {one.original.id: one.original for one in results if is_pages(one.original)}.values():
        missing = missing_numbers(fact.facts["part"] for fact in taken if fact.item == original.id)
        if missing:
            facts = {"item": original.id, "missing": [str(number) for number in missing], "count": len(missing)}
            finding = Finding(
                name="part_missing", verdict="look", again="helps", says="part_missing.pages", value=len(missing),
                unit="pages", facts=facts, rows=("scan.pages.counted",),
            )  # fmt: skip
            found.append((finding, tuple(one.path for one in results if one.original.id == original.id)))
    return tuple(found)


def _ghosts(results: Sequence[Checked], rows: Rows) -> tuple[tuple[Finding, tuple[Path, ...]], ...]:
    """Pages that show their other side, where that was scanned too."""
    if sum(is_pages(one.original) for one in results) < 2:
        return ()
    from takeup.tasks.scan_ghosts import ghosts_between

    return tuple(ghosts_between(results, rows))


def _glass_dirt(results: Sequence[Checked], rows: Rows) -> tuple[tuple[Finding, tuple[Path, ...]], ...]:
    """Dirt that stays at its place of the glass while what lies on it changes."""
    scans = [one for one in results if one.report is not None and one.report.trace.specks]
    if len(scans) < rows.value("scan.glass_dirt.scans"):
        return ()
    from takeup.judge.scan import FAMILY
    from takeup.judge.scan_session import glass_dirt

    traces = [(FAMILY.get(one.original.carrier, "print"), one.report.trace) for one in scans if one.report is not None]
    found = glass_dirt(traces, rows)
    return tuple((one.finding, tuple(scans[number].path for number in one.scans)) for one in found)


def _first_try(one: Checked, results: Sequence[Checked], box: Box) -> Path:
    """The first capture of the stretch that this one tries again."""
    by_stored = {box.relative(other.path): other for other in results}
    while one.repeats in by_stored:
        one = by_stored[one.repeats]
    return one.path
