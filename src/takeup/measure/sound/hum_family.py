"""Which lasting lines belong together: the multiples of one mains frequency, as recorded or as played.

Everything is counted in multiples of a base near 25 or 30 Hz, half the mains frequency: so a tape played at half speed
(25, 50, 75 Hz) or at double speed (100, 200 Hz) finds its family too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

from takeup.measure.sound.hum_frames import Lasting

BASES_HZ = (22.7, 32.8)  # half of 50 Hz less 9 per cent to half of 60 Hz and 9 per cent
SEEDS = (2, 4, 6, 1)  # a family shows its fundamental, twice or three times of it, or half of it
ODD_WORTH = 0.5  # of an odd multiple of the base: only a tape at half speed has them
MOST_FAMILIES = 3
TELLING = 8  # multiples up to here say what the fundamental is; a note may sit on a higher one by chance


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Lines at whole multiples of ``base_hz``. ``multiples`` in rising order; ``strongest`` is one of them."""

    base_hz: float
    multiples: tuple[int, ...]
    strongest: int
    worth: float

    @property
    def step(self) -> int:
        """The family's fundamental in multiples of the base: 1 (half speed), 2, or 4 (twice the mains or double)."""
        low = [multiple for multiple in self.multiples if multiple <= TELLING] or [2]
        if any(multiple % 2 for multiple in low):
            return 1
        return 2 if any(multiple % 4 for multiple in low) else 4

    @property
    def hz(self) -> float:
        return self.base_hz * self.step


def families_of(lines: Sequence[Lasting], bin_hz: float) -> list[Family]:
    """Families among lasting lines, the most convincing first.

    Parameters
    ----------
    lines : strongest first
    bin_hz : float
        How finely a line's frequency is known.
    """
    left = list(lines)
    found: list[Family] = []
    while len(found) < MOST_FAMILIES:
        seeds = [
            _family(line.hz / multiple, multiple, left, bin_hz)
            for line in left
            for multiple in SEEDS
            if BASES_HZ[0] <= line.hz / multiple <= BASES_HZ[1]
        ]
        if not seeds:
            break
        best = max(seeds, key=lambda family: family.worth)
        found.append(best)
        left = [line for line in left if not _belongs(line, best, bin_hz)]
    return found


def _family(base_hz: float, seed: int, lines: Sequence[Lasting], bin_hz: float) -> Family:
    members: dict[int, float] = {}
    for line in lines:
        multiple = round(line.hz / base_hz)
        if multiple and abs(line.hz - multiple * base_hz) <= _tolerance(multiple, seed, bin_hz):
            members[multiple] = max(members.get(multiple, 0.0), log(line.stands_out))
    if seed % 2 == 0 and not members.keys() & {1, 3}:  # odd ones further up alone are chance
        members = {multiple: worth for multiple, worth in members.items() if multiple % 2 == 0}
    worth = sum(value * (ODD_WORTH if multiple % 2 else 1.0) for multiple, value in members.items())
    return Family(
        base_hz=base_hz,
        multiples=tuple(sorted(members)),
        strongest=max(members, key=lambda multiple: members[multiple]),
        worth=worth,
    )


def _belongs(line: Lasting, family: Family, bin_hz: float) -> bool:
    multiple = round(line.hz / family.base_hz)
    return multiple > 0 and abs(line.hz - multiple * family.base_hz) <= _tolerance(multiple, family.strongest, bin_hz)


def _tolerance(multiple: int, seed: int, bin_hz: float) -> float:
    return bin_hz * (0.6 + 0.5 * multiple / seed)
