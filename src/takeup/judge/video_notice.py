"""What to say at a video station while the capture comes in: no picture, the wrong input. Holds for now only."""

from __future__ import annotations

from takeup.judge.sound_notice import Notice
from takeup.judge.video_picture import judge_levels
from takeup.measure.video.levels import Levels
from takeup.measure.video.stretches import Stretch
from takeup.streams import PictureStream
from takeup.tables.rows import Rows

CUT = {"levels.black-clipped": "picture-dark-cut", "levels.white-clipped": "picture-bright-cut"}
SAYS = {"black": "picture-black", "flat": "picture-flat", "snow": "picture-snow"}


def judge_picture_notice(
    now: Stretch | None, stream: PictureStream, rows: Rows, *, still_s: float = 0.0, levels: Levels | None = None
) -> Notice | None:
    """The most urgent of: no picture comes in, it stands still, it is cut off at its darkest or brightest, the file's
    size or way is none of a tape; None when all is well.

    Parameters
    ----------
    now : Stretch, optional
        The stretch without picture that lasts until now.
    still_s : float
        For so long every picture has been equal to the one before [s].
    levels : Levels, optional
        Of all that came so far.
    """
    limits = rows.section("video.notice")
    if now is not None and now.kind in SAYS and now.seconds >= limits["nothing_s"]:
        return Notice(says=SAYS[now.kind], facts={"seconds": now.seconds})
    if still_s >= limits["still_s"]:
        return Notice(says="picture-still", facts={"seconds": still_s})
    for finding in judge_levels(levels, None, stream, rows):
        if finding.verdict == "redo":
            return Notice(says=CUT[finding.says], facts=dict(finding.facts))
    if stream.height not in limits["tape_lines"] or stream.width > limits["widest"]:
        return Notice(says="picture-size", facts={"width": stream.width, "height": stream.height})
    if stream.field_order == "progressive":
        return Notice(says="picture-progressive")
    return None
