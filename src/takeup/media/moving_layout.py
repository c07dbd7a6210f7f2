"""How pictures and sound lie in the media data of a MOV whose index is not there: not yet written, or never.

A MOV keeps its index (``moov``) at the end, but uncompressed and DV pictures have known sizes. From the lengths
between stretches of sound follow the picture's size and how many bytes a second of sound takes; without sound, the size
at which one picture lies on the next. Where that leaves two answers, there is none.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np

from takeup.media.moving_between import TELLING, Before, Unclear, find_picture, picture_at, usual_lengths
from takeup.media.moving_marks import SOUND_RATES, Family, Layout, Packed, Read, Words, dv_at, dv_bytes
from takeup.media.moving_sound_guess import sound_shape

GRANULE = 1024  # bytes that are told picture or sound at once: a third of the shortest piece of sound met
LOOKED_AT = 256  # bytes of it
LIKE = 0.75  # of the words of a granule of picture; sound reaches a quarter at most
SOUNDLESS = 40  # pictures without sound between them before it is believed that there is none
MOSTLY = 0.6  # of what a capture writes is picture
SHORTEST = 128  # granules: no picture is shorter, but a loud sound may look like one for a while
LOUD = 8  # granules of sound beside a picture that may look like more of it
USUALLY = 0.6  # of the pieces of sound have a usual length, or the layout is another
LEARN_BYTES = (3 << 20, 8 << 20, 24 << 20, 72 << 20)  # the last holds two seconds of v210, each in one chunk
NTSC, PAL = Fraction(30000, 1001), Fraction(25)
SIZES = ((720, 486), (720, 576), (720, 480), (640, 480), (768, 576))
RATES = {486: NTSC, 480: NTSC, 576: PAL}
SYSTEMS = {"pal": (576,), "secam": (576,), "ntsc": (486, 480)}
FRAME_BYTES = (2, 3, 4, 6, 8, 12, 16)  # of all channels of one sample


def learn(read: Read, begin: int, size: int, system: str | None = None) -> Layout | None:
    """Find the layout from the first bytes of the media data; None when it cannot be told (yet).

    Parameters
    ----------
    read : callable
    begin, size : int
        where the media data begin, and how long the file is now
    system : str, optional
        ``pal`` or ``ntsc`` where it is known of the tape; leaves out other sizes
    """
    heights = SYSTEMS.get((system or "").lower(), tuple(RATES))
    amount = 0
    for most in LEARN_BYTES:
        if amount == size - begin:
            return None
        amount = min(most, size - begin)
        data = read(begin, amount)
        if (found := _learn_dv(data, begin)) is not None:
            return found if found.sound is not None or amount > 4 * found.picture_bytes else None
        codes = np.frombuffer(data, np.uint8)
        if len(codes) < 64 * GRANULE:
            return None
        for family in (Packed(), Words()):
            shown = _granules(family, codes)
            if shown.mean() >= MOSTLY:
                if (found := _learn_plain(family, codes, shown, begin, heights)) is not None:
                    return found
                break
        else:
            return None  # neither
    return None


def may_hold(data: bytes) -> bool:
    """Whether some media data may hold pictures of a kind that :func:`learn` knows."""
    codes = np.frombuffer(data, np.uint8)
    return data.find(b"\x1f\x07\x00", 0, 1 << 20) >= 0 or any(
        _granules(family, codes).mean() >= MOSTLY for family in (Packed(), Words())
    )


def _learn_dv(data: bytes, begin: int) -> Layout | None:
    starts, at = [], data.find(b"\x1f\x07\x00")
    if not 0 <= at < 1 << 20:
        return None
    while at >= 0 and (length := dv_bytes(data[at : at + 8])):
        if at + length > len(data) or not dv_at(lambda where, many: data[where : where + many], at, length):
            break
        starts.append(at)
        at = data.find(b"\x1f\x07\x00", at + length)
    if not starts:
        return None
    length = dv_bytes(data[starts[0] :][:8])
    layout = Layout(
        codec="dvvideo", pixel_format="", width=720, height=length // 250, rate=PAL if length == 144000 else NTSC,
        picture_bytes=length, begin=begin,
    )  # fmt: skip
    pieces = [(one + length, two) for one, two in zip(starts, starts[1:]) if two > one + length]
    if not pieces and not starts[0]:
        return layout
    return _with_sound(layout, data, pieces, (pieces and pieces[-1][1] - starts[0]) or 0)


def _granules(family: Family, data: np.ndarray) -> np.ndarray:
    """Whether each granule is picture, wherever in a word it begins."""
    number = len(data) // GRANULE
    parts = data[: number * GRANULE].reshape(number, GRANULE)
    best = np.zeros(number)
    for phase in range(4):
        part = np.ascontiguousarray(parts[:, phase : phase + LOOKED_AT])
        best = np.maximum(best, family.good(part.ravel()).reshape(number, -1)[:, 1:].mean(axis=1))
    return best >= LIKE


def _learn_plain(
    family: Family, codes: np.ndarray, shown: np.ndarray, begin: int, heights: tuple[int, ...]
) -> Layout | None:
    runs = _runs(shown)
    sizes = [(width, height) for width, height in SIZES if height in heights]
    if isinstance(family, Packed):
        family = _packed_of(codes, runs)
    if not any(not shown for shown, _, _ in runs):
        return _without_sound(family, codes, begin, sizes)
    whole = [
        (first, end) for at, (shown, first, end) in enumerate(runs)
        if shown and at + 1 < len(runs) and (at > 0 or first == 0)
    ]  # fmt: skip
    if len(whole) < 2:
        return None
    fitting = []
    for width, height in sizes:
        length = family.row(width) * height
        over = [((end - first) * GRANULE / length, (end - first) * GRANULE) for first, end in whole]
        rest = [run - max(1, round(count)) * length for count, run in over]
        if min(rest) >= -2 * GRANULE and max(rest) <= LOUD * GRANULE:
            fitting.append((max(rest), width, height, length))
    fitting.sort()
    if not fitting or (len(fitting) > 1 and fitting[1][0] - fitting[0][0] < 3 * GRANULE):
        return None
    _, width, height, length = fitting[0]
    layout = Layout(
        codec=family.codec, pixel_format=family.pixel_format, width=width, height=height, rate=RATES[height],
        picture_bytes=length, begin=begin,
    )  # fmt: skip
    return _placed(layout, codes.tobytes(), runs, whole)


def _placed(
    layout: Layout, data: bytes, runs: list[tuple[bool, int, int]], whole: list[tuple[int, int]]
) -> Layout | None:
    """The layout with its sound: rough lengths first, exact ones by walking along with them."""
    pictures = sum(round((end - first) * GRANULE / layout.picture_bytes) for first, end in whole)
    ends = {end for _, end in whole}
    rough = sum(end - first for shown, first, end in runs if not shown and first in ends and end < runs[-1][2])
    last = max((end for _, end in whole), default=0)
    if runs[-1][1] == last:  # its sound is not whole
        pictures -= round((whole[-1][1] - whole[-1][0]) * GRANULE / layout.picture_bytes)
    if pictures <= 0:
        return None
    bytes_s = rough * GRANULE / pictures * float(layout.rate)
    frame = min(
        ((one, rate) for one in FRAME_BYTES for rate in SOUND_RATES),
        key=lambda pair: abs(np.log(max(bytes_s, 1) / (pair[0] * pair[1]))),
    )[0]

    def read(at: int, many: int) -> bytes:
        return data[max(0, at - layout.begin) : at - layout.begin + many]

    at, pieces, first = layout.begin, [], None
    try:
        while at + layout.picture_bytes + 4 * TELLING < layout.begin + len(data):
            if picture_at(layout, read, at):
                first = at if first is None else first
                at += layout.picture_bytes
                continue
            before = Before(samples=sum(end - start for start, end in pieces) // frame)
            found = find_picture(layout, read, at, frame, layout.begin + len(data), before)
            if found is None:
                break
            pieces.append((at - layout.begin, found - layout.begin))
            at = found
    except Unclear:
        return None
    if first is None:
        return None
    after = [piece for piece in pieces if piece[0] > first - layout.begin]
    return _with_sound(layout, data, after, (after and after[-1][1] - (first - layout.begin)) or 0)


def _with_sound(layout: Layout, data: bytes, pieces: list[tuple[int, int]], span: int) -> Layout | None:
    """The layout with the sound that lies in the pieces; ``span`` bytes hold them and their pictures.

    The last piece is left out where there are more: a program that stops writes a shorter one.
    """
    if len(pieces) > 2:
        span -= pieces[-1][1] - pieces[-2][1]
        pieces = pieces[:-1]
    total = sum(end - first for first, end in pieces)
    pictures = (span - total) / layout.picture_bytes
    if not total or pictures < 1:
        return None
    joined = b"".join(data[first:end] for first, end in pieces[:40])
    shape = sound_shape(joined, total / pictures * float(layout.rate), total)
    if shape is None or any((end - first) % shape.frame_bytes for first, end in pieces):
        return None
    found = replace(layout, sound=shape)
    usual = usual_lengths(found, np.array([(end - first) // shape.frame_bytes for first, end in pieces]))
    return found if np.mean(usual > 0) >= USUALLY else None


def _packed_of(codes: np.ndarray, runs: list[tuple[bool, int, int]]) -> Packed:
    """Which bytes are colour: those that lie nearer to 128 and change less along a line."""
    first, end = next((first, end) for shown, first, end in runs if shown)
    part = codes[(first + 1) * GRANULE : min(end - 1, first + 400) * GRANULE].astype(np.int16)
    cost = [
        np.abs(part[one::2] - 128).mean() + 4 * np.abs(part[one::4][1:] - part[one::4][:-1]).mean() for one in (0, 1)
    ]
    return Packed(int(cost[1] < cost[0]))


def _without_sound(family: Family, codes: np.ndarray, begin: int, sizes: list[tuple[int, int]]) -> Layout | None:
    """Picture after picture: the size at which one picture lies on the next, if only one does."""
    if len(codes) < SOUNDLESS * family.row(720) * 486:
        return None
    found = []
    for width, height in sizes:
        length = family.row(width) * height
        part = codes[: 4 * length].reshape(4, length)[:, 1 if family.codec == "rawvideo" else 3 :: 4].astype(np.int16)
        found.append((float(np.abs(np.diff(part, axis=0)).mean()), width, height, length))
    found.sort()
    if len(found) > 1 and not found[0][0] < 0.7 * found[1][0]:
        return None
    _, width, height, length = found[0]
    return Layout(
        codec=family.codec, pixel_format=family.pixel_format, width=width, height=height, rate=RATES[height],
        picture_bytes=length, begin=begin,
    )  # fmt: skip


def _runs(picture: np.ndarray) -> list[tuple[bool, int, int]]:
    """Stretches of picture and sound, (picture, first, end) in granules; a lone granule is nobody's boundary."""
    shown = picture.copy()
    shown[1:-1] = picture[:-2].astype(int) + picture[1:-1] + picture[2:] >= 2
    edges = [0, *(np.flatnonzero(np.diff(shown.astype(np.int8))) + 1).tolist(), len(shown)]
    runs: list[tuple[bool, int, int]] = []
    for first, end in zip(edges, edges[1:]):
        kind = bool(shown[first]) and (end - first >= SHORTEST or end == len(shown))
        if runs and runs[-1][0] == kind:
            runs[-1] = (kind, runs[-1][1], end)
        elif end > first:
            runs.append((kind, first, end))
    return runs
