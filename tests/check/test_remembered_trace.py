"""The miniature of a sound in the record: it comes back as it was, old records are read, and it stays small."""

from __future__ import annotations

import json

from make.family import WORN, sound_report

from takeup.streams import Trace
from takeup.tasks.reporting import facts_from, report_from


def remembered(report):
    return report_from(json.loads(json.dumps(facts_from(report))))


def test_strip_and_floor_come_back_as_they_were():
    report = sound_report(600, [WORN], recorded_to=500)
    assert report.trace.strip and report.trace.floor
    assert remembered(report).trace == report.trace


def test_record_of_an_older_release_is_read_and_has_no_strip():
    facts = facts_from(sound_report(600))
    facts["trace"] = {name: facts["trace"][name] for name in ("step_s", "level", "recorded", "luma", "thumb")}
    trace = report_from(facts).trace
    assert (trace.strip, trace.strip_hz, trace.floor) == (b"", (), b"") and trace.level


def test_trace_without_a_strip_leaves_nothing_in_the_record():
    from dataclasses import replace

    facts = facts_from(replace(sound_report(60), trace=Trace(level=b"\1")))
    assert set(facts["trace"]) == {"step_s", "level", "recorded", "luma", "thumb"}


def test_side_of_45_minutes_is_remembered_in_less_than_its_bytes():
    """A strip of random octaves would not pack; talk over hiss does, base64 and all."""
    report = sound_report(2700)
    kept = facts_from(report)["trace"]
    assert len(kept["strip"]) < len(report.trace.strip)
