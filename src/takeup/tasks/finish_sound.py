"""Finish a sound item: a master for each side, and everyday copies of all sides at one gain."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any

from takeup.files.beside import beside
from takeup.media.sound_copy import Chain, Loudness, measure_loudness, write_aac
from takeup.plan.finishing import Gain, Heard, plan_gain
from takeup.plan.tagging import Tags
from takeup.settings import Settings
from takeup.tables.rows import Rows
from takeup.tasks.ears import Ears
from takeup.tasks.finish_sound_master import make_master, side_tags
from takeup.tasks.finish_sound_mend import mended_chain
from takeup.tasks.finishing import Chosen, Made, Place, seconds_to

DECIBELS = 2  # figures in an answer


def finish_sound(chosen: list[Chosen], place: Place, rows: Rows, settings: Settings, ears: Ears) -> list[Made]:
    """Make what is wanted of the sides of one item."""
    made: list[Made] = []
    tags = {side.part: side_tags(side, at, len(chosen)) for at, side in enumerate(chosen, 1)}
    if place.wants("master"):
        made += [make_master(side, tags[side.part], place, rows, settings, ears) for side in chosen]
    if place.wants("copy"):
        made += _copies(chosen, tags, place, rows, ears)
    return made


def _copies(chosen: list[Chosen], tags: dict[str, Tags], place: Place, rows: Rows, ears: Ears) -> list[Made]:
    """All sides at one gain; made again together when a side has come, gone or changed."""
    limits = rows.section("formats.sound.copy")
    targets = [place.copy(f"{side.name}.m4a") for side in chosen]
    together = sorted(relative for side in chosen for relative in side.relative)
    standing = [place.standing(target, side.stored) for target, side in zip(targets, chosen)]
    asked = {"one_gain_for": together, "mend_asked": [*place.mend]}
    if all(made is not None and {name: made.settings.get(name) for name in asked} == asked for made in standing):
        return [made for made in standing if made is not None]
    sides = [mended_chain(side, place.mend, rows, ears) for side in chosen]
    chains = [side.chain for side in sides]
    heard = [_loudness(side, chain, ears) for side, chain in zip(chosen, chains)]
    gain = plan_gain([as_played(sound, limits) for sound in heard], rows)
    with ExitStack() as stack:
        parts = [stack.enter_context(beside(target)) for target in targets]
        chains, results, gain = _written(chosen, chains, heard, parts, tags, gain, limits, ears)
    return [
        Made(
            path=target, role="copy", from_=side.stored, title=tags[side.part].title, seconds=result.seconds,
            settings=_copy_settings(chain, result, gain, limits) | asked | {"mended": [*done.mended]}, part=side.part,
            notes=(*done.notes, *_copy_notes(side, result, gain, limits)), tagged=True,
        )
        for side, target, chain, result, done in zip(chosen, targets, chains, results, sides)
    ]  # fmt: skip


def _loudness(side: Chosen, chain: Chain, ears: Ears) -> Loudness:
    """How loud a side is at the end of its chain, before any gain."""
    total = side.reports[0].seconds if side.reports[0] else None
    return measure_loudness(side.stored[0], chain, hear=seconds_to(ears, f"{side.name}: loudness", total))


def _written(
    chosen: list[Chosen], chains: list[Chain], heard: list[Loudness], parts: list[Path], tags: dict[str, Tags],
    gain: Gain, limits: Mapping[str, Any], ears: Ears,
) -> tuple[list[Chain], list[Loudness], Gain]:  # fmt: skip
    """Code all sides, measure what a player will hear, and come down until no decoded peak is over the limit."""
    results: list[Loudness] = []
    for _ in range(limits["tries"]):
        chains = [with_gain(chain, gain.db) for chain in chains]
        results = []
        for side, chain, before, part in zip(chosen, chains, heard, parts):
            stereo = len(before.channels_dbtp) > 1
            write_aac(
                side.stored[0], part, chain, bits_s=limits["stereo_bits_s" if stereo else "mono_bits_s"],
                tags=aac_tags(tags[side.part], limits["artist"]), total_s=before.seconds / chain.speed,
                hear=seconds_to(ears, f"{side.name}{part.suffix}", before.seconds),
            )  # fmt: skip
            results.append(measure_loudness(part, closely=True))
        step = correction(results, gain, limits)
        if step == 0.0:
            break
        gain = corrected(gain, step, results, limits)
    return chains, results, gain


def as_played(sound: Loudness, limits: Mapping[str, Any]) -> Heard:
    """How loud a track is on two loudspeakers: a single channel comes from both."""
    louder = limits["loudness_lufs"] - limits["mono_lufs"] if len(sound.channels_dbtp) == 1 else 0.0
    lufs = None if sound.lufs is None else sound.lufs + louder
    return Heard(lufs=lufs, true_peak_dbtp=sound.true_peak_dbtp)


def correction(results: list[Loudness], gain: Gain, limits: Mapping[str, Any]) -> float:
    """By how much to change the gain; 0 when the copies are right. [dB]"""
    peaks = [result.true_peak_dbtp for result in results if result.true_peak_dbtp is not None]
    over = max(peaks, default=-200.0) - limits["peak_dbtp"]
    if over > 0:
        return -(over + limits["peak_margin_db"])
    aim = limits["loudness_lufs"]
    loudest = max(
        (heard.lufs for result in results if (heard := as_played(result, limits)).lufs is not None), default=aim
    )
    off = aim - loudest  # what the coder took away: it leaves the highest treble out
    room = min(-over - limits["peak_margin_db"], limits["gain_max_db"] - gain.db)
    if gain.set_by == "loudness" and abs(off) > limits["near_lu"]:
        return min(off, room) if room > 0 or off < 0 else 0.0
    if gain.set_by == "peak" and -over > limits["peak_slack_db"] and off > limits["near_lu"] and room > 0:
        return min(off, room)
    return 0.0


def corrected(gain: Gain, step: float, results: list[Loudness], limits: Mapping[str, Any]) -> Gain:
    """The gain of the next try, and what sets it now."""
    aim = limits["loudness_lufs"]
    loudest = max(
        (heard.lufs for result in results if (heard := as_played(result, limits)).lufs is not None), default=aim
    )
    reached = abs(loudest + step - aim) <= limits["near_lu"]
    return Gain(db=gain.db + step, set_by="loudness" if reached and gain.set_by == "loudness" else "peak")


def with_gain(chain: Chain, gain_db: float) -> Chain:
    """The same chain at another gain."""
    return replace(chain, gain_db=gain_db)


def aac_tags(tags: Tags, artist: str) -> dict[str, str]:
    """libav's names for an everyday sound file."""
    return {
        "title": tags.title,
        "artist": tags.creator or artist,
        "album": tags.album,
        "track": f"{tags.track}/{tags.tracks}" if tags.tracks > 1 else "",
        "date": tags.date_text,
        "comment": tags.comment(),
        "copyright": tags.rights,
    }


def _copy_settings(chain: Chain, result: Loudness, gain: Gain, limits: Mapping[str, Any]) -> dict[str, Any]:
    stereo = len(result.channels_dbtp) > 1
    return {
        "format": "M4A", "codec": "AAC", "rate_hz": chain.rate_hz, "channels": len(result.channels_dbtp),
        "bits_s": limits["stereo_bits_s" if stereo else "mono_bits_s"],
        "gain_db": round(gain.db, DECIBELS), "gain_set_by": gain.set_by,
        "loudness_lufs": result.lufs, "as_played_lufs": as_played(result, limits).lufs,
        "true_peak_dbtp": None if result.true_peak_dbtp is None else round(result.true_peak_dbtp, DECIBELS),
        "channels_mended": chain.mend,
        "from_s": chain.from_s, "to_s": chain.to_s, "speed": chain.speed,
    }  # fmt: skip


def _copy_notes(
    side: Chosen, result: Loudness, gain: Gain, limits: Mapping[str, Any]
) -> tuple[tuple[str, Mapping[str, Any]], ...]:
    notes: list[tuple[str, Mapping[str, Any]]] = []
    if gain.set_by == "peak":
        notes.append(
            (
                "finish.quieter-for-peak",
                {"name": side.name, "loudness": as_played(result, limits).lufs, "aim": limits["loudness_lufs"]},
            )
        )
    if gain.set_by == "most":
        notes.append(("finish.gain-at-most", {"name": side.name, "gain": gain.db}))
    if gain.set_by == "silence":
        notes.append(("finish.silent", {"name": side.name}))
    return tuple(notes)
