"""Finish a sound item: a master for each side, and everyday copies of all sides at one gain."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import asdict
from pathlib import Path
from typing import Any

from takeup import __version__
from takeup.files.beside import beside
from takeup.files.copy import copy_file
from takeup.media.probe import look_at
from takeup.media.sound_copy import Chain, Loudness, measure_loudness, write_aac
from takeup.media.sound_write import write_sound_master
from takeup.media.wave_tags import Bext, bext_description
from takeup.media.xmp import xmp_packet
from takeup.plan.finishing import Gain, Heard, plan_gain, plan_mend, plan_sound_master, plan_trim
from takeup.plan.tag_names import info_fields
from takeup.plan.tagging import Tags, plan_tags
from takeup.settings import Settings
from takeup.streams import CaptureFile, Report
from takeup.tables.rows import Rows
from takeup.tasks.ears import Ears
from takeup.tasks.finishing import Chosen, Made, Place, bytes_to, seconds_to
from takeup.words.dates import said_of

DECIBELS = 2  # figures in an answer


def finish_sound(chosen: list[Chosen], place: Place, rows: Rows, settings: Settings, ears: Ears) -> list[Made]:
    """Make what is wanted of the sides of one item."""
    made: list[Made] = []
    tags = {side.part: side_tags(side, at, len(chosen)) for at, side in enumerate(chosen, 1)}
    if place.wants("master"):
        made += [_master(side, tags[side.part], place, rows, settings, ears) for side in chosen]
    if place.wants("copy"):
        made += _copies(chosen, tags, place, rows, ears)
    return made


def side_tags(side: Chosen, at: int, of: int) -> Tags:
    """What a finished side says of itself."""
    date = side.told.date if side.told else ""
    return plan_tags(side.original, side.told, part=side.part, place_in=(at, of), date_said=said_of(date, "en"))


def _master(side: Chosen, tags: Tags, place: Place, rows: Rows, settings: Settings, ears: Ears) -> Made:
    capture, path = look_at(side.stored[0]), side.stored[0]
    if plan_sound_master(capture, rows) == "as-it-is":
        return keep_as_it_is(side, place, capture, tags.title, ears)
    target = place.master(f"{side.name}.wav")
    if standing := place.standing(target, side.stored):
        return standing
    bext = bext_of(side, capture, tags, settings)
    info = {name: text for name, text in info_fields(tags).items() if text}
    total = side.reports[0].seconds if side.reports[0] else None
    with beside(target) as part:
        proof = write_sound_master(
            path,
            part,
            bits=capture.sound.bits if capture.sound else None,
            bext=bext,
            info=info,
            xmp=xmp_packet(tags) if side.told else b"",
            riff_limit_bytes=rows.value("formats.sound.master.riff_limit_bytes"),
            hear=seconds_to(ears, target.name, total),
        )
    notes: list[tuple[str, Mapping[str, Any]]] = []
    if not proof.was_closed:
        notes.append(("finish.header-closed", {"file": path.name}))
    if proof.broken:
        notes.append(("finish.broken-off", {"file": path.name}))
    made_with = {
        "format": "WAV",
        "codec": "PCM",
        "rate_hz": proof.rate_hz,
        "bits": proof.bits,
        "channels": proof.channels,
        "samples": "unchanged, read back and compared",
        "samples_sha256": proof.samples_sha256,
        "bext": {name: value for name, value in asdict(bext).items() if value not in ("", b"", None, 0)},
    }
    return Made(
        path=target, role="master", from_=side.stored, settings=made_with, title=tags.title, seconds=total,
        notes=tuple(notes), part=side.part, tagged=True,
    )  # fmt: skip


def keep_as_it_is(side: Chosen, place: Place, capture: CaptureFile, title: str, ears: Ears) -> Made:
    """A capture that is already lossy (or lossless in its kept form) is its own master: the same bytes."""
    source = side.stored[0]
    target = place.master(f"{side.name}{source.suffix.lower()}")
    if standing := place.standing(target, side.stored):
        return standing
    with beside(target) as part:
        copy_file(source, part, hear=bytes_to(ears, target.name, capture.bytes))
    stream = capture.picture or capture.sound
    lossy = stream is not None and stream.lossy
    settings: dict[str, Any] = {
        "kept": "as it is",
        "format": capture.container,
        "codec": stream.codec if stream else "",
    }
    notes = (("finish.kept-lossy", {"file": source.name, "codec": settings["codec"]}),) if lossy else ()
    return Made(
        path=target, role="master", from_=side.stored, settings=settings, title=title, notes=notes, part=side.part,
        seconds=side.reports[0].seconds if side.reports[0] else None,
    )  # fmt: skip


def bext_of(side: Chosen, capture: CaptureFile, tags: Tags, settings: Settings) -> Bext:
    """The broadcast extension of a side's master."""
    figures = _figures(side.reports[0])
    date = side.dates[0] if side.dates else ""
    sound = capture.sound
    mode = {1: "mono", 2: "stereo"}.get(sound.channels, "multitrack") if sound else "stereo"
    first = f"A=ANALOGUE,M={mode},T={side.original.carrier}"
    second = f"A=PCM,F={sound.rate_hz},W={sound.bits or 24},M={mode},T=takeup {__version__}" if sound else ""
    return Bext(
        description=bext_description(side.name, tags.title, tags.description),
        originator=settings.lab,
        originator_reference=f"{side.name[:23]}-{side.sha256[0][:8]}" if side.sha256 else side.name,
        origination_date=date[:10],
        origination_time=date[11:19].replace(":", "-"),
        loudness=figures.get("loudness"),
        loudness_range=figures.get("loudness_range"),
        max_true_peak=figures.get("true_peak"),
        coding_history=f"{first}\r\n{second}\r\n",
    )


def _figures(report: Report | None) -> dict[str, float]:
    if report is None:
        return {}
    wanted = ("loudness", "loudness_range", "true_peak")
    values = {name: report.measures[name].value for name in wanted if name in report.measures}
    return {name: value for name, value in values.items() if isinstance(value, (int, float))}


def _copies(chosen: list[Chosen], tags: dict[str, Tags], place: Place, rows: Rows, ears: Ears) -> list[Made]:
    """All sides at one gain; made again together when a side has come, gone or changed."""
    limits = rows.section("formats.sound.copy")
    targets = [place.copy(f"{side.name}.m4a") for side in chosen]
    together = sorted(relative for side in chosen for relative in side.relative)
    standing = [place.standing(target, side.stored) for target, side in zip(targets, chosen)]
    if all(made is not None and made.settings.get("one_gain_for") == together for made in standing):
        return [made for made in standing if made is not None]
    chains, heard = _heard(chosen, limits, rows, ears)
    mono = [len(sound.channels_dbtp) == 1 for sound in heard]
    aim = limits["mono_lufs"] if all(mono) else limits["loudness_lufs"]
    gain = plan_gain([Heard(lufs=sound.lufs, true_peak_dbtp=sound.true_peak_dbtp) for sound in heard], aim, rows)
    with ExitStack() as stack:
        parts = [stack.enter_context(beside(target)) for target in targets]
        chains, results, gain = _written(chosen, chains, heard, parts, tags, aim, gain, limits, ears)
    return [
        Made(
            path=target, role="copy", from_=side.stored, title=tags[side.part].title, seconds=result.seconds,
            settings=_copy_settings(chain, result, gain, limits, together), part=side.part,
            notes=_copy_notes(side, chain, result, gain, aim), tagged=True,
        )
        for side, target, chain, result in zip(chosen, targets, chains, results)
    ]  # fmt: skip


def _heard(
    chosen: list[Chosen], limits: Mapping[str, Any], rows: Rows, ears: Ears
) -> tuple[list[Chain], list[Loudness]]:
    """What each side's chain is before any gain, and how loud it is then."""
    chains, heard = [], []
    for side in chosen:
        path, report = side.stored[0], side.reports[0]
        total = report.seconds if report else None
        hear = seconds_to(ears, f"{side.name}: loudness", total)
        sound = look_at(path).sound
        channels = sound.channels if sound else 2
        names = {finding.name for finding in report.findings} if report else set()
        peaks = measure_loudness(path, hear=hear).channels_dbtp if "channel_missing" in names else ()
        stretch = plan_trim(report, total, rows) if total else None
        chain = Chain(
            rate_hz=limits["rate_hz"],
            mend=plan_mend(report, channels, peaks),
            from_s=stretch[0] if stretch else None,
            to_s=stretch[1] if stretch else None,
            fades_s=(limits["fade_in_s"], limits["fade_out_s"]) if stretch else None,
        )
        chains.append(chain)
        heard.append(measure_loudness(path, chain, hear=hear))
    return chains, heard


def _written(
    chosen: list[Chosen], chains: list[Chain], heard: list[Loudness], parts: list[Path], tags: dict[str, Tags],
    aim: float, gain: Gain, limits: Mapping[str, Any], ears: Ears,
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
                tags=aac_tags(tags[side.part], limits["artist"]), total_s=before.seconds,
                hear=seconds_to(ears, f"{side.name}{part.suffix}", before.seconds),
            )  # fmt: skip
            results.append(measure_loudness(part))
        step = correction(results, aim, gain, limits)
        if step == 0.0:
            break
        gain = corrected(gain, step, results, aim, limits)
    return chains, results, gain


def correction(results: list[Loudness], aim: float, gain: Gain, limits: Mapping[str, Any]) -> float:
    """By how much to change the gain; 0 when the copies are right. [dB]"""
    peaks = [result.true_peak_dbtp for result in results if result.true_peak_dbtp is not None]
    over = max(peaks, default=-200.0) - limits["peak_dbtp"]
    if over > 0:
        return -(over + limits["peak_margin_db"])
    loudest = max((result.lufs for result in results if result.lufs is not None), default=aim)
    off = aim - loudest  # what the coder took away: it leaves the highest treble out
    room = min(-over - limits["peak_margin_db"], limits["gain_max_db"] - gain.db)
    if gain.set_by == "loudness" and abs(off) > limits["near_lu"]:
        return min(off, room) if room > 0 or off < 0 else 0.0
    if gain.set_by == "peak" and -over > limits["peak_slack_db"] and off > limits["near_lu"] and room > 0:
        return min(off, room)
    return 0.0


def corrected(gain: Gain, step: float, results: list[Loudness], aim: float, limits: Mapping[str, Any]) -> Gain:
    """The gain of the next try, and what sets it now."""
    loudest = max((result.lufs for result in results if result.lufs is not None), default=aim)
    reached = abs(loudest + step - aim) <= limits["near_lu"]
    return Gain(db=gain.db + step, set_by="loudness" if reached and gain.set_by == "loudness" else "peak")


def with_gain(chain: Chain, gain_db: float) -> Chain:
    """The same chain at another gain."""
    return Chain(
        rate_hz=chain.rate_hz, mend=chain.mend, from_s=chain.from_s, to_s=chain.to_s, starts_s=chain.starts_s,
        gain_db=gain_db, fades_s=chain.fades_s,
    )  # fmt: skip


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


def _copy_settings(
    chain: Chain, result: Loudness, gain: Gain, limits: Mapping[str, Any], together: list[str]
) -> dict[str, Any]:
    stereo = len(result.channels_dbtp) > 1
    return {
        "format": "M4A", "codec": "AAC", "rate_hz": chain.rate_hz, "channels": len(result.channels_dbtp),
        "bits_s": limits["stereo_bits_s" if stereo else "mono_bits_s"],
        "gain_db": round(gain.db, DECIBELS), "gain_set_by": gain.set_by, "one_gain_for": together,
        "loudness_lufs": result.lufs,
        "true_peak_dbtp": None if result.true_peak_dbtp is None else round(result.true_peak_dbtp, DECIBELS),
        "channels_mended": chain.mend,
        "from_s": chain.from_s, "to_s": chain.to_s,
    }  # fmt: skip


def _copy_notes(
    side: Chosen, chain: Chain, result: Loudness, gain: Gain, aim: float
) -> tuple[tuple[str, Mapping[str, Any]], ...]:
    notes: list[tuple[str, Mapping[str, Any]]] = []
    if chain.mend != "none":
        notes.append((f"finish.mended-{chain.mend}", {"name": side.name}))
    if gain.set_by == "peak":
        notes.append(("finish.quieter-for-peak", {"name": side.name, "loudness": result.lufs, "aim": aim}))
    if gain.set_by == "most":
        notes.append(("finish.gain-at-most", {"name": side.name, "gain": gain.db}))
    if gain.set_by == "silence":
        notes.append(("finish.silent", {"name": side.name}))
    return tuple(notes)
