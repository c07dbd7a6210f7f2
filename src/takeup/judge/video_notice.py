"""What to say at a video station while the capture comes in: no picture, the wrong input. Holds for now only."""

from __future__ import annotations

from takeup.judge.sound_notice import Notice
from takeup.measure.video.stretches import Stretch
from takeup.streams import PictureStream
from takeup.tables.rows import Rows

SAYS = {"black": "picture-black", "flat": "picture-flat", "snow": "picture-snow"}


def judge_picture_notice(now: Stretch | None, stream: PictureStream, rows: Rows) -> Notice | None:
    """The most urgent of: no picture comes in, the file's size or way is none of a tape; None when all is well.

    Parameters
    ----------
    now : Stretch, optional
        The stretch without picture that lasts until now.
    """
    limits = rows.section("video.notice")
    if now is not None and now.kind in SAYS and now.seconds >= limits["nothing_s"]:
        return Notice(says=SAYS[now.kind], facts={"seconds": now.seconds})
    if stream.height not in limits["tape_lines"] or stream.width > limits["widest"]:
        return Notice(says="picture-size", facts={"width": stream.width, "height": stream.height})
    if stream.field_order == "progressive":
        return Notice(says="picture-progressive")
    return None
