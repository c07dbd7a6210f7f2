"""Judges completeness: pictures lost on the way, a file that breaks off, parts of it that do not decode."""

from __future__ import annotations

from takeup.measure.video.whole import Pictures
from takeup.streams import CaptureFile, Finding
from takeup.tables.rows import Rows

INDEX_MADE = "index-made"  # note of a reader: the file had no index, its media data were read as they lie


def judge_lost(pictures: Pictures, rows: Rows) -> list[Finding]:
    """Pictures that the computer or the converter let fall: gaps in the time stamps, or leaps in a steady movement."""
    places = sorted([*pictures.lost, *pictures.silent.lost])
    missing = sum(number for _, number in places)
    if missing < rows.value("video.lost.look_pictures"):
        return []
    often = missing / max(pictures.seconds / 60, 1.0) >= rows.value("video.lost.redo_per_minute")
    redo = often and missing >= rows.value("video.lost.redo_pictures")
    return [_gap(group, redo, pictures, rows) for group in _groups(places, pictures, rows)]


def _groups(places: list[tuple[int, int]], pictures: Pictures, rows: Rows) -> list[list[tuple[int, int]]]:
    """Places near each other are told together; all of them when there are very many."""
    groups: list[list[tuple[int, int]]] = []
    for place in places:
        near = groups and pictures.at_s[place[0]] - pictures.at_s[groups[-1][-1][0]] <= rows.value("video.lost.apart_s")
        if near:
            groups[-1].append(place)
        else:
            groups.append([place])
    return groups if len(groups) <= rows.value("video.lost.most_told") else [places]


def _gap(places: list[tuple[int, int]], redo: bool, pictures: Pictures, rows: Rows) -> Finding:
    leaps = ("video.silent.whole_share", "video.silent.spreads") if pictures.silent.lost else ()
    from_s = float(pictures.at_s[places[0][0] - 1]) + pictures.picture_s
    to_s = float(pictures.at_s[places[-1][0]])
    return Finding(
        name="frames_lost",
        verdict="redo" if redo else "look",
        again="may help",
        from_s=round(from_s, 3),
        to_s=round(max(to_s, from_s), 3),
        value=sum(number for _, number in places),
        unit="pictures",
        facts={"places": len(places)},
        rows=("video.lost.look_pictures", "video.lost.redo_per_minute", "video.lost.redo_pictures", *leaps),
    )


def judge_end(
    capture: CaptureFile, pictures: Pictures, sound_s: float, broken: str | None, rows: Rows
) -> list[Finding]:
    """A file that is shorter than it says (``redo``), or a tape stopped by hand in mid picture (``look``)."""
    stated_s, came_s = _stated(capture), _came(capture, pictures, sound_s)
    short_s = stated_s - came_s if stated_s is not None else 0.0
    if is_cut(capture, pictures, sound_s, broken, rows):
        told = round(short_s, 2) if stated_s is not None and short_s > 0 else None
        return [
            Finding(
                name="ends_early",
                verdict="redo",
                again="helps",
                says="ends_early.cut" if told else "ends_early.broken",
                from_s=round(came_s, 3),
                to_s=round(came_s, 3),
                value=told,
                unit="s" if told else None,
                facts={"stated_s": stated_s, "came_s": came_s},
                rows=("video.end.missing_s",),
            )
        ]
    tail_s = rows.value("video.end.tail_s")
    if capture.unclosed:
        return [_never_closed(capture, pictures, tail_s, came_s)]
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


def is_cut(capture: CaptureFile, pictures: Pictures, sound_s: float, broken: str | None, rows: Rows) -> bool:
    """Whether less came than the header states, or reading broke off."""
    stated_s = _stated(capture)
    short_s = stated_s - _came(capture, pictures, sound_s) if stated_s is not None else 0.0
    return bool(broken) or short_s > rows.value("video.end.missing_s")


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
    still = any(end > begin for _, end in pictures.repeats.held)
    return still or any(kind != "picture" for kind in pictures.kinds[max(0, begin) :])


def judge_damage(pictures: Pictures, faults_s: tuple[float, ...], *, cut: bool) -> list[Finding]:
    """Parts of the file that could not be decoded. Half a packet at a cut end is the end's matter, not damage."""
    places = sorted([at for at in faults_s if at >= 0] + [float(pictures.at_s[number]) for number in pictures.damaged])
    unplaced = sum(at < 0 for at in faults_s)
    if cut and len(pictures.at_s):
        places = [at for at in places if at < float(pictures.at_s[-1]) - pictures.picture_s]
        unplaced = max(0, unplaced - 1)
    number = len(places) + unplaced
    if number <= 0:
        return []
    return [
        Finding(
            name="corrupt",
            verdict="redo",
            again="helps",
            from_s=round(places[0], 3) if places else None,
            to_s=round(places[-1] + pictures.picture_s, 3) if places else None,
            value=number,
            unit="pictures",
            rows=("video.end.missing_s",),
        )
    ]
