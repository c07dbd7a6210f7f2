"""Judges what the picture shows: levels, field order, shape, stretches with nothing on them."""

from __future__ import annotations

from takeup.measure.video.field_order import FieldOrder
from takeup.measure.video.levels import Levels
from takeup.measure.video.stretches import Stretch
from takeup.measure.video.whole import Pictures
from takeup.streams import Finding, PictureStream, Verdict
from takeup.tables.rows import Rows

NAMES = {"black": "black", "flat": "no_signal", "snow": "no_signal"}


def judge_levels(levels: Levels | None, noise: float | None, stream: PictureStream, rows: Rows) -> list[Finding]:
    """Shadows or highlights cut off by the station, and black that was left lifted.

    A dark or bright programme is no fault, nor is super-white: only a pile-up at the last code is. Where the file says
    that its codes reach from 0 to 255, black and white themselves lie at the last codes: nothing is told from them.
    """
    if levels is None or levels.black is None or levels.dark is None or stream.full_range:
        return []
    found = []
    steep = rows.value("video.levels.pile_steep")
    for says, share, times in (
        ("levels.black-clipped", levels.low_share, levels.low_steep),
        ("levels.white-clipped", levels.high_share, levels.high_steep),
    ):
        if share < rows.value("video.levels.pile_look_share") or times < steep:
            continue
        redo = share >= rows.value("video.levels.pile_redo_share")
        rail = "video.levels.lossy_rails" if stream.lossy else "video.levels.rails"
        found.append(
            Finding(
                name="levels",
                verdict="redo" if redo else "look",
                again="helps" if redo else "may help",
                says=says,
                value=round(100 * share, 3),
                unit="% of pixels",
                facts={"share": share},
                rows=(
                    rail,
                    "video.levels.pile_redo_share" if redo else "video.levels.pile_look_share",
                    "video.levels.pile_steep",
                ),
            )
        )
    if noise is not None and noise <= rows.value("video.levels.drawn_noise"):
        return found
    low, high = rows.value("video.levels.lifted")
    spread = noise if noise is not None else rows.value("video.levels.usual_noise")
    if stream.lossy:  # coding takes noise from even areas first, and leaves it where it matters here
        spread = max(spread, rows.value("video.levels.lossy_noise"))
    floor = levels.black + rows.value("video.levels.black_noises") * spread
    near = rows.value("video.levels.hard_noises") * spread + rows.value("video.levels.hard_codes")
    hard = levels.dark - levels.black <= near
    if low <= floor <= high and levels.black <= high and hard:
        found.append(
            Finding(
                name="levels",
                verdict="look",
                again="helps",
                says="levels.black-lifted",
                value=round(levels.black, 1),
                unit="code",
                rows=(
                    "video.levels.lifted",
                    "video.levels.black_noises",
                    "video.levels.hard_noises",
                    "video.levels.black_code",
                ),
            )
        )
    return found


def judge_order(order: FieldOrder, stream: PictureStream, rows: Rows) -> list[Finding]:
    """The picture's own field order against what the file says of it."""
    flag, own = stream.field_order, order.order
    if own is None or own in (flag, "progressive"):  # whole pictures flagged as fields: film on tape; harmless
        return []
    if own == "mixed":
        least = (1 - rows.value("video.order.clear_share")) * (order.top + order.bottom)
        if min(order.top, order.bottom) <= least:
            return []  # fields in one order, and stretches of whole pictures: film and video on one tape
    elif flag is None:
        return []
    says = "field_order.mixed" if own == "mixed" else "field_order.flag"
    return [
        Finding(
            name="field_order",
            verdict="look",
            again="no",
            says=says,
            facts={"flag": flag, "order": own},
            rows=("video.order.least_votes", "video.order.clear_share"),
        )
    ]


def judge_shape(stream: PictureStream, rows: Rows) -> list[Finding]:
    """How wide the file says the picture is. An unstated shape on a tape's own width is told, never judged."""
    aspect = displayed_aspect(stream, rows)
    low, high = rows.value("video.shape.good")
    if aspect is None:
        return [
            Finding(
                name="wrong_shape",
                verdict="good",
                again="no",
                says="wrong_shape.unstated",
                facts={"width": stream.width, "height": stream.height},
                rows=("video.shape.tape_widths",),
            )
        ]
    if low <= aspect <= high:
        return []
    wide = rows.value("video.shape.wide")
    says = "wrong_shape.wide" if wide[0] <= aspect <= wide[1] else "wrong_shape.flag"
    return [
        Finding(
            name="wrong_shape",
            verdict="look",
            again="no",
            says=says,
            value=round(aspect, 3),
            unit="width to height",
            facts={"aspect": aspect, "width": stream.width, "height": stream.height},
            rows=("video.shape.good", "video.shape.wide"),
        )
    ]


def displayed_aspect(stream: PictureStream, rows: Rows) -> float | None:
    """Width to height as a player shows it; None where the file does not say and its pixels cannot be square."""
    if stream.turn % 180:
        return float(stream.height / (stream.width * (stream.shape or 1)))
    if stream.shape is not None:
        return float(stream.width * stream.shape / stream.height)
    if stream.width in rows.value("video.shape.tape_widths"):
        return None
    return stream.width / stream.height


def judge_stretches(pictures: Pictures, rows: Rows) -> list[Finding]:
    """Black, no signal, a picture that stands still; and an empty end."""
    found = [judge_stretch(stretch, pictures.frames, rows) for stretch in pictures.stretches]
    findings = [finding for finding in found if finding is not None]
    for first, end in pictures.repeats.held:
        findings.append(_held(first, end, pictures, rows))
    return findings + _tail(pictures, rows)


def judge_stretch(stretch: Stretch, frames: int | None, rows: Rows) -> Finding | None:
    """One stretch with nothing on it; ``frames`` None while the capture still runs. None: too short to tell of."""
    name = NAMES[stretch.kind]
    kind = f".{stretch.kind}" if name == "no_signal" else ""
    if frames is not None and stretch.first == 0 and stretch.end == frames:
        return _stretch(name, f"{name}.whole", stretch, "redo", ("video.kind.black_mean", "video.kind.flat_noise"))
    if stretch.seconds < rows.value("video.stretch.least_s"):
        return None
    at_edge = stretch.first == 0 or stretch.end == frames
    short = stretch.seconds < rows.value("video.stretch.look_s")
    verdict: Verdict = "good" if short or (at_edge and name == "black") else "look"
    return _stretch(name, name + kind, stretch, verdict, ("video.stretch.least_s", "video.stretch.look_s"))


def _stretch(name: str, says: str, stretch: Stretch, verdict: Verdict, rows: tuple[str, ...]) -> Finding:
    return Finding(
        name=name,
        verdict=verdict,
        again="may help" if verdict == "redo" else "no",
        says=says,
        from_s=round(stretch.from_s, 3),
        to_s=round(stretch.to_s, 3),
        value=round(stretch.seconds, 3),
        unit="s",
        rows=rows,
    )


def _held(first: int, end: int, pictures: Pictures, rows: Rows) -> Finding:
    share = (end - first) / max(1, pictures.frames - 1)
    whole = share >= rows.value("video.repeat.whole_share") and pictures.seconds >= rows.value("video.repeat.whole_s")
    to_s = float(pictures.at_s[end - 1]) + pictures.picture_s
    return held(float(pictures.at_s[first - 1 if first else 0]), to_s, rows, whole=whole)


def held(from_s: float, to_s: float, rows: Rows, *, whole: bool = False) -> Finding:
    """A picture that stood still from and to [s], or for nearly the whole file."""
    return Finding(
        name="frozen",
        verdict="redo" if whole else "look",
        again="may help",
        says="frozen.whole" if whole else "frozen",
        from_s=round(from_s, 3),
        to_s=round(to_s, 3),
        value=round(to_s - from_s, 3),
        unit="s",
        rows=("video.repeat.equal_codes", "video.repeat.held_pictures")
        + (("video.repeat.whole_share",) if whole else ()),
    )


def _tail(pictures: Pictures, rows: Rows) -> list[Finding]:
    if not pictures.stretches:
        return []
    last = pictures.stretches[-1]
    if last.end < pictures.frames or last.first == 0 or last.seconds < rows.value("video.stretch.tail_s"):
        return []
    return [_stretch("blank_tail", "blank_tail", last, "good", ("video.stretch.tail_s",))]
