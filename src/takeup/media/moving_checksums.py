"""FFV1 keeps a checksum in every slice, but libav only complains of a wrong one in its log: this listens."""

from __future__ import annotations

from typing import Any

import av
import av.logging


def decode_listening(packet: Any) -> tuple[list[Any], list[float]]:
    """Decode a packet; its frames, and the times [s] of pictures whose slices do not fit their checksums.

    The decoder must work with slice threads (not frame threads), so that it complains before it returns.
    """
    before = av.logging.get_level()
    av.logging.set_level(av.logging.ERROR)
    try:
        with av.logging.Capture() as said:
            frames = packet.decode()
    finally:
        av.logging.set_level(before)
    wrong = any("CRC mismatch" in text for _, _, text in said)
    at = packet.pts if packet.pts is not None else packet.dts
    return frames, [float(at * packet.time_base) if at is not None else -1.0] if wrong else []
