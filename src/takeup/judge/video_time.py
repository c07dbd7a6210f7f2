"""Judges completeness: pictures lost on the way, a file that breaks off, parts of it that do not decode."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from takeup.judge.video_lost import Place, RunningLost, is_often
from takeup.measure.video.whole import Pictures
from takeup.streams import CaptureFile, Finding
from takeup.tables.rows import Rows

INDEX_MADE = "index-made"  # note of a reader: the file had no index, its media data were read as they lie


HALF = 0.5  # of what is missing by time lies in the file by bytes: it is there, and cannot be read


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """How what came agrees with what the header states."""

    stated_s: float | None
    came_s: float
    cut: bool  # less came than is stated, or reading broke off, and the file is over there
    unreadable: bool  # less came than is stated, and the file goes on behind it

    @property
    def short_s(self) -> float:
        return self.stated_s - self.came_s if self.stated_s is not None else 0.0


def how_it_ends(
    capture: CaptureFile, pictures: Pictures, sound_s: float, broken: str | None, read_to: int, rows: Rows
) -> End:
    """Whether a file is whole, cut off, or cannot be read to its end.

    Parameters
    ----------
    broken : str or None
        why reading ended before the end
    read_to : int
        byte after the last packet that came; 0 where it is not known
    """
    stated_s, came_s = _stated(capture), _came(capture, pictures, sound_s)
    short_s = stated_s - came_s if stated_s is not None else 0.0
    cut = bool(broken) or short_s > rows.value("video.end.missing_s")
    unreadable = False
    if cut and read_to and stated_s and short_s > 0:
        unreadable = capture.bytes - read_to > HALF * short_s / stated_s * capture.bytes
    return End(stated_s=stated_s, came_s=came_s, cut=cut and not unreadable, unreadable=unreadable)


def judge_lost(pictures: Pictures, faults_s: tuple[float, ...], end: End, rows: Rows) -> list[Finding]:
    """Pictures that the computer or the converter let fall: gaps in the time stamps, or leaps in a steady movement.

    A gap where the file is damaged, or among the last pictures of a file that is cut off, is no loss of the station's.
    """
    kinds = [(pictures.lost, False), (pictures.silent.lost, True)]
    told, missing = [], 0
    for places, silent in kinds:
        running = RunningLost(rows, silent=silent)
        for number, count in places:
            if not (end.cut and number >= pictures.frames - rows.value("video.lost.reordered")):
                place = place_of(number, count, pictures.at_s, pictures.picture_s)
                if not is_damage(place, pictures.picture_s, faults_s):
                    running.add(place)
        told += running.told
        missing += running.missing
    redo = is_often(missing, pictures.seconds, rows)
    return [replace(one, verdict="redo") if redo else one for one in told]


def place_of(number: int, missing: int, at_s: Sequence[float] | np.ndarray, picture_s: float) -> Place:
    """Where pictures are missing before picture ``number``."""
    return Place(from_s=float(at_s[number - 1]) + picture_s, to_s=float(at_s[number]), missing=missing)


def is_damage(place: Place, picture_s: float, faults_s: Sequence[float]) -> bool:
    """Whether they are missing because the file is damaged there, which is told of."""
    return any(place.from_s - 2 * picture_s <= at <= place.to_s + picture_s for at in faults_s)


def judge_end(capture: CaptureFile, pictures: Pictures, end: End, rows: Rows) -> list[Finding]:
    """A file that is shorter than it says (``redo``), or a tape stopped by hand in mid picture (``look``)."""
    if end.unreadable:
        return []  # told as damage
    if end.cut:
        told = round(end.short_s, 2) if end.short_s > 0 else None
        return [
            Finding(
                name="ends_early",
                verdict="redo",
                again="helps",
                says="ends_early.cut" if told else "ends_early.broken",
                from_s=round(end.came_s, 3),
                to_s=round(end.came_s, 3),
                value=told,
                unit="s" if told else None,
                facts={"stated_s": end.stated_s, "came_s": end.came_s},
                rows=("video.end.missing_s",),
            )
        ]
    tail_s = rows.value("video.end.tail_s")
    if capture.unclosed:
        return [_never_closed(capture, pictures, tail_s, end.came_s)]
    if not pictures.frames or not pictures.recorded or _ends_quietly(pictures, tail_s):
        return []
    return [
        Finding(
            name="ends_early",
            verdict="look",
            again="may help",
            says="ends_early.mid-picture",
            from_s=round(pictures.seconds, 3),
            to_s=round(pictures.seconds, 3),
            rows=("video.end.tail_s",),
        )
    ]


def _never_closed(capture: CaptureFile, pictures: Pictures, tail_s: float, came_s: float) -> Finding:
    """The capture program ended without closing its file; what it had written is all here (decision 0083)."""
    running = bool(pictures.recorded) and not _ends_quietly(pictures, tail_s)
    return Finding(
        name="ends_early",
        verdict="redo" if running else "look",
        again="helps",
        says="ends_early.index-made" if INDEX_MADE in capture.notes else "ends_early.unclosed",
        from_s=round(came_s, 3),
        to_s=round(came_s, 3),
        facts={"came_s": came_s},
        rows=("video.end.tail_s",),
    )


def _came(capture: CaptureFile, pictures: Pictures, sound_s: float) -> float:
    """What came, to be held against the header: Matroska states the longer of its tracks."""
    return max(pictures.seconds, sound_s) if capture.container == "mkv" else pictures.seconds


def _stated(capture: CaptureFile) -> float | None:
    stream = capture.picture
    if stream is None:
        return None
    if stream.pictures_stated and stream.rate:
        return float(stream.pictures_stated / stream.rate)
    return stream.seconds_stated


def _ends_quietly(pictures: Pictures, tail_s: float) -> bool:
    """Whether the last seconds hold black, no signal or a standing picture."""
    begin = pictures.frames - round(tail_s / pictures.picture_s)
    still = any(end > begin for _, end in (*pictures.repeats.held, *pictures.repeats.unsure))
    return still or any(kind != "picture" for kind in pictures.kinds[max(0, begin) :])


def judge_damage(pictures: Pictures, faults_s: tuple[float, ...], end: End) -> list[Finding]:
    """Parts of the file that could not be decoded. Half a packet at a cut end is the end's matter, not damage."""
    places = sorted([at for at in faults_s if at >= 0] + [float(pictures.at_s[number]) for number in pictures.damaged])
    unplaced = sum(at < 0 for at in faults_s)
    if end.cut and len(pictures.at_s):
        places = [at for at in places if at < float(pictures.at_s[-1]) - pictures.picture_s]
        unplaced = max(0, unplaced - 1)
    if end.unreadable:
        places.append(end.came_s)
    number = len(places) + unplaced
    if number <= 0:
        return []
    to_s = places[-1] + pictures.picture_s if places else None
    if end.unreadable and end.stated_s is not None:
        to_s = end.stated_s
    return [
        Finding(
            name="corrupt",
            verdict="redo",
            again="helps",
            from_s=round(places[0], 3) if places else None,
            to_s=None if to_s is None else round(to_s, 3),
            value=number,
            unit="pictures",
            rows=("video.end.missing_s",),
        )
    ]
