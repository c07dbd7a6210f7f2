"""The sound of a video's everyday copy: as loud as it should be, in step with the first picture."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from takeup.media.moving_copy import read_starts
from takeup.media.sound_copy import Chain, Loudness, measure_loudness, write_aac
from takeup.plan.finishing import Gain, plan_gain, plan_mend
from takeup.streams import CaptureFile
from takeup.tables.rows import Rows
from takeup.tasks.ears import Ears
from takeup.tasks.finish_sound import as_played, corrected, correction, with_gain
from takeup.tasks.finishing import Chosen, seconds_to

Notes = list[tuple[str, Mapping[str, Any]]]


def copy_sound(
    part: Chosen, capture: CaptureFile, target: Path, total: float | None, notes: Notes, rows: Rows, ears: Ears
) -> dict[str, Any]:
    """The sound of the copy, in step with the first picture: louder or softer as a whole, its peak held."""
    limits, source = rows.section("formats.sound.copy"), part.stored[0]
    report = part.reports[0]
    starts = read_starts(source)
    later_ms = 1000 * starts.sound_later_s
    if abs(later_ms) > rows.value("formats.video.copy.longest_offset_ms"):
        notes.append(("finish.sound-far-off", {"file": source.name, "offset": later_ms}))
    names = {finding.name for finding in report.findings} if report else set()
    peaks = measure_loudness(source).channels_dbtp if "channel_missing" in names else ()
    mend = plan_mend(report, capture.sound.channels if capture.sound else 2, peaks)
    chain = Chain(rate_hz=limits["rate_hz"], mend=mend, starts_s=starts.sound_later_s)
    name = part.name
    heard = measure_loudness(
        source, chain, hear=lambda done: ears.progress(f"{name}: loudness", done, total, "seconds")
    )
    stereo = len(heard.channels_dbtp) > 1
    gain = plan_gain([as_played(heard, limits)], rows)
    chain, result, gain = _aac(
        source, target, chain, heard, gain, limits, seconds_to(ears, f"{name}: sound", total), total
    )
    if gain.set_by == "peak":
        notes.append(
            (
                "finish.quieter-for-peak",
                {"name": name, "loudness": as_played(result, limits).lufs, "aim": limits["loudness_lufs"]},
            )
        )
    if mend != "none":
        notes.append((f"finish.mended-{mend}", {"name": name}))
    return {
        "sound": "AAC", "sound_rate_hz": chain.rate_hz, "channels": len(result.channels_dbtp),
        "sound_bits_s": limits["stereo_bits_s" if stereo else "mono_bits_s"], "gain_db": round(gain.db, 2),
        "gain_set_by": gain.set_by, "loudness_lufs": result.lufs,
        "as_played_lufs": as_played(result, limits).lufs,
        "true_peak_dbtp": None if result.true_peak_dbtp is None else round(result.true_peak_dbtp, 2),
        "sound_offset_corrected_ms": round(later_ms, 3), "channels_mended": mend,
    }  # fmt: skip


def _aac(
    source: Path, target: Path, chain: Chain, heard: Loudness, gain: Gain, limits: Mapping[str, Any],
    hear: Callable[[float], None], total: float | None,
) -> tuple[Chain, Loudness, Gain]:  # fmt: skip
    bits_s = limits["stereo_bits_s" if len(heard.channels_dbtp) > 1 else "mono_bits_s"]
    result = heard
    for _ in range(limits["tries"]):
        chain = with_gain(chain, gain.db)
        write_aac(source, target, chain, bits_s=bits_s, tags={}, total_s=total, hear=hear)
        result = measure_loudness(target)
        step = correction([result], gain, limits)
        if step == 0.0:
            break
        gain = corrected(gain, step, [result], limits)
    return chain, result, gain
