"""The drawing of each step at a station: one thing to see, one thing to do (in the second ink). Pure: name in, SVG out.

All are drawn here with a few strokes; a step names its drawing in ``tables/guides.toml``.
"""

from __future__ import annotations

from collections.abc import Mapping

from takeup.pages.signs import CARD, INK, PAPER, RULE

WIDTH, HEIGHT = 320, 200
DOES, TAPE = "#0B6E84", "#C9B794"  # what the hand does; tape and film: decoration


def drawing(name: str) -> str:
    """A drawing as an SVG text that stands alone.

    Raises
    ------
    KeyError
        If there is no drawing of that name: a fault of the table, found by its test.
    """
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}">'
        f'<g fill="none" stroke="{INK}" stroke-width="3" stroke-linecap="round" stroke-linejoin="round">'
        f"{DRAWINGS[name]}</g></svg>\n"
    )


def _box(x: float, y: float, wide: float, high: float, *, fill: str = CARD, round_: float = 4, more: str = "") -> str:
    return f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" rx="{round_:g}" fill="{fill}" {more}/>'


def _ring(x: float, y: float, r: float, *, fill: str = "none", more: str = "") -> str:
    return f'<circle cx="{x:g}" cy="{y:g}" r="{r:g}" fill="{fill}" {more}/>'


def _line(path: str, more: str = "") -> str:
    return f'<path d="{path}" {more}/>'


def _does(path: str) -> str:
    """What the hand does: a stroke in the second ink."""
    return f'<path d="{path}" stroke="{DOES}" stroke-width="5"/>'


def _arrow(x: float, y: float, to_x: float, to_y: float) -> str:
    """A straight arrow in the second ink."""
    long = ((to_x - x) ** 2 + (to_y - y) ** 2) ** 0.5
    dx, dy = (to_x - x) / long * 14, (to_y - y) / long * 14
    head = f"M{to_x - dx - dy:g} {to_y - dy + dx:g}L{to_x:g} {to_y:g}L{to_x - dx + dy:g} {to_y - dy - dx:g}"
    return _does(f"M{x:g} {y:g}L{to_x:g} {to_y:g}{head}")


def _solid(path: str, fill: str = INK) -> str:
    return f'<path d="{path}" fill="{fill}" stroke="none"/>'


def _hub(x: float, y: float, r: float = 13) -> str:
    teeth = "".join(
        f"M{x + dx * r:g} {y + dy * r:g}L{x + dx * r * 0.6:g} {y + dy * r * 0.6:g}"
        for dx, dy in ((1, 0), (0.5, 0.87), (-0.5, 0.87), (-1, 0), (-0.5, -0.87), (0.5, -0.87))
    )
    return _ring(x, y, r, fill=CARD) + _line(teeth)


def _cassette(x: float = 60, y: float = 40) -> str:
    window = f'<rect x="{x + 40:g}" y="{y + 34:g}" width="120" height="46" rx="23" fill="{PAPER}"/>'
    packs = _ring(x + 70, y + 57, 22, fill=TAPE) + _ring(x + 132, y + 57, 17, fill=TAPE)
    foot = _line(f"M{x + 34:g} {y + 120:g}L{x + 46:g} {y + 94:g}H{x + 154:g}L{x + 166:g} {y + 120:g}")
    return (
        _box(x, y, 200, 120, round_=10) + window + packs + _hub(x + 70, y + 57, 10) + _hub(x + 132, y + 57, 10) + foot
    )


def _vhs(x: float = 50, y: float = 50) -> str:
    windows = _box(x + 18, y + 30, 70, 56, fill=PAPER) + _box(x + 132, y + 30, 70, 56, fill=PAPER)
    packs = _ring(x + 53, y + 58, 26, fill=TAPE) + _ring(x + 167, y + 58, 20, fill=TAPE)
    return _box(x, y, 220, 110, round_=6) + windows + packs + _hub(x + 53, y + 58, 11) + _hub(x + 167, y + 58, 11)


def _screen(inside: str) -> str:
    return _box(60, 24, 200, 130, fill=PAPER, round_=8) + inside + _line("M130 176H190M160 154V176")


def _glass(inside: str) -> str:
    return _box(40, 60, 240, 120, fill=PAPER, round_=6) + _line("M40 60L70 20H250L280 60") + inside


def _film(holes: str) -> str:
    return _box(40, 50, 240, 100, fill=TAPE, round_=0) + holes


def _frames(width: float, gap: float) -> str:
    return "".join(
        _box(52 + at * (width + gap), 72, width, 62, fill=CARD, round_=3) for at in range(int(236 // (width + gap)))
    )


def _lens(x: float, y: float, r: float = 34) -> str:
    return _ring(x, y, r, fill="#FFFFFF99") + _line(
        f"M{x + r * 0.7:g} {y + r * 0.7:g}l{r * 0.8:g} {r * 0.8:g}", f'stroke="{DOES}" stroke-width="8"'
    )


def _meter(y: float, share: float) -> str:
    return (
        _box(80, y, 190, 24, fill=PAPER, round_=2)
        + _solid(f"M82 {y + 2}h{186 * share:g}v20h-{186 * share:g}z", DOES)
        + _line(f"M{80 + 190 * 0.72:g} {y - 6}v36", 'stroke-dasharray="3 5"')
    )


def _letter(x: float, y: float, text: str, size: int = 26) -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="{size}" font-family="sans-serif" font-weight="bold" text-anchor="middle"'
        f' fill="{INK}" stroke="none">{text}</text>'
    )


PAGE = "M{x} {y}h70l20 20v90h-90z"
TAG = "M{x} {y}h84v60h-104v-40z"
HAND = (
    "M{x} {y}c-6-22 2-40 14-44v-34c0-10 14-10 14 0v26v-44c0-10 14-10 14 0v42v-38c0-10 14-10 14 0v40"
    "v-28c0-9 13-9 13 0v46c0 20-8 28-10 40"
)


def _at(shape: str, x: float, y: float) -> str:
    return shape.format(x=f"{x:g}", y=f"{y:g}")


DRAWINGS: Mapping[str, str] = {
    "label": _screen(_letter(160, 108, "k3", 56))
    + f'<path d="{_at(TAG, 226, 120)}" fill="{CARD}"/>'
    + _ring(222, 138, 5)
    + _letter(268, 162, "k3", 32),
    "headphones": _line("M100 130V100a60 60 0 0 1 120 0v30", 'stroke-width="6"')
    + _box(84, 112, 30, 52, round_=12)
    + _box(206, 112, 30, 52, round_=12)
    + _solid("M52 176l60-16v16z", DOES)
    + _does("M52 182h60"),
    "start": _ring(100, 100, 44, fill=CARD)
    + _ring(100, 100, 20, fill=DOES, more='stroke="none"')
    + _letter(100, 176, "1")
    + _box(176, 56, 88, 88, round_=10)
    + _solid("M204 76l40 24-40 24z", DOES)
    + _letter(220, 176, "2"),
    "stop": _box(176, 56, 88, 88, round_=10)
    + _solid("M200 80h40v40h-40z", DOES)
    + _line("M40 100H150", 'stroke-dasharray="2 9"')
    + _line("M24 100H40", 'stroke-width="7"'),
    "case": _box(60, 90, 200, 84, round_=6)
    + _line("M60 90L90 40H290L260 90")
    + _arrow(160, 20, 160, 78)
    + f'<path d="{_at(TAG, 130, 108)}" fill="{CARD}"/>'
    + _ring(126, 126, 5)
    + _letter(172, 148, "k3"),
    "cassette-look": _cassette() + _lens(180, 96),
    "wind": _ring(100, 100, 52, fill=TAPE)
    + _ring(226, 100, 32, fill=TAPE)
    + _hub(100, 100)
    + _hub(226, 100)
    + _line("M74 146L110 178H220L248 124")
    + _does("M64 30a80 80 0 0 1 72 0M136 30l-20 2M136 30l-8-18")
    + _does("M262 44a60 60 0 0 0-72 0M190 44l18 2M190 44l6-18"),
    "switch": _box(50, 40, 220, 44, round_=22)
    + _box(54, 44, 80, 36, fill=DOES, round_=18, more='stroke="none"')
    + _box(50, 116, 220, 44, round_=22)
    + _box(186, 120, 80, 36, fill=DOES, round_=18, more='stroke="none"')
    + _line("M160 50v24M160 126v24"),
    "two-meters": _letter(56, 80, "L") + _meter(60, 0.62) + _letter(56, 140, "R") + _meter(120, 0.54),
    "knob": _ring(92, 90, 46, fill=CARD)
    + _line("M92 90L66 58", 'stroke-width="6"')
    + _does("M150 120a66 66 0 0 1-20 24M130 144l4-18M130 144l18 4")
    + _solid("M200 40h24v120h-24z", "#E9E2D3")
    + _solid("M200 84h24v76h-24z", DOES)
    + _line("M192 66h40M192 84h40", 'stroke-dasharray="3 5"')
    + _letter(264, 72, "&#8722;6", 22)
    + _letter(268, 96, "&#8722;12", 22),
    "watch": _line("M40 100Q160 10 280 100Q160 190 40 100z")
    + _ring(160, 100, 40, fill=CARD)
    + _line("M160 76V100L178 112")
    + _box(236, 140, 56, 46, round_=6)
    + _solid("M252 151h24v24h-24z", DOES),
    "turn-over": _box(70, 66, 180, 96, round_=8)
    + _ring(124, 110, 18)
    + _ring(196, 110, 18)
    + _does("M84 46a100 60 0 0 1 152 0M236 46l-22 0M236 46l-2-22")
    + _letter(160, 152, "B", 22),
    "vhs-look": _vhs(40, 66) + _does("M40 66l14-40h192l14 40") + _lens(240, 116, 28),
    "adapter": _box(40, 50, 240, 120, round_=6)
    + _box(80, 76, 150, 74, fill=PAPER)
    + _hub(190, 112, 22)
    + _does("M230 72a56 56 0 0 1 18 66M248 138l-16-10M248 138l8-18"),
    "monitor": _screen(_line("M80 136L130 84L164 116L196 76L242 136") + _ring(210, 58, 12, fill=TAPE)),
    "tracking": _screen(
        _line("M80 60h160M80 130h160", f'stroke="{RULE}"')
        + _line("M62 92h196", 'stroke-width="14" stroke-dasharray="4 9 12 6"')
    )
    + _arrow(282, 70, 282, 140),
    "ear": _line("M120 80a46 46 0 0 1 92 0c0 40-44 36-44 72c0 20-30 20-34 2")
    + _line("M146 84a20 20 0 0 1 40 0c0 16-16 20-18 28")
    + _does("M76 60q-16 24 0 60M54 44q-28 46 0 92"),
    "eject": _box(40, 110, 240, 60, round_=6) + _box(90, 40, 140, 92, round_=6) + _arrow(160, 108, 160, 20),
    "smell": _ring(150, 128, 62, fill=CARD)
    + _ring(150, 128, 44, fill=TAPE)
    + _ring(150, 128, 14, fill=CARD)
    + _does("M120 54q-14-14 0-26t0-22M152 50q-14-14 0-26t0-22M184 54q-14-14 0-26t0-22"),
    "super8": _film(_frames(54, 4)) + "".join(_box(75 + at * 58, 54, 8, 14, fill=DOES, round_=2) for at in range(4)),
    "8mm": _film(_frames(54, 4)) + "".join(_box(98 + at * 58, 53, 20, 16, fill=DOES, round_=2) for at in range(3)),
    "thread-film": _ring(72, 70, 42, fill=TAPE)
    + _hub(72, 70)
    + _ring(254, 70, 30)
    + _hub(254, 70)
    + _box(140, 96, 44, 60)
    + _does("M50 106q0 66 46 40t44-24M184 122q0 0 24 22t60-48")
    + _ring(162, 126, 10, fill=PAPER),
    "frame-line": _film("")
    + _box(90, 40, 140, 120, fill="none", more=f'stroke="{DOES}" stroke-width="6"')
    + _box(102, 66, 116, 68, fill=CARD)
    + _arrow(160, 24, 160, 4)
    + _arrow(160, 176, 160, 196),
    "light": _ring(120, 100, 30, fill=CARD)
    + _line("M120 50V34M120 150V166M70 100H54M170 100H186M84 64L72 52M156 136L168 148M84 136L72 148M156 64L168 52")
    + _box(216, 50, 66, 100)
    + _solid("M219 53h60v30h-60z", "#F6EBD2")
    + _does("M204 66h90"),
    "focus": _box(46, 40, 110, 120)
    + "".join(_ring(66 + at * 34, 70 + row * 32, 7) for at in range(3) for row in range(3))
    + _lens(226, 84, 46)
    + "".join(_ring(206 + at * 20, 76 + row * 18, 4, fill=INK) for at in range(3) for row in range(2)),
    "hands": f'<path d="{_at(HAND, 70, 190)}" fill="{CARD}"/>'
    + _box(150, 40, 120, 96)
    + _box(164, 54, 92, 68, fill=PAPER)
    + _does("M150 150h-14v-22M136 48v-14h16M268 34h14v16"),
    "glass": _glass(_does("M86 140q30-44 60 0t60 0t44-10")) + _box(226, 96, 50, 40, fill="#DCEFF2", round_=10),
    "lay-prints": _glass(
        _box(62, 78, 82, 60) + _box(176, 78, 82, 60) + _box(66, 150, 60, 24) + _does("M148 108h24M48 108h10M262 108h12")
    ),
    "settings": _screen(
        _line("M84 58h110M84 90h70M84 122h90") + _does("M212 48l10 12 20-24M212 112l10 12 20-24") + _does("M212 80h30")
    ),
    "preview": _screen(_box(96, 44, 128, 90) + _line("M96 116L134 82L160 106L182 88L224 124"))
    + _does("M88 52V36H106M214 36H232V52M232 126v16h-18M106 142H88V126"),
    "scan": _glass(_solid("M64 112h192v10H64z", "#F6EBD2") + _box(90, 84, 70, 80) + _arrow(210, 90, 210, 160)),
    "pages": f'<path d="{_at(PAGE, 50, 50)}" fill="{CARD}"/><path d="{_at(PAGE, 118, 44)}" fill="{CARD}"/>'
    f'<path d="{_at(PAGE, 186, 38)}" fill="{CARD}"/>'
    + _letter(94, 140, "1")
    + _letter(162, 134, "2")
    + _letter(230, 128, "3")
    + _arrow(60, 180, 270, 180),
    "black-sheet": _glass(
        _box(64, 76, 190, 92, fill=INK) + _box(96, 90, 100, 66) + _line("M110 108h72M110 124h72M110 140h50")
    ),
    "two-passes": _box(40, 30, 150, 130)
    + _box(130, 40, 150, 130, fill="none", more=f'stroke="{DOES}"')
    + _solid("M131 41h58v118h-58z", "#DCEFF2")
    + _line("M60 60h110M60 84h110M60 108h110M60 132h110"),
    "slide": _box(90, 30, 140, 140, round_=8)
    + _box(114, 66, 92, 64, fill=TAPE)
    + _letter(160, 108, "Aa", 30)
    + _does("M102 48h60"),
    "negative": _box(30, 56, 260, 88, fill=TAPE, round_=2)
    + "".join(_box(44 + at * 82, 74, 70, 52, fill=CARD) for at in range(3))
    + _line("M44 64h232M44 136h232", f'stroke="{CARD}" stroke-width="7" stroke-dasharray="6 12"')
    + _arrow(60, 172, 260, 172),
    "grid": _box(50, 30, 220, 140)
    + _line("M50 62h220")
    + "".join(_box(60 + at * 42, 70 + row * 32, 34, 24, fill=PAPER, round_=2) for at in range(5) for row in range(3))
    + _does("M64 82h196M260 82l-14-8M260 82l-14 8"),
}
