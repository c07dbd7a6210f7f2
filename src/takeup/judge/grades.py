"""No "do it again" rests on a value that nobody has looked up: it becomes "please look"."""

from __future__ import annotations

from dataclasses import replace

from takeup.streams import Finding, Report
from takeup.tables.rows import Rows


def not_from_memory(report: Report, rows: Rows) -> Report:
    """The report with every ``redo`` that rests on no row, or on rows of grade ``memory`` alone, made ``look``."""

    def judged(finding: Finding) -> Finding:
        grades = {rows[key].grade for key in finding.rows}
        return finding if finding.verdict != "redo" or grades - {"memory"} else replace(finding, verdict="look")

    return replace(report, findings=tuple(judged(finding) for finding in report.findings))
