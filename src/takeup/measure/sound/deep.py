"""What the deeper listening gave: the facts that do not come from the hops of 10 ms."""

from __future__ import annotations

from dataclasses import dataclass

from takeup.measure.sound.bandwidth import Bandwidth
from takeup.measure.sound.delay import Delay
from takeup.measure.sound.direction import Direction
from takeup.measure.sound.dropouts import Dropout
from takeup.measure.sound.flutter import Flutter
from takeup.measure.sound.gaps import Gaps
from takeup.measure.sound.hum import Hum
from takeup.measure.sound.lossy import Lossy
from takeup.measure.sound.print_through import PrintThrough
from takeup.measure.sound.spectrum import Spectrum
from takeup.measure.sound.strip import Strip
from takeup.measure.sound.tops import FlatTops
from takeup.measure.sound.turns import Turns


@dataclass(frozen=True, slots=True, kw_only=True)
class DeepFacts:
    """None where a matter cannot be told from this capture."""

    delay: Delay | None = None
    strip: Strip | None = None
    hum: Hum | None = None
    gaps: Gaps | None = None
    flutter: Flutter | None = None
    spectrum: Spectrum | None = None
    bandwidth: Bandwidth | None = None  # told of the spectrum once it is known what each hop holds
    bits: int | None = None
    tops: FlatTops | None = None  # the height with most flat tops, cut or not
    lossy: Lossy | None = None
    dropouts: tuple[Dropout, ...] = ()
    direction: Direction | None = None
    print_through: PrintThrough | None = None  # the best curve of a reel, told or not
    turns: tuple[Turns, ...] = ()  # dropouts that return with a reel
