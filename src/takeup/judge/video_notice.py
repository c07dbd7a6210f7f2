"""What to say at a video station while the capture comes in: no picture, wrong input, a tape that plays badly.

It holds for now only.
"""

from __future__ import annotations

from takeup.judge.sound_notice import Notice
from takeup.judge.video_lost import is_often
from takeup.judge.video_picture import judge_levels
from takeup.judge.video_running import SoFar
from takeup.measure.video.levels import Levels
from takeup.measure.video.stretches import Stretch
from takeup.streams import PictureStream
from takeup.tables.rows import Rows

CUT = {"levels.black-clipped": "picture-dark-cut", "levels.white-clipped": "picture-bright-cut"}
SAYS = {"black": "picture-black", "flat": "picture-flat", "snow": "picture-snow"}


def judge_picture_notice(
    now: Stretch | None,
    stream: PictureStream,
    rows: Rows,
    *,
    still_s: float = 0.0,
    levels: Levels | None = None,
    halved: str | None = None,
) -> Notice | None:
    """The most urgent of: no picture comes in, it stands still, it is cut off at its darkest or brightest, half its
    height is lost, the file's size or way is none of a tape; None when all is well.

    Parameters
    ----------
    now : Stretch, optional
        The stretch without picture that lasts until now.
    still_s : float
        For so long every picture has been equal to the one before [s].
    levels : Levels, optional
        Of all that came so far.
    halved : str, optional
        How every picture so far lost half its height.
    """
    limits = rows.section("video.notice")
    if now is not None and now.kind in SAYS and now.seconds >= limits["nothing_s"]:
        return Notice(says=SAYS[now.kind], facts={"seconds": now.seconds})
    if still_s >= limits["still_s"]:
        return Notice(says="picture-still", facts={"seconds": still_s})
    for finding in judge_levels(levels, None, stream, rows):
        if finding.verdict == "redo":
            return Notice(says=CUT[finding.says], facts=dict(finding.facts))
    if halved is not None:
        return Notice(says="picture-halved")
    if stream.height not in limits["tape_lines"] or stream.width > limits["widest"]:
        return Notice(says="picture-size", facts={"width": stream.width, "height": stream.height})
    if stream.field_order == "progressive":
        return Notice(says="picture-progressive")
    return None


def judge_tape_notice(so_far: SoFar, rows: Rows) -> Notice | None:
    """The most urgent of: many pictures are missing, the tape sheds, lines shake, colour lies beside its picture.

    What the whole file will say of these depends on what is still to come; this is what it says so far.
    """
    if is_often(so_far.missing, so_far.seconds, rows):
        return Notice(says="pictures-missing", facts={"missing": so_far.missing})
    if so_far.rising is not None:
        before, now = so_far.rising
        return Notice(says="streaks-rising", facts={"before": before, "now": now})
    for shaken, least in ((so_far.shaken_px, "redo_px"), (so_far.shaken_long_px, "look_px")):
        if shaken is not None and shaken > rows.value(f"video.jitter.{least}"):
            return Notice(says="lines-shaken", facts={"px": shaken})
    if so_far.colour_px is not None and abs(so_far.colour_px) > rows.value("video.chroma.look_px"):
        return Notice(says="colour-aside", facts={"px": abs(so_far.colour_px)})
    return None


def most_urgent(of_picture: Notice | None, of_sound: Notice | None, of_tape: Notice | None) -> Notice | None:
    """What a person can set right at once comes first, then sound, then what the tape brings."""
    return of_picture or of_sound or of_tape
