"""What can go wrong, as facts first: the sentence a person reads is made from them in one place, ``words.sentences``.

A fault *in a tape* is a result (a finding), never one of these. An exception means: could not read, could not copy,
not allowed now. Whatever must not be ignored raises.
"""

from __future__ import annotations


class TakeupError(Exception):
    """The one parent. ``key`` names a row of ``words/faults.toml`` that words it in every language; ``facts`` fill it.

    A fault sentence says four things: what was being done and to what; what was wanted; what was found (with
    units); what to do now and what is still safe.
    """

    exit_status = 1

    def __init__(self, key: str, **facts: object) -> None:
        self.key = key
        self.facts = facts
        shown = ", ".join(f"{name}={value!r}" for name, value in facts.items())
        super().__init__(f"{key}({shown})")


class NotPossible(TakeupError):
    """The request or the file is at fault: exit status 2, one plain sentence, nothing half made."""

    exit_status = 2


class Unreadable(NotPossible):
    """A file cannot be read as the capture it claims to be (empty, cut, another format, another medium)."""


class NotAllowedNow(NotPossible):
    """The thing asked for must wait for another step first (no agreement, no receipt, box in use)."""


class CopyDiffers(NotPossible):
    """A copy was read back and is not what was written. Never returned as a value, so it cannot be ignored."""


class UnusableSamples(TakeupError):
    """A measure was handed arrays it cannot measure (wrong shape, empty, not finite): a fault of the program."""
