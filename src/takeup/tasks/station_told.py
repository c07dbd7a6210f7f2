"""What a station's takeup tells the desk, taken in: captures, findings and their questions, in order and each once."""

from __future__ import annotations

from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from takeup.box.folder import look_into
from takeup.errors import TakeupError
from takeup.lab import live
from takeup.lab.asked import ask_somebody
from takeup.lab.port import Lab, add, one
from takeup.lab.schema import ASKED, BOX, CAPTURE
from takeup.settings import Settings
from takeup.streams import Original
from takeup.tasks.reporting import finding_from, report_from, sentences_of
from takeup.tasks.watch_words import in_both, notice_from, why_of
from takeup.words.sentences import say

Heard = tuple[str, dict[str, Any], int | None]  # kind, what pages hear, its number
MOST_NAME = 255
ID_SIGNS = frozenset("0123456789abcdef")


def take_in_events(lab: Lab, station_id: str, sent: dict[str, Any]) -> tuple[int, list[Heard]]:
    """Keep those events of a batch that are next in line.

    Parameters
    ----------
    sent : dict
        ``stream``, ``first`` (the lowest number that the station still has), ``now`` (its clock), ``events``: each with
        ``number``, ``kind``, ``capture``, ``at``, ``facts``.

    Returns
    -------
    tuple
        The number up to which everything is here, and what pages are to hear.
    """
    stream = f"{station_id}/{str(sent['stream'])[:64]}"
    ahead = _ahead(str(sent.get("now", "")))
    heard: list[Heard] = []
    with lab.writing() as db:
        come_to = before = live.come_to(db, stream) or 0
        for event in sent["events"]:
            number = int(event["number"])
            if number <= come_to:
                continue
            if number != come_to + 1 and number != int(sent["first"]):
                break  # some before it are on their way
            come_to = number
            at = _moved(str(event["at"]), ahead)
            turn = db.begin_nested()
            try:
                heard += _Turn(db, station_id, stream, number, at, event).take_in()
                turn.commit()
            except (KeyError, TypeError, ValueError, AttributeError, OverflowError, sa.exc.DBAPIError):
                turn.rollback()  # not a thing that this desk understands: passed over, so that the rest can come
        if come_to != before:
            live.note_come(db, stream, come_to)
    return come_to, heard


def _ahead(station_now: str) -> float:
    """How far this clock is ahead of the station's [s]."""
    try:
        return (datetime.now(UTC) - datetime.fromisoformat(station_now)).total_seconds()
    except (ValueError, TypeError, OverflowError):
        return 0.0


def _moved(at: str, ahead_s: float) -> str:
    try:
        moment = datetime.fromisoformat(at).timestamp() + ahead_s
        return datetime.fromtimestamp(moment, UTC).isoformat(timespec="milliseconds")
    except (ValueError, TypeError, OverflowError, OSError):
        return datetime.now(UTC).isoformat(timespec="milliseconds")


class _Turn:
    """One event."""

    def __init__(self, db: sa.Connection, station_id: str, stream: str, number: int, at: str, event: dict) -> None:
        self.db, self.station, self.stream, self.number, self.at = db, station_id, stream, number, at
        self.kind, self.capture_id, self.sent = str(event["kind"]), str(event["capture"]), dict(event["facts"])

    def take_in(self) -> list[Heard]:
        if self.kind == "said":
            return [self._said()]
        if not 8 <= len(self.capture_id) <= 40 or not set(self.capture_id) <= ID_SIGNS:
            raise ValueError(self.capture_id)
        row = one(self.db, CAPTURE, CAPTURE.c.id == self.capture_id)
        if row is not None and row["station_id"] != self.station:
            raise ValueError("another station's")
        if self.kind == "begin":
            return [self._begin(row)]
        if row is None:
            raise ValueError("never begun")
        return {"finding": self._finding, "end": self._end, "whole": self._whole, "lost": self._lost}[self.kind](row)

    def _kept(self, facts: dict[str, Any], *, of_capture: bool = True) -> Heard:
        capture_id = self.capture_id if of_capture else None
        seq = live.keep_event(
            self.db, self.station, self.stream, self.number, self.kind, facts, capture_id=capture_id, at=self.at
        )
        return self.kind, facts, seq

    def _change(self, **values: Any) -> None:
        values |= {"heard_at": self.at, "version": CAPTURE.c.version + 1}
        self.db.execute(CAPTURE.update().where(CAPTURE.c.id == self.capture_id).values(**values))

    def _said(self) -> Heard:
        names = [str(name)[:MOST_NAME] for name in self.sent.get("names", [])[:200]]
        facts = self.sent | {"names": names}
        words = in_both(lambda lang: why_of("said", facts, lang))
        return self._kept({"what": str(facts["what"]), "names": names, "words": words}, of_capture=False)

    def _begin(self, row: dict[str, Any] | None) -> Heard:
        sent = self.sent
        name = str(sent["name"])[:MOST_NAME]
        about = {"path": str(sent["path"])[:4096], "carrier": str(sent["carrier"]), "family": str(sent["family"])}
        if row is None:
            sits = live.sitting_at(self.db, self.station, self.at) or {}
            known = {"sitting_id": sits.get("id"), "box_id": sits.get("box_id") if sits.get("item") else None}
            row = {
                "id": self.capture_id, "station_id": self.station, "item": sits.get("item", "") or "",
                "part": sits.get("part", "") or str(sent.get("part", ""))[:20], "begun_at": self.at, "facts": about,
            } | known  # fmt: skip
            add(self.db, CAPTURE, **row, name=name, state="growing", heard_at=self.at)
        else:
            begun = {"state": "growing", "received": 0, "sha256": "", "verdict": "", "why": "", "name": name}
            self._change(**begun, facts={name: fact for name, fact in row["facts"].items() if name != "report"} | about)
        facts = {
            "capture": self.capture_id, "name": name, "box": _number(self.db, row["box_id"]), "item": row["item"],
            "part": row["part"], "carrier": about["carrier"], "medium": about["family"], "sitting": row["sitting_id"],
            "at": self.at, "anew": bool(sent.get("anew")),
        }  # fmt: skip
        return self._kept(facts)

    def _finding(self, row: dict[str, Any]) -> list[Heard]:
        finding = dict(self.sent["finding"])
        _check_finding(finding)
        known, key = finding_from(finding), f"{self.capture_id}/{finding['name']}/{finding['from_s']}"
        words = in_both(lambda lang: _sentences(known, lang))
        facts = {
            "capture": self.capture_id, "box": _number(self.db, row["box_id"]), "item": row["item"], "key": key,
            "finding": finding, "words": words, "asked": None,
        }  # fmt: skip
        if known.verdict == "redo":
            facts["asked"] = ask_somebody(
                self.db, self.station, "finding", key, verdict="redo", facts=facts, capture_id=self.capture_id,
                box_id=row["box_id"], item=row["item"],
            )  # fmt: skip
            unanswered = ASKED.update().where(ASKED.c.id == facts["asked"], ASKED.c.answered_at.is_(None))
            self.db.execute(unanswered.values(facts=facts))  # it may have ended meanwhile
        self._change()
        return [self._kept(facts)]

    def _end(self, row: dict[str, Any]) -> list[Heard]:
        report, fault = self.sent.get("report"), self.sent.get("fault")
        known = report_from(report) if report else None
        verdict, seconds = (known.verdict, known.seconds) if known else ("", None)
        about = {"by": str(self.sent.get("by", "")), "carrier": str(self.sent["carrier"]), "report": report}
        bytes_ = int(self.sent["bytes"])
        state = "whole" if row["state"] == "growing" else row["state"]
        self._change(seconds=seconds, bytes=bytes_, verdict=verdict, state=state, facts=row["facts"] | about)
        facts = {
            "capture": self.capture_id, "box": _number(self.db, row["box_id"]), "item": row["item"], "seconds": seconds,
            "bytes": bytes_, "verdict": verdict, "findings": len(report["findings"]) if report else 0,
            "words": in_both(lambda lang: why_of("end", {"fault": fault}, lang)) if fault else None,
        }  # fmt: skip
        return [self._kept(facts)]

    def _whole(self, row: dict[str, Any]) -> list[Heard]:
        sha256, bytes_ = str(self.sent["sha256"]), int(self.sent["bytes"])
        if len(sha256) != 64 or not set(sha256) <= ID_SIGNS:
            raise ValueError(sha256)
        about = {"path": str(self.sent["path"])[:4096], "modified_ns": int(self.sent["modified_ns"])}
        self._change(sha256=sha256, bytes=bytes_, facts=row["facts"] | about)
        heard = [self._kept({"capture": self.capture_id, "bytes": bytes_, "sha256": sha256})]
        if (row["box_id"] is None or not row["item"]) and row["sha256"] != sha256:
            facts = {"capture": self.capture_id, "name": row["name"], "bytes": bytes_}
            seq = live.note_event(self.db, self.station, "for-whom", facts, capture_id=self.capture_id)
            heard.append(("for-whom", facts, seq))
        return heard

    def _lost(self, row: dict[str, Any]) -> list[Heard]:
        if row["state"] != "taken":
            self._change(state="lost", why=str(self.sent["what"]))
        facts = {"what": str(self.sent["what"]), "name": row["name"]}
        words = in_both(lambda lang: why_of("lost", facts, lang))
        return [self._kept({"capture": self.capture_id, "what": facts["what"], "words": words})]


def progress_for_pages(sent: dict[str, Any]) -> dict[str, Any]:
    """Meters of one capture as pages hear them; the station's notice in both languages.

    Raises
    ------
    KeyError, TypeError, ValueError, AttributeError
        When it is nothing of the kind.
    """
    notice, why = notice_from(sent.get("notice")), str(sent.get("why") or "")
    told = None
    if notice is not None:
        told = {"name": notice.says, "words": in_both(lambda lang: {
            "why": say("notices", notice.says, lang, notice.facts),
            "do": say("notices", notice.says, lang, notice.facts, part="do"),
        })}  # fmt: skip
    return {
        "capture": str(sent["capture"])[:40], "seconds": sent.get("seconds"), "bytes": int(sent.get("bytes") or 0),
        "levels": dict(sent.get("levels") or {}), "moments": list(sent.get("moments") or [])[-50:], "notice": told,
        "why": in_both(lambda lang: say("whys", why[5:], lang)) if why.startswith("@why.") else None,
    }  # fmt: skip


def known_at(lab: Lab, boxes: Path, settings: Settings, station_id: str) -> dict[str, Any]:
    """What a station's takeup is told of the original that lies on the machine now."""
    with lab.reading() as db:
        sits = live.sitting_at(db, station_id, datetime.now(UTC).isoformat(timespec="milliseconds"))
    answer: dict[str, Any] = {"sitting": None, "item": "", "part": "", "original": None, "mains_hz": settings.mains}
    if sits is None or not sits["item"]:
        return answer
    answer |= {"sitting": sits["id"], "item": sits["item"], "part": sits["part"]}
    if original := original_in(boxes / sits["folder"], sits["item"], settings):
        answer["original"] = asdict(original)
    return answer


def original_in(folder: Path, item: str, settings: Settings) -> Original | None:
    """An item as its box lists it; None when the box or the item is not there."""
    try:
        return next((one for one in look_into(folder, settings).originals() if one.id == item), None)
    except (TakeupError, OSError):
        return None


def _check_finding(finding: dict[str, Any]) -> None:
    times = [finding.get(name) for name in ("from_s", "to_s", "value")]
    if not isinstance(finding["name"], str) or finding["verdict"] not in ("good", "look", "redo"):
        raise ValueError(finding["name"])
    if not all(one is None or isinstance(one, (int, float)) for one in times):
        raise ValueError("times")


def _number(db: sa.Connection, box_id: int | None) -> str:
    row = one(db, BOX, BOX.c.id == box_id) if box_id is not None else None
    return row["number"] if row else ""


def _sentences(finding: Any, lang: str) -> dict[str, str]:
    """A finding's sentences; one that a later takeup told is named and nothing more."""
    try:
        why, do = sentences_of(finding, lang)
    except (KeyError, ValueError, TypeError):
        why, do = finding.name, ""
    return {"why": why, "do": do}
