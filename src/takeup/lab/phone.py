"""What a phone gets by scanning the librarian's screen: leave to bring label pictures to one box, for some minutes.

The leave is a signed word in the address: nothing of it is kept, and it opens nothing else of the box.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import time

SIGNATURE_BYTES = 16  # 128 bits


def phone_leave(secret: bytes, box_id: int, minutes: float, *, at: float | None = None) -> str:
    """A new leave for a box."""
    ends = int((time.time() if at is None else at) + 60 * minutes)
    said = f"{box_id}.{ends}"
    return f"{said}.{_signed(secret, said)}"


def box_of_leave(secret: bytes, leave: str, *, at: float | None = None) -> int | None:
    """The box it is for; None when it is not ours or its time is over."""
    said, _, signature = leave.rpartition(".")
    if not hmac.compare_digest(signature.encode("utf-8", "replace"), _signed(secret, said).encode()):
        return None
    box_id, _, ends = said.partition(".")
    return int(box_id) if (time.time() if at is None else at) < int(ends) else None


def _signed(secret: bytes, said: str) -> str:
    made = hmac.new(secret, b"phone/" + said.encode("utf-8", "replace"), hashlib.sha256).digest()
    return base64.urlsafe_b64encode(made[:SIGNATURE_BYTES]).decode().rstrip("=")
