"""A watch's news in words: as a line of JSON and as a line for people."""

from __future__ import annotations

from typing import Any

from takeup.judge.sound_notice import Notice
from takeup.tasks.reporting import event_answer, finding_answer, finding_from
from takeup.words.sentences import LANGUAGES, say


def worded(kind: str, facts: dict[str, Any], lang: str) -> dict[str, Any]:
    """An event in one language, as ``takeup watch --json`` tells it; the shapes of ``check --follow`` and some more."""
    told = {name: fact for name, fact in facts.items() if name not in ("finding", "fault", "refused", "facts", "key")}
    if kind == "finding":
        told |= finding_answer(finding_from(facts["finding"]), lang)
    elif kind == "progress":
        told = event_answer(told | {"notice": notice_from(facts.get("notice"))}, lang)
        if told["notice"] is None:
            del told["notice"]
    if why := why_of(kind, facts, lang):
        told["why"] = why
    return told


def why_of(kind: str, facts: dict[str, Any], lang: str) -> str:
    """The sentence that goes with an event; empty where it says itself."""
    if fault := facts.get("fault"):
        return fault_said(fault, lang)
    if refused := facts.get("refused"):
        return say("answers", f"take.refused.{refused}", lang, facts.get("facts", {}))
    if kind == "said":
        return said_in_words(facts, lang)
    if kind == "lost":
        return say("answers", f"watch.lost.{facts['what']}", lang, {"file": facts["name"]})
    return ""


def said_in_words(facts: dict[str, Any], lang: str) -> str:
    """What is worth saying once."""
    names = facts.get("names", [])
    known = {"count": len(names), "names": ", ".join(names[:6]) + (" ..." if len(names) > 6 else "")}
    return say("answers", f"watch.said.{facts['what']}", lang, known)


def fault_said(fault: dict[str, Any], lang: str) -> str:
    """A fault that travelled as key and facts; one of a later takeup is said by its key."""
    try:
        return say("faults", fault["key"], lang, fault["facts"])
    except (KeyError, ValueError, TypeError, AttributeError):
        return str(fault.get("key", ""))


def notice_from(facts: dict[str, Any] | None) -> Notice | None:
    return Notice(says=facts["says"], facts=facts["facts"]) if facts else None


def in_both(make: Any) -> dict[str, Any]:
    """What ``make(lang)`` gives, in each language."""
    return {lang: make(lang) for lang in LANGUAGES}
