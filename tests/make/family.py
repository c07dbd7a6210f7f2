"""The Tan-Marlow family of Port Ellery: an invented parcel with generated media, for pages to be looked at and tried.

Truth by construction: whatever a test expects of a page was put in here. Seeded; nothing is anybody's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import av
import numpy as np
from fpdf import FPDF
from PIL import Image, ImageDraw, ImageFilter

from takeup.pages.contents import Captured, Contents, Described, Entry, Held, Missing, Noticed, Shown
from takeup.streams import Finding, Measured, Report, Still, Trace

PALETTES = [
    ((230, 211, 193), (124, 91, 74), (186, 139, 113)),
    ((201, 213, 220), (93, 117, 101), (143, 165, 167)),
    ((221, 226, 216), (92, 111, 76), (147, 163, 125)),
    ((216, 198, 160), (138, 116, 81), (181, 157, 110)),
    ((188, 196, 214), (74, 84, 106), (120, 128, 142)),
]


def scene(seed: int, width: int = 960, height: int = 720) -> Image.Image:
    """A seaside town with people in it, painted by numbers, with grain."""
    dice = np.random.default_rng(seed)
    sky, hill, ground = PALETTES[seed % len(PALETTES)]
    rows = np.linspace(0, 1, height)[:, None, None]
    picture = np.array(sky) * (1.06 - 0.2 * rows) * np.ones((height, width, 1))
    xs = np.arange(width)
    ridge = height * 0.56 + sum(
        height * 0.05 / k * np.sin(xs / width * math.tau * k * dice.uniform(0.6, 1.3) + dice.uniform(0, 6))
        for k in (1, 2, 5, 11)
    )
    ys = np.arange(height)[:, None]
    picture = np.where((ys > ridge)[..., None], np.array(hill) * (1.25 - 0.5 * rows), picture)
    picture = np.where((ys > height * 0.76)[..., None], np.array(ground) * (1.3 - 0.4 * rows), picture)
    image = Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8))
    draw = ImageDraw.Draw(image, "RGBA")
    cx, cy = width * dice.uniform(0.15, 0.85), height * dice.uniform(0.14, 0.26)
    draw.ellipse([cx - 40, cy - 40, cx + 40, cy + 40], fill=(255, 246, 220, 190))
    for _ in range(3):
        x, w = width * dice.uniform(0.02, 0.85), width * dice.uniform(0.08, 0.15)
        top = height * dice.uniform(0.48, 0.6)
        draw.polygon([(x, top), (x + w / 2, top - w * 0.45), (x + w, top)], fill=(90, 60, 52, 255))
        draw.rectangle([x + 4, top, x + w - 4, height * 0.77], fill=(226, 216, 198, 255))
        for row in range(2):
            for column in range(2):
                wx, wy = x + w * (0.18 + 0.42 * column), top + height * (0.03 + 0.08 * row)
                draw.rectangle([wx, wy, wx + w * 0.2, wy + height * 0.045], fill=(70, 80, 92, 255))
    for _ in range(int(dice.integers(1, 6))):
        x, tall = width * dice.uniform(0.2, 0.8), height * dice.uniform(0.2, 0.34)
        foot = height * dice.uniform(0.84, 0.95)
        coat = tuple(int(value) for value in dice.integers(30, 150, 3)) + (255,)
        draw.rounded_rectangle([x, foot - tall * 0.72, x + tall * 0.3, foot], tall * 0.12, fill=coat)
        draw.ellipse([x + tall * 0.04, foot - tall, x + tall * 0.26, foot - tall * 0.74], fill=(222, 178, 148, 255))
    image = image.filter(ImageFilter.GaussianBlur(0.8))
    grain = dice.normal(0, 7, (height, width, 1))
    return Image.fromarray(np.clip(np.asarray(image, float) + grain, 0, 255).astype(np.uint8))


def jpeg(path: Path, image: Image.Image) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    image.save(path, quality=82)


def sound_file(path: Path, seconds: float = 6.0, seed: int = 1) -> None:
    """A few seconds of something like talk: noise in bursts over a low note. AAC in M4A."""
    path.parent.mkdir(parents=True, exist_ok=True)
    dice, rate = np.random.default_rng(seed), 48000
    t = np.arange(int(seconds * rate)) / rate
    wave = 0.15 * np.sin(math.tau * 180 * t) * (np.sin(math.tau * 1.7 * t) > 0) + 0.03 * dice.normal(size=t.size)
    with av.open(str(path), "w", format="mp4") as out:
        stream = out.add_stream("aac", rate=rate, layout="mono")
        for begin in range(0, t.size, 1024):
            block = wave[None, begin : begin + 1024].astype(np.float32)
            frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(block), format="fltp", layout="mono")
            frame.sample_rate, frame.pts = rate, begin
            out.mux(stream.encode(frame))
        out.mux(stream.encode())


def moving_file(path: Path, seconds: float = 3.0, seed: int = 2, size: tuple[int, int] = (384, 288)) -> None:
    """A slow pan over a scene. H.264 in MP4."""
    path.parent.mkdir(parents=True, exist_ok=True)
    wide = np.asarray(scene(seed, size[0] * 2, size[1]))
    count = int(seconds * 25)
    with av.open(str(path), "w", format="mp4", options={"movflags": "faststart"}) as out:
        stream = out.add_stream("libx264", rate=25, options={"crf": "24"})
        stream.width, stream.height, stream.pix_fmt = size[0], size[1], "yuv420p"
        for at in range(count):
            shift = at * size[0] // count
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(wide[:, shift : shift + size[0]]), format="rgb24")
            out.mux(stream.encode(frame))
        out.mux(stream.encode())


def paper(path: Path, pages: int = 2) -> None:
    """A letter as PDF, its pages drawn as pictures as a scanner's are."""
    path.parent.mkdir(parents=True, exist_ok=True)
    pdf = FPDF(unit="pt", format=(420, 595))
    for at in range(pages):
        pdf.add_page()
        pdf.image(page_picture(at), 0, 0, 420, 595)
    pdf.output(str(path))


def page_picture(seed: int) -> Image.Image:
    """A handwritten page, as lines that wave."""
    dice = np.random.default_rng(seed)
    image = Image.new("RGB", (840, 1190), (243, 236, 220))
    draw = ImageDraw.Draw(image)
    for line in range(20):
        x, y = 90.0, 130 + line * 48
        end = 760 if line % 6 else 480
        while x < end:
            length = dice.uniform(24, 90)
            points = [
                (x + step, y + 7 * math.sin((x + step) * 0.34) + dice.normal(0, 1.4))
                for step in range(0, int(length), 2)
            ]
            draw.line(points, fill=(52, 56, 92), width=3)
            x += length + 16
    return image


def talk(seconds: float, *, seed: int = 1, recorded_to: float | None = None) -> Trace:
    """The miniature of an hour of talk: bursts and pauses, and nothing recorded after ``recorded_to``."""
    dice = np.random.default_rng(seed)
    count = int(seconds * 10)
    slow = np.convolve(dice.normal(size=count + 900), np.ones(600) / 600, "valid")[:count]
    fast = np.convolve(dice.normal(size=count + 40), np.ones(20) / 20, "valid")[:count]
    level = np.clip(72 + 190 * slow + 34 * fast, 28, 97)
    end = count if recorded_to is None else int(recorded_to * 10)
    level[end:] = 0
    flags = (np.arange(count) < end).astype(np.uint8)
    return Trace(
        step_s=0.1, level=level.astype(np.uint8).tobytes(), recorded=flags.tobytes(), **fabric(level - 100, end, dice)
    )


def fabric(level_dbfs: np.ndarray, end: int, dice: np.random.Generator) -> dict:
    """Third octaves of talk over hiss every 1.4 s (14 levels), and the noise every 10 s of what was recorded."""
    hz = 10 ** (np.arange(15, 43) / 10)
    columns = -(-len(level_dbfs) // 14)
    loud = np.array([level_dbfs[at * 14 : at * 14 + 14].mean() for at in range(columns)])
    voice = loud[:, None] - 9 - 14 * np.abs(np.log10(hz / 400)) ** 1.6 + dice.normal(0, 3, (columns, len(hz)))
    voice -= 60 * (hz < 80) + 40 * (hz > 9000)
    hiss = -84 + 10 * np.log10(hz / 1000) + 24 * (hz < 100) - 30 * (hz > 14000)
    power = 10 ** (voice / 10) + 10 ** (hiss / 10)
    power[-(-end // 14) :] = 1e-11
    codes = np.clip(np.round(10 * np.log10(power)) + 140, 0, 255).astype(np.uint8)
    noise = np.where(np.arange(-(-len(level_dbfs) // 100)) * 100 < end, 79 + dice.integers(0, 3), 0).astype(np.uint8)
    return {
        "strip": codes.tobytes(),
        "strip_step_s": 1.4,
        "strip_hz": tuple(float(one) for one in hz),
        "floor": noise.tobytes(),
        "floor_step_s": 10.0,
    }


def noticed(finding: Finding, en: str, zh: str, do: tuple[str, str] = ("", ""), before_s: float = 0.0) -> Noticed:
    return Noticed(
        finding=finding, why={"en": en, "zh-Hans": zh}, do={"en": do[0], "zh-Hans": do[1]}, before_s=before_s
    )


def captured(report: Report, *found: Noticed) -> Captured:
    return Captured(report=report, noticed=found)


def sound_report(
    seconds: float, findings: Sequence[Finding] = (), *, seed: int = 1, recorded_to: float | None = None
) -> Report:
    measures = {
        "loudness": Measured(value=-24.6, unit="LUFS"),
        "true_peak": Measured(value=-6.2, unit="dBTP"),
        "noise_floor": Measured(value=-58.1, unit="dBFS"),
        "wow_flutter": Measured(value=None, unit="%", why="later"),
    }
    left = () if recorded_to is None else (("blank tape", seconds - recorded_to),)
    return Report(
        medium="sound",
        seconds=seconds,
        measures=measures,
        findings=tuple(findings),
        left_out=left,
        trace=talk(seconds, seed=seed, recorded_to=recorded_to),
    )


WORN = Finding(name="dropout", verdict="look", again="no", from_s=1082.0, to_s=1082.5, value=1, unit="places")
CLIPPED = Finding(name="clipping", verdict="redo", again="helps", from_s=250.0, to_s=255.0, value=310, unit="samples")
FLICKER = Finding(name="flicker", verdict="look", again="no", from_s=20.0, to_s=96.0, value=4.1, unit="%")


def family(folder: Path, *, lang: str = "en") -> Contents:
    """Lay the family's files below ``folder`` (the parcel's ``data``) and tell what they are."""
    held: list[Held] = []

    def keep(href: str, role: str, kind: str, size: tuple[int, int] | None = None) -> Held:
        file = Held(href=href, role=role, bytes=(folder / href).stat().st_size, kind=kind, size=size)  # type: ignore[arg-type]
        held.append(file)
        return file

    def small(href: str, image: Image.Image, width: int) -> Held:
        image = image.resize((width, round(width * image.height / image.width)))
        jpeg(folder / href, image)
        return keep(href, "small", "picture", image.size)

    entries = [*_sounds(folder, keep), *_films(folder, keep, small), *_stills(folder, keep, small)]
    return Contents(
        box="The Tan and Marlow family",
        lab="the lab at Port Ellery Library",
        lang=lang,
        brought="2027-03-02",
        packed="2027-03-16",
        originals=len(entries) + 2,
        files=len(held) + 1,
        bytes=sum(file.bytes for file in held),
        entries=tuple(entries),
        missing=(
            Missing(
                id="m1",
                title="Harbour board minutes",
                carrier="microfilm",
                because="refused",
                why=(
                    {
                        "en": "It smells of vinegar; staff will give you the address of a specialist.",
                        "zh-Hans": "有醋味；工作人员会告诉您找谁处理。",
                    },
                ),
            ),
            Missing(id="t3", title="Blank? Daniel's band", carrier="cassette", because="not-captured"),
        ),
        care=(
            ("cassette", ("tape-upright", "tape-room", "magnets", "tape-tab")),
            ("vhs", ("tape-upright", "tape-room", "magnets")),
            ("super8", ("film-cold", "film-vinegar", "film-can")),
            ("print", ("photo-touch", "photo-dark")),
        ),
        advice=("keep-originals", "two-drives", "look-yearly"),
        held=tuple(held),
        papers=("bag-info.txt", "bagit.txt", "manifest-sha256.txt"),
    )


def _sounds(folder: Path, keep) -> list[Entry]:
    sides = []
    for at, side in enumerate(("side-a", "side-b")):
        name = f"01 t1 Aunt Wen New Year 1983/t1-{side}.m4a"
        sound_file(folder / name, seed=at)
        file = keep(name, "copy", "sound")
        if side == "side-a":
            report = sound_report(1790, [WORN], recorded_to=1610)
            one = captured(
                report,
                noticed(
                    WORN,
                    "At 18:02 the tape is worn for half a second. It was the same the second time: it is on the tape.",
                    "18:02 处磁带有半秒磨损。第二次也一样：是磁带本身的问题。",
                ),
            )
        else:
            one = captured(sound_report(1795, seed=5))
        sides.append(Shown(file=file, part=side, captured=(one,)))
    (folder / "01 t1 Aunt Wen New Year 1983/kept master").mkdir(parents=True)
    masters = []
    for side in ("side-a", "side-b"):
        name = f"01 t1 Aunt Wen New Year 1983/kept master/t1-{side}.wav"
        (folder / name).write_bytes(b"RIFF" + bytes(4000))
        masters.append(keep(name, "master", "sound"))
    wen = Entry(
        id="t1",
        carrier="cassette",
        section="listen",
        label="Wen NY 83",
        shown=tuple(sides),
        captured=tuple(side.captured[0] for side in sides),
        masters=tuple(masters),
        said=Described(
            title="Aunt Wen, New Year 1983",
            people=("Wen Tan", "Rose Marlow"),
            date="1983-02~",
            place="the kitchen at Ferry Street",
            description="Aunt Wen tells how the ferry came to Port Ellery.",
        ),
    )
    name = "02 t2 Choir/t2.m4a"
    sound_file(folder / name, seed=9)
    report = sound_report(905, [CLIPPED], seed=8)
    one = captured(
        report,
        noticed(
            CLIPPED,
            "From 4:10 the sound was cut flat for five seconds, at the machine and not on the tape.",
            "从 4:10 起有五秒声音被削平；是采集时造成的，不是磁带的问题。",
            ("Turn the input down two marks and record this side once more.", "请把输入调低两格，再录一次这一面。"),
        ),
    )
    choir = Entry(
        id="t2",
        carrier="cassette",
        section="listen",
        label="Choir, St. Brannock's 外婆合唱",
        shown=(Shown(file=keep(name, "copy", "sound"), captured=(one,)),),
        captured=(one,),
    )
    return [wen, choir]


def _films(folder: Path, keep, small) -> list[Entry]:
    entries = []
    told = [
        ("v1", "vhs", "Lantern walk", ("Rose", "Daniel", "Mei"), "1991-23", "Harbour Road", 2880.0, None),
        ("f1", "super8", "At the breakwater", ("Wen", "Harold"), "1974-22", "", 200.0, FLICKER),
    ]
    for at, (id, carrier, title, people, date, place, seconds, finding) in enumerate(told):
        name = f"0{at + 3} {id} {title}/{id}.mp4"
        moving_file(folder / name, seed=at + 1)
        file = keep(name, "copy", "moving", (384, 288))
        poster = small(f"for this letter/{id}.jpg", scene(at + 1), 720)
        strip = Image.new("RGB", (8 * 160, 120))
        for moment in range(8):
            strip.paste(scene(at * 20 + moment).resize((160, 120)), (moment * 160, 0))
        report = Report(
            medium="video" if carrier == "vhs" else "film",
            seconds=seconds,
            measures={"frames": Measured(value=72000, unit="pictures")},
            findings=(finding,) if finding else (),
            trace=Trace(recorded=bytes([1]) * int(seconds * 10)),
        )
        found = (
            (
                noticed(
                    finding,
                    "From 0:20 to 1:36 the light breathes: the old projector-like flicker is on the film.",
                    "从 0:20 到 1:36 画面忽明忽暗：是胶片本身的闪烁。",
                ),
            )
            if finding
            else ()
        )
        one = captured(report, *found)
        entries.append(
            Entry(
                id=id,
                carrier=carrier,
                section="watch",
                label=title,
                said=Described(title=title, people=people, date=date, place=place),
                shown=(
                    Shown(
                        file=file,
                        small=poster,
                        strip=small(f"for this letter/{id}-moments.jpg", strip, 1280),
                        captured=(one,),
                    ),
                ),
                captured=(one,),
            )
        )
    return entries


def _stills(folder: Path, keep, small) -> list[Entry]:
    report = Report(medium="scan", seconds=None, measures={"ppi": Measured(value=600, unit="ppi")}, findings=())
    titles = [
        "Ferry Street, new shutters",
        "Mei with the kite",
        "Four at the pier",
        "",
        "The regatta",
        "Harold, back of the shop",
    ]
    shown = []
    for at, title in enumerate(titles):
        image = scene(30 + at, 640, 480 if at % 3 else 640)
        name = f"05 p1 Box of prints/p1-{at + 1}.jpg"
        jpeg(folder / name, image)
        said = Described(title=title, people=("Harold Marlow",) if at == 5 else (), date="1962?" if at == 0 else "")
        shown.append(
            Shown(
                file=keep(name, "copy", "picture", image.size),
                picture=f"p1-{at + 1}",
                said=said,
                small=small(f"for this letter/p1-{at + 1}.jpg", image, 360),
            )
        )
    prints = Entry(
        id="p1",
        carrier="print",
        section="pictures",
        label="Box of prints",
        shown=tuple(shown),
        captured=(captured(report),),
    )
    singles = []
    for at, (id, title) in enumerate([("s1", "Wedding on the quay"), ("s2", "外婆和小梅 <script>alert(1)</script>")]):
        image = scene(50 + at, 720, 480)
        name = f"0{6 + at} {id}/{id}.jpg"
        jpeg(folder / name, image)
        singles.append(
            Entry(
                id=id,
                carrier="slide",
                section="pictures",
                label=title,
                captured=(captured(report),),
                shown=(
                    Shown(
                        file=keep(name, "copy", "picture", image.size),
                        captured=(captured(report),),
                        small=small(f"for this letter/{id}.jpg", image, 360),
                    ),
                ),
            )
        )
    name = "08 d1 Grandmother's letter/d1.pdf"
    paper(folder / name)
    (folder / "08 d1 Grandmother's letter/d1.txt").write_text("Dear Mei, the harbour is full of lanterns.", "utf-8")
    letter = Entry(
        id="d1",
        carrier="document",
        section="pictures",
        label="Grandmother's letter",
        captured=(captured(report),),
        shown=(
            Shown(
                file=keep(name, "copy", "document"),
                captured=(captured(report),),
                text=keep("08 d1 Grandmother's letter/d1.txt", "text", "text"),
                small=small("for this letter/d1.jpg", page_picture(0), 360),
            ),
        ),
    )
    return [prints, *singles, letter]


def still(at_s: float, seed: int = 3, width: int = 240, height: int = 180) -> Still:
    """A small picture of a moment."""
    from io import BytesIO

    buffer = BytesIO()
    scene(seed, width * 3, height * 3).resize((width, height)).save(buffer, "JPEG", quality=80)
    return Still(at_s=at_s, jpeg=buffer.getvalue(), width=width, height=height)
