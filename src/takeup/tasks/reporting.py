"""A report as the record keeps it (language-neutral) and as an answer tells it (worded)."""

from __future__ import annotations

import base64
import zlib
from collections.abc import Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any

from takeup.judge.sound_notice import Notice
from takeup.streams import CaptureFile, Finding, Measured, Report, Trace, worst
from takeup.words.sentences import say

if TYPE_CHECKING:
    from takeup.tasks.check import BoxChecked

TRACE_BYTES = ("level", "recorded", "luma", "thumb", "prints", "specks")
ONLY_OF_SCANS = ("prints", "specks")
TRACE_FINE = {"strip": ("strip_step_s", "strip_hz"), "floor": ("floor_step_s",)}  # packed: a strip is some 60 kB


def facts_from(report: Report) -> dict[str, Any]:
    """What the record keeps of a report: everything but the small pictures."""
    return {
        "medium": report.medium,
        "seconds": report.seconds,
        "verdict": report.verdict,
        "measures": {name: _fields(measured) for name, measured in report.measures.items()},
        "findings": [_fields(finding) for finding in report.findings],
        "left_out": [list(part) for part in report.left_out],
        "trace": {"step_s": report.trace.step_s}
        | {
            name: base64.b64encode(getattr(report.trace, name)).decode()
            for name in TRACE_BYTES
            if name not in ONLY_OF_SCANS or getattr(report.trace, name)
        }
        | _fine_facts(report.trace),
    }


def report_from(facts: Mapping[str, Any]) -> Report:
    """The report that the record kept."""
    trace = facts["trace"]
    return Report(
        medium=facts["medium"],
        seconds=facts["seconds"],
        measures={name: Measured(**measured) for name, measured in facts["measures"].items()},
        findings=tuple(finding_from(finding) for finding in facts["findings"]),
        left_out=tuple((kind, seconds) for kind, seconds in facts["left_out"]),
        trace=Trace(
            step_s=trace["step_s"],
            **{name: base64.b64decode(trace.get(name, "")) for name in TRACE_BYTES},
            **_fine_from(trace),
        ),
    )


def finding_facts(finding: Finding) -> dict[str, Any]:
    """A finding as plain facts, free of language."""
    return _fields(finding)


def finding_from(facts: Mapping[str, Any]) -> Finding:
    """The finding that plain facts tell of; names of a later takeup are passed over."""
    known = {field.name: facts[field.name] for field in fields(Finding) if field.name in facts}
    return Finding(**known | {"area": known.get("area") and tuple(known["area"]), "rows": tuple(known.get("rows", ()))})


def _fine_facts(trace: Trace) -> dict[str, Any]:
    """The strip and the floor over time, packed, each with what it needs to be read; nothing where there is none."""
    facts: dict[str, Any] = {}
    for name, needs in TRACE_FINE.items():
        if held := getattr(trace, name):
            facts[name] = base64.b64encode(zlib.compress(held, 9)).decode()
            facts |= {need: getattr(trace, need) for need in needs}
    return facts


def _fine_from(trace: Mapping[str, Any]) -> dict[str, Any]:
    """What :func:`_fine_facts` kept; records older than it hold none."""
    found: dict[str, Any] = {}
    for name, needs in TRACE_FINE.items():
        if trace.get(name):
            found[name] = zlib.decompress(base64.b64decode(trace[name]))
            found |= {need: tuple(trace[need]) if isinstance(trace[need], list) else trace[need] for need in needs}
    return found


def answer_from(report: Report, *, file: str, carrier: str, capture: CaptureFile, lang: str) -> dict[str, Any]:
    """One capture's report as the contract's ``check --json`` tells it."""
    answer: dict[str, Any] = {"file": file, "carrier": carrier, "medium": report.medium, "bytes": capture.bytes}
    return answer | {
        "seconds": report.seconds,
        "container": capture.container,
        "measures": {name: measure_answer(measured, lang) for name, measured in report.measures.items()},
        "findings": [finding_answer(finding, lang) for finding in report.findings],
        "left_out": dict(report.left_out),
        "verdict": report.verdict,
    }


def box_answer(checked: BoxChecked, lang: str) -> dict[str, Any]:
    """A whole box's reports as the contract's ``check BOX --json`` tells them."""
    files, unreadable = [], []
    for one in checked.checked:
        about = {"item": one.original.id}
        if one.report is None or one.capture is None:
            why = say("faults", one.refused.key, lang, one.refused.facts) if one.refused else ""
            unreadable.append(about | {"file": str(one.path), "why": why})
            continue
        answer = answer_from(
            one.report, file=str(one.path), carrier=one.original.carrier, capture=one.capture, lang=lang
        )
        files.append(about | answer | ({"repeats": str(checked.box / one.repeats)} if one.repeats else {}))
    together = [
        finding_answer(finding, lang)
        | {"files": [str(path) for path in paths]}
        | ({"of": str(paths[-1])} if finding.name == "duplicate" else {})
        for finding, paths in checked.box_findings
    ]
    verdicts = [entry["verdict"] for entry in files + together] + ["redo" for _ in unreadable]
    return {
        "box": str(checked.box),
        "files": files,
        "box_findings": together,
        "unreadable": unreadable,
        "verdict": worst(verdicts),
    }


def event_answer(facts: Mapping[str, Any], lang: str) -> dict[str, Any]:
    """Facts of an event with a notice and ``@why.key`` turned into sentences."""
    answer = dict(facts)
    for name, value in facts.items():
        if isinstance(value, str) and value.startswith("@why."):
            answer[name] = say("whys", value[5:], lang)
        elif isinstance(value, Notice):
            words = {"why": say("notices", value.says, lang, value.facts)}
            words["do"] = say("notices", value.says, lang, value.facts, part="do")
            answer[name] = {"name": value.says} | words
    return answer


def measure_answer(measured: Measured, lang: str) -> dict[str, Any]:
    """One figure; a figure that could not be taken says why in words."""
    answer: dict[str, Any] = {"value": measured.value, "unit": measured.unit} | dict(measured.extra)
    if measured.why:
        answer["why"] = say("whys", measured.why, lang, measured.why_facts)
    return answer


def finding_answer(finding: Finding, lang: str) -> dict[str, Any]:
    """One finding with its sentences: ``why`` (what it is, how sure, usual cause), ``do`` (at the machine now)."""
    answer: dict[str, Any] = {"name": finding.name, "verdict": finding.verdict}
    if finding.from_s is not None:
        answer |= {"from_s": finding.from_s, "to_s": finding.to_s}
    if finding.area is not None:
        answer["area"] = list(finding.area)
    answer |= {"value": finding.value, "unit": finding.unit, "again": finding.again}
    why, do = sentences_of(finding, lang)
    return answer | {"why": why, "do": do, "rests_on": list(finding.rows)}


def sentences_of(finding: Finding, lang: str) -> tuple[str, str]:
    """What was noticed, and what to do now."""
    facts = dict(finding.facts) | {
        "from_s": finding.from_s,
        "to_s": finding.to_s,
        "value": finding.value,
        "unit": finding.unit,
    }
    key = finding.says or finding.name
    why = say("findings", key, lang, facts)
    if finding.facts.get("both_times"):
        return f"{why} {say('findings', 'both-times', lang, facts)}".strip(), say(
            "findings", "both-times", lang, facts, part="do"
        )
    return why, say("findings", key, lang, facts, part="do")


def _fields(value: Any) -> dict[str, Any]:
    plain = {field.name: getattr(value, field.name) for field in fields(value)}
    return {name: dict(entry) if isinstance(entry, Mapping) else entry for name, entry in plain.items()}
