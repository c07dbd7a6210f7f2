"""What the desk asks of a station's takeup: to remove a file of its own, under the receipt that covers it."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from takeup.errors import TakeupError
from takeup.files.beside import write_bytes
from takeup.files.receipt import read_receipt
from takeup.files.remove import KeptInstead, look_at_source, remove_source


def carry_out(order: dict[str, Any]) -> dict[str, Any]:
    """Remove a file of this station's, only under its whole receipt and only what was delivered."""
    path = Path(order["path"])
    try:
        with tempfile.TemporaryDirectory(prefix="takeup-receipt-") as folder:
            written = Path(folder, "receipt.json")
            write_bytes(written, order["receipt_text"].encode())
            receipt = read_receipt(written, order["receipt_sha256"], order["manifest_sha256"])
        named = receipt and any(one["sha256"] == order["sha256"] for one in receipt.facts["captures"])
        if order["kind"] != "clear" or receipt is None or not named:
            return {"removed": False, "why": "no-receipt"}
        seen = look_at_source(path)
        if seen[0] != order["sha256"]:
            return {"removed": False, "why": "changed"}
        remove_source(path, receipt, seen)
        return {"removed": True}
    except KeptInstead as kept:
        return {"removed": False, "why": kept.why}
    except (TakeupError, OSError, KeyError, TypeError):
        return {"removed": False, "why": "unreadable"}
