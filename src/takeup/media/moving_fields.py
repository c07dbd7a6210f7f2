"""Turns a tape's pictures into those of its copy: one of each field or each second one, in shape, in legal levels.

All of it is libav's filters: bwdif (motion adaptive: what stands still keeps its lines), swscale, a table of codes.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import av
from av.filter import Graph

from takeup.media.moving_prove import Held, decoded, packets_of

FIELDS = {"top": "tff", "bottom": "bff", "progressive": "prog"}
BT_601, BT_709 = 5, 1  # matrices as ITU-T H.273 numbers them; 6 is 5 by another name
SD_LINES = 576


class Making:
    """A graph of filters for one file, made when its first picture is known."""

    def __init__(self, picture: Any, plan: Any) -> None:
        self.picture, self.plan = picture, plan
        self.graph: Graph | None = None
        self.count = 0

    def made_of(self, source: Any, held: Held) -> Iterator[Any]:
        """Pictures ready for the coder, 4:2:0 made after the fields were parted, times counted from 0."""
        for packet in packets_of(source, held, [self.picture]):
            for frame in decoded(packet, held):
                base = frame.time_base or self.picture.time_base
                frame.pts, frame.time_base = frame.pts if frame.pts is not None else self.count, base
                self.count += 1
                self.graph = self.graph or self._graph(frame)
                self.graph.push(frame)
                yield from self._pulled()
        if self.graph is not None:
            self.graph.push(None)
            yield from self._pulled()

    def _pulled(self) -> Iterator[Any]:
        while self.graph is not None:
            try:
                yield self.graph.pull()
            except (av.error.BlockingIOError, av.error.EOFError):
                return

    def _graph(self, frame: Any) -> Graph:
        full = _is_full(frame)
        graph = Graph()
        base = frame.time_base
        about = f"video_size={frame.width}x{frame.height}:pix_fmt={frame.format.name}"
        about += f":time_base={base.numerator}/{base.denominator}:range={'pc' if full else 'tv'}"
        last = graph.add("buffer", about)
        for name, arguments in [
            *self._parted(),
            *self._levelled(frame, full),
            *self._upright(),
            *self._shown(frame, full),
        ]:
            step = graph.add(name, arguments) if arguments else graph.add(name)
            last.link_to(step)
            last = step
        graph.configure()
        return graph

    def _parted(self) -> list[tuple[str, str]]:
        """One picture a field, or every so manieth: a whole number, so that motion stays even."""
        plan = self.plan
        word, every = FIELDS[plan.order], plan.every
        steps = [("setfield", word)]
        if plan.order != "progressive":
            mode, every = ("send_frame", every // 2) if every % 2 == 0 else ("send_field", every)
            steps.append(("bwdif", f"mode={mode}:parity={word}:deint=all"))
        return steps + ([("framestep", str(every))] if every > 1 else []) + [("setpts", "PTS-STARTPTS")]

    def _levelled(self, frame: Any, full: bool) -> list[tuple[str, str]]:
        """Codes outside what is legal are brought to black and white, in the capture's own depth."""
        if self.plan.levels is None or full or frame.format.is_rgb or frame.format.name.startswith("gray"):
            return []
        low, high = self.plan.levels
        one = 2 ** (frame.format.components[0].bits - 8)
        gain = 219 / (high - low)
        luma = f"clip((val-{low * one:.6g})*{gain:.9g}+{16 * one},{one},{255 * one - 1})"
        colour = f"clip((val-{128 * one})*{gain:.9g}+{128 * one},{one},{255 * one - 1})"
        return [("lutyuv", f"y={luma}:u={colour}:v={colour}")]

    def _upright(self) -> list[tuple[str, str]]:
        """Whole pictures turned as the file wants them shown; fields are parted by then."""
        turns = {90: [("transpose", "clock")], 180: [("hflip", ""), ("vflip", "")], 270: [("transpose", "cclock")]}
        return turns.get(self.plan.turn, [])

    def _shown(self, frame: Any, full: bool) -> list[tuple[str, str]]:
        plan = self.plan
        turned = (frame.height, frame.width) if plan.turn % 180 else (frame.width, frame.height)
        wide, high = plan.size or turned
        matrix = "bt709" if plan.matrix == BT_709 or (plan.matrix == 2 and frame.height > SD_LINES) else "bt601"
        about = f"{wide}:{high}:flags={'lanczos' if plan.size else 'bicubic'}+accurate_rnd"
        about += f":in_range={'pc' if full else 'tv'}:out_range=tv:out_color_matrix={matrix}"
        about += "" if frame.format.is_rgb else f":in_color_matrix={matrix}"
        steps = [("scale", about), ("format", "yuv420p")]
        if wide % 2 or high % 2:
            steps.append(("crop", f"{wide // 2 * 2}:{high // 2 * 2}:0:0"))
        shape = Fraction(1) if plan.size else plan.shape
        steps.append(("limiter", "min=1:max=254"))  # 0 and 255 are no picture codes (BT.656)
        steps.append(("setsar", f"{shape.numerator}/{shape.denominator}"))
        return [*steps, ("buffersink", "")]


def _is_full(frame: Any) -> bool:
    return frame.color_range == 2 or frame.format.name.startswith("yuvj") or frame.format.is_rgb
