"""The Tan-Marlow family of Port Ellery, their box, and what its captures hold. All invented; seeded; nobody's."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from takeup.invent.bed import Print, bed, slide
from takeup.invent.places import town
from takeup.invent.reel import leader_pictures, reel_pictures, repeated
from takeup.invent.tape import Shot, tape_pictures
from takeup.invent.voices import side, strings, talk, through_input

SOUND_HZ = 96000
TOO_LOUD_DB = 12.0  # the first try of side A
PRINTS_PPI, SLIDE_PPI, PAGE_PPI, NEWS_PPI = 600, 2400, 300, 100

ITEMS = """\
id,carrier,label,minutes,feet,count,condition,notes,sides,speed,system,sound
t1,cassette,"Grandma Mei: songs and stories / 外婆的歌",60,,,,"side B only half full",2,,,
t2,cassette,"Uncle Wen practising, 1984",60,,,,"recorded with one microphone",1,,,
t3,cassette,"Wedding speeches",90,,,mould,"from the cellar",2,,,
v1,vhs,"Harbour fair, summer 1991",120,,,,,,sp,pal,linear
v2,vhs,"Nina learns to swim",60,,,,,,sp,pal,linear
v3,vhs,"The Lighthouse Keeper (bought)",105,,,commercial,,,sp,pal,hifi
f1,super8,"Beach and harbour, about 1974",,,,,,,,,none
p1,print,"Four prints from the blue album",,,4,,,,,,
s1,slide,"View from the hill",,,1,,,,,,
d1,document,"Letter from Grandma Mei / 外婆的信",,,2,,,,,,
n1,newspaper,"Port Ellery Courier, one page",,,1,,,,,,
x1,micro-cassette,"Answering machine",,,,,,,,,
"""

DESCRIPTIONS = """\
id,title,description,people,date,place,keywords,creator,rights
t1,Grandma Mei sings and tells,Songs and stories at the kitchen table,Mei Tan,1979-08,Port Ellery,songs;stories,Mei Tan,
t2,Uncle Wen practises,Plucked strings,Wen Tan,1984,Port Ellery,music,,
v1,Harbour fair,The fair at the old harbour,Nina Marlow;Wen Tan,summer 1991,Port Ellery,fair;harbour,,
f1,Beach and harbour,One reel of Super 8,Mei Tan,1974~,Port Ellery,beach,,
p1,Four prints from the blue album,,,197X,Port Ellery,,,
s1,View from the hill,,,1968,Port Ellery,,,
d1,Letter from Grandma Mei,A letter in two languages,Mei Tan,1982-03-14,Port Ellery,letter,Mei Tan,
"""

LETTER_EN = """\
Port Ellery, 14 March 1982

Dear Nina,

The plum tree behind the house has flowered early this year. Your
grandfather says it is because of the mild winter; I say it is because
you watered it so faithfully in the autumn.

We have mended the old tape recorder. On Sunday your uncle Wen
played for us, and I sang the two songs that my mother taught me
when we still lived on the boat. I have written them down for you
on the next page, so that somebody remembers them.

The ferry comes on Tuesdays and Fridays again. Bring your drawing
book, a warm coat and, if you can, a jar of the good honey.

The harbour fair is in the last week of July. Your cousin will sell
paper lanterns, and there will be music until ten o'clock. Please
tell your mother that the blue album is with us; she asked for it.

With love,
Grandma Mei"""

LETTER_ZH = """\
亲爱的妮娜：

今年屋后的李子树开花很早。外公说是因为冬天暖和，
我说是因为你秋天一直认真浇水。

我们修好了旧录音机。星期天，文叔叔弹琴给我们听，
我唱了两首歌，是我母亲在船上的时候教我的。

第一首：月亮出来照海边，小船回家不点灯。
第二首：风吹桂花满院香，外婆等你吃晚饭。

渡船又恢复了，星期二和星期五都有。来的时候请带上
画本、厚外衣，如果可以，再带一瓶好蜂蜜。

港口的集市在七月最后一个星期。请告诉你妈妈，
蓝色的相册在我们这里。

想念你的外婆
一九八二年三月十四日"""

NEWS = """\
THE PORT ELLERY COURIER

Harbour wall to be mended before winter

The town meeting agreed on Monday to mend the
northern harbour wall before the first storms.
Work begins in September and takes six weeks.
The ferry will land at the old quay meanwhile.

Lantern evening drew a crowd

More than four hundred people came to the
lantern evening on Saturday. The school choir
sang, and the rain held off until midnight."""


def first_side(gain_db: float) -> np.ndarray:
    """Side A: talk over a tune; at +16 dB the station's input clips, at 0 dB it does not."""
    voice, tune = talk(13, SOUND_HZ, 11), strings(13, SOUND_HZ, 12)
    return through_input(side(0.55 * voice[:, None] + 0.28 * tune, SOUND_HZ, 13, blank_s=6), gain_db)


def second_side() -> np.ndarray:
    """Side B: recorded for a while, then blank tape until it was stopped."""
    voice = talk(8, SOUND_HZ, 21, pitch_hz=230)
    return through_input(side(np.repeat(0.6 * voice[:, None], 2, axis=1), SOUND_HZ, 23, blank_s=8), 0)


def one_microphone() -> np.ndarray:
    """A side whose right track holds hiss alone: the recording was made with one microphone."""
    tune = strings(11, SOUND_HZ, 31)
    tune[:, 1] = 0
    return through_input(side(1.1 * tune, SOUND_HZ, 33, blank_s=6), 0)


def fair() -> tuple[Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]], np.ndarray]:
    """A tape of two shots with a second of nothing between them, and its sound at 48 kHz."""
    shots = [
        Shot(view=town(41, 1250, 820), pictures=36),
        Shot(view=None, pictures=30),
        Shot(view=town(42, 1250, 820), pictures=36, move=(0.5, 0.03)),
        Shot(view=None, pictures=15),
    ]
    seconds = sum(shot.pictures for shot in shots) / 25
    sound = 0.4 * talk(seconds, 48000, 43)[:, None] + 0.4 * strings(seconds, 48000, 44)
    sound += 10 ** (-55 / 20) * np.random.default_rng(45).standard_normal(sound.shape)
    return tape_pictures(shots, 46), sound


def swimming() -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """A tape in one shot; its capture has no sound."""
    return tape_pictures([Shot(view=town(51, 1250, 820), pictures=60)], 52)


def beach() -> Iterator[np.ndarray]:
    """A Super 8 reel at 18 pictures per second in a file of 30: leader, two shots, run-out."""
    size = (800, 600)

    def film() -> Iterator[np.ndarray]:
        yield from leader_pictures(12, size, 61)
        yield from reel_pictures([town(62, 1150, 720), town(63, 1150, 720)], 72, size, 64)
        yield from leader_pictures(14, size, 65)

    return repeated(film(), 18, 30)


def album() -> np.ndarray:
    """Four prints on the bed, none quite straight, one with a white border; of the bed no more than they cover."""
    prints = [
        Print(
            picture=town(71, 1800, 1260).astype(np.uint8), width_in=3.5, height_in=2.5, middle_in=(2.05, 1.65), tilt=3.2
        ),
        Print(
            picture=town(72, 1500, 1500).astype(np.uint8),
            width_in=3.5,
            height_in=3.5,
            middle_in=(5.95, 2.1),
            tilt=-2.1,
            border_in=0.18,
        ),
        Print(
            picture=town(73, 1400, 1000).astype(np.uint8), width_in=3.5, height_in=2.5, middle_in=(2.05, 4.7), tilt=1.3
        ),
        Print(
            picture=town(74, 1400, 1000).astype(np.uint8), width_in=3.5, height_in=2.5, middle_in=(5.95, 5.6), tilt=-4.0
        ),
    ]
    return bed(prints, (8.0, 7.2), PRINTS_PPI, 75)


def hill() -> np.ndarray:
    """One slide, 36 x 24 mm."""
    return slide(town(81, 1800, 1200), (round(36 / 25.4 * SLIDE_PPI), round(24 / 25.4 * SLIDE_PPI)), 82)
