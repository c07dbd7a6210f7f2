"""Do faults come back once for every turn of a reel? Times of events in, the reel they sit on out.

A dent or crease pressed through wound tape, or a bent reel, strikes once a turn. Turns of the take-up reel grow longer,
turns of the supply reel shorter, both as :mod:`reel` says; a worn roller, a beat or a scratched record keeps its time.
The events' phases along every curve a reel can give are added as arrows: those of one place on a reel point one way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from takeup.measure.sound.reel import ReelLaw, slope_of

WINDOWS_S = (120.0, 300.0)  # the turns of a shorter stretch do not tell growing from shrinking
FEWEST = 8  # events
MOST = 100  # events of a stretch: of more only the heaviest count
PERIODS_S = (1.35, 3.45)  # hubs and full reels of cassettes, and a margin
TAPES_UM = (7.5, 21.0)
LEVEL_UM = 4.0  # thinner than any tape: a period that hardly moves
FINE = 0.25  # of a turn between neighbouring curves, at the ends of a stretch
PROMISING = 3.0  # score of a short stretch that is worth a longer look
TRIALS = 0.1  # independent curves among all that are tried


@dataclass(frozen=True, slots=True, kw_only=True)
class Turns:
    """Events that return with a reel. Scores are natural logarithms of how unlikely chance is."""

    law: ReelLaw
    from_s: float  # first and last of these events
    to_s: float
    heard: int  # events that keep to it
    turns: float  # of the reel between them
    share: float  # of all events of the stretch
    score: float  # after all curves that were tried
    level: float  # the same of periods that do not move, and of the other reel
    other: float


def find_turns(at_s: np.ndarray, weights: np.ndarray | None = None) -> tuple[Turns, ...]:
    """Stretches whose events follow a reel, best first; stretches do not overlap.

    Parameters
    ----------
    at_s : times of events [s], in order, shape (n,)
    weights : how much each counts (a depth, say), shape (n,); all alike unless given
    """
    at_s = np.asarray(at_s, float)
    weights = np.ones(len(at_s)) if weights is None else np.asarray(weights, float)
    if len(at_s) < FEWEST:
        return ()
    found: list[Turns] = []
    for length in WINDOWS_S:
        for start in np.arange(at_s[0], max(at_s[-1] - length / 2, at_s[0] + 1e-9), length / 2):
            inside = (at_s >= start) & (at_s <= start + length)
            hopeless = length > WINDOWS_S[0] and not any(
                one.from_s < start + length and one.to_s > start and max(one.score, one.level) > PROMISING
                for one in found
            )
            turns = None if hopeless or inside.sum() < FEWEST else _stretch(at_s[inside], weights[inside])
            if turns is not None:
                found.append(turns)
    kept: list[Turns] = []
    for one in sorted(found, key=lambda turns: -turns.score):
        if all(one.to_s < other.from_s or one.from_s > other.to_s for other in kept):
            kept.append(one)
    return tuple(kept)


def _stretch(at_s: np.ndarray, weights: np.ndarray) -> Turns | None:
    if len(at_s) > MOST:
        heavy = np.sort(np.argsort(-weights, kind="stable")[:MOST])
        at_s, weights = at_s[heavy], weights[heavy]
    half_s = (at_s[-1] - at_s[0]) / 2
    if half_s <= PERIODS_S[1]:
        return None
    middle_s = (at_s[0] + at_s[-1]) / 2
    step = FINE * 4 * PERIODS_S[0] ** 3 / half_s**2
    tapes = np.arange(slope_of(TAPES_UM[0]), slope_of(TAPES_UM[1]) + step, step)
    level = np.arange(-slope_of(LEVEL_UM), slope_of(LEVEL_UM) + step / 2, step)
    rates = np.arange(1 / PERIODS_S[1], 1 / PERIODS_S[0], FINE / half_s)
    best = {name: _best(at_s - middle_s, weights, rates, slopes) for name, slopes in _kinds(tapes, level)}
    tried = np.log(max(TRIALS * len(rates) * 2 * len(tapes), 1.0))
    name, other = ("growing", "shrinking") if best["growing"][0] > best["shrinking"][0] else ("shrinking", "growing")
    power, rate, slope = best[name]
    law = ReelLaw(at_s=float(middle_s), period_s=1 / rate, slope_s=slope)
    turned = law.turns(at_s)
    turn = np.exp(2j * np.pi * turned)
    near = (turn * np.exp(-1j * np.angle(weights @ turn))).real > np.sqrt(0.5)  # within an eighth of a turn
    if near.sum() < FEWEST:
        return None
    first, last = _densest(near)
    return Turns(
        law=law,
        from_s=float(at_s[first]),
        to_s=float(at_s[last]),
        heard=int(near[first : last + 1].sum()),
        turns=float(abs(turned[last] - turned[first])),
        share=float(weights[near].sum() / weights.sum()),
        score=float(power - tried),
        level=float(best["level"][0] - tried),
        other=float(best[other][0] - tried),
    )


def _densest(near: np.ndarray) -> tuple[int, int]:
    """First and last event of the stretch in which most keep to the reel: one each for it, one off for each other."""
    total = np.concatenate([[0], np.cumsum(np.where(near, 1, -1))])
    gains = total[1:] - np.minimum.accumulate(total[:-1])
    last = int(gains.argmax())
    return int(total[: last + 1].argmin()), last


def _kinds(tapes: np.ndarray, level: np.ndarray) -> tuple[tuple[str, np.ndarray], ...]:
    return ("growing", tapes), ("shrinking", -tapes), ("level", level)


def _best(at_s: np.ndarray, weights: np.ndarray, rates: np.ndarray, slopes: np.ndarray) -> tuple[float, float, float]:
    """The curve along which the arrows add up best: power (natural logarithm of chance), turns a second, slope."""
    best = (0.0, float(rates[0]), float(slopes[0]))
    total, light = float((weights**2).sum()), weights.astype(np.float32)
    for slope in slopes:
        phases = _turns(at_s, 1 / rates, float(slope))
        phases = (2 * np.pi * (phases - np.round(phases))).astype(np.float32)
        powers = (np.square(np.cos(phases) @ light) + np.square(np.sin(phases) @ light)) / total
        at = int(powers.argmax())
        if powers[at] > best[0]:
            best = (float(powers[at]), float(rates[at]), float(slope))
    return best


def _turns(at_s: np.ndarray, periods_s: np.ndarray, slope: float) -> np.ndarray:
    """Turns since the middle, for each period there; where the reel would be empty, those of its last turn's end.

    Shape (periods, events).
    """
    square = np.maximum(periods_s[:, None] ** 2 + slope * at_s, 0.0)
    if abs(slope) < 1e-9:
        return at_s / periods_s[:, None]
    return 2 * (np.sqrt(square) - periods_s[:, None]) / slope
