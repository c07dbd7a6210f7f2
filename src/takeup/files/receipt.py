"""Receipts as files: written whole, read only when whole."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

KIND = "takeup-receipt/1"
NEEDED = ("kind", "receipt", "parcel", "manifest_sha256", "read_back", "contents", "captures", "files", "bytes")


@dataclass(frozen=True, slots=True)
class WholeReceipt:
    """A receipt that was found as it was written. Only :func:`read_receipt` makes one."""

    path: Path
    facts: dict[str, Any]

    @property
    def capture_sha256(self) -> frozenset[str]:
        """The captures that it covers, by content."""
        return frozenset(capture["sha256"] for capture in self.facts["captures"])


def receipt_bytes(facts: dict[str, Any]) -> bytes:
    """A receipt as it is written: JSON that people can read too."""
    return (json.dumps(facts, ensure_ascii=False, indent=1, sort_keys=False) + "\n").encode()


def read_receipt(path: Path, sha256: str, manifest_sha256: str) -> WholeReceipt | None:
    """A receipt, if it is there and is to the byte the one that was written for that parcel; else None."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    if hashlib.sha256(data).hexdigest() != sha256:
        return None
    try:
        facts = json.loads(data)
    except ValueError:
        return None
    if not isinstance(facts, dict) or any(name not in facts for name in NEEDED) or facts["kind"] != KIND:
        return None
    listed = {entry["path"]: entry["sha256"] for entry in facts["contents"]}
    if facts["read_back"] is not True or facts["manifest_sha256"] != manifest_sha256:
        return None
    if listed.get("manifest-sha256.txt") != manifest_sha256 or len(listed) < facts["files"]:
        return None
    return WholeReceipt(path, facts)
