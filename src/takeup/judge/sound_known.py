"""What a judge of sound may know besides what was heard: the item, the lab."""

from __future__ import annotations

from dataclasses import dataclass

from takeup.streams import Original

BORN_HERE = "interview"  # the carrier of what has no original but this recording


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundKnown:
    """``side_minutes``: by the label, of this one side; None when nobody knows."""

    carrier: str = ""
    mains_hz: int = 50  # the lab's own
    recorded_mains_hz: int | None = None  # where the tape was recorded
    side_minutes: float | None = None
    born: bool = False  # recorded here by microphones: no tape, no player
    of_picture: bool = False  # the sound of a video or film: how it ends and its silence are the picture's to judge


def known_of(original: Original, mains_hz: int, recorded_mains_hz: int | None, *, of_picture: bool) -> SoundKnown:
    """What is known of an item: its minutes are those of all its sides."""
    minutes, sides = original.minutes, original.sides or (2 if original.carrier == "cassette" else 1)
    return SoundKnown(
        carrier=original.carrier,
        born=original.carrier == BORN_HERE,
        mains_hz=mains_hz,
        recorded_mains_hz=recorded_mains_hz,
        side_minutes=minutes / sides if minutes else None,
        of_picture=of_picture,
    )
