"""The findings of a scan: what the file says of itself, where things lie on the glass, what is cut in its tones."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from takeup.judge.scan_micro import original_ppi
from takeup.judge.scan_scale import judged_ppi
from takeup.measure.scan.text_tilt import TextTilt
from takeup.streams import Finding, Original
from takeup.tables.rows import Rows

if TYPE_CHECKING:
    from takeup.judge.scan import Seen

SIDES = ("top", "right", "bottom", "left")


def file_findings(seen: Seen, family: str, original: Original, rows: Rows) -> list[Finding]:
    """What the file itself shows: damage, resolution, depth, profile, lossy packing."""
    findings = []
    if seen.broken:
        findings.append(
            Finding(
                name="corrupt",
                verdict="redo",
                again="helps",
                says="corrupt.scan",
                facts={"error": seen.broken},
                rows=("scan.corrupt.least",),
            )
        )
    findings += _resolution(seen, family, original, rows)
    findings += _depth(seen, family, rows)
    findings += _profile(seen)
    if seen.image.lossy and seen.image.codec == "tiff":
        findings.append(
            Finding(name="lossy_source", verdict="look", again="may help", says="lossy_source.stated",
                    facts={"how": seen.image.compression}, rows=("scan.master.no_lossy",))
        )  # fmt: skip
    return findings


def _resolution(seen: Seen, family: str, original: Original, rows: Rows) -> list[Finding]:
    across = judged_ppi(seen, family, rows)
    if seen.image.ppi_stated is None:
        return [
            Finding(
                name="resolution", verdict="look", again="no", says="resolution.unknown", rows=("scan.resolution.told",)
            )
        ]
    if across is None:
        return []  # the file claims more than the glass holds: its word says nothing of how fine the scan is
    if family == "micro":
        on_page = original_ppi(seen, original, rows).value
        if not isinstance(on_page, float):
            return []
        across, family = on_page, "document"
    aim_key, levels_key = f"scan.resolution.{family}.aim", f"scan.resolution.{family}.levels"
    aim, levels, slack = rows.value(aim_key), rows.value(levels_key), rows.value("scan.resolution.slack")
    if across >= aim * (1 - slack):
        return []
    level = sum(bool(across >= least * (1 - slack)) for least in levels)
    facts = {"ppi": round(across), "aim": aim, "least": levels[0], "level": level, "best": levels[-1]}
    too_low = across < levels[0] * (1 - slack)
    says = f"resolution.{'too-low' if too_low else 'under-aim'}" + (".film" if family == "film" else "")
    return [
        Finding(
            name="resolution", verdict="redo" if too_low else "look", again="helps", says=says, value=round(across, 2),
            unit="px/inch", facts=facts, rows=(levels_key,) if too_low else (aim_key, levels_key),
        )
    ]  # fmt: skip


def _depth(seen: Seen, family: str, rows: Rows) -> list[Finding]:
    stated = seen.image.bits_stated
    least_key = "scan.depth.least"
    if stated == 1:
        lost = family in ("print", "film")
        return [
            Finding(name="depth", verdict="redo" if lost else "look", again="helps", says="depth.one-bit", value=1,
                    unit="bits", facts={"least": rows.value(least_key)}, rows=(least_key,))
        ]  # fmt: skip
    true = seen.depth.bits if seen.depth is not None and not seen.broken else None
    if true is None or rows.value(least_key) < true or true >= stated:  # 12 or 14 bits in 16 is a converter's own
        return _stretched(seen, rows)
    facts = {"true": true, "stated": stated, "levels": seen.depth.levels if seen.depth else 0}
    lost = true < rows.value(least_key) and family in ("print", "film")
    return [
        Finding(name="depth", verdict="redo" if lost and true == 1 else "look", again="helps" if lost else "may help",
                says="depth.one-bit" if true == 1 else "depth", value=true, unit="bits",
                facts=facts | {"least": rows.value(least_key)}, rows=(least_key, "scan.depth.true"))
    ]  # fmt: skip


def _stretched(seen: Seen, rows: Rows) -> list[Finding]:
    """Tones that were spread or pressed together after they were counted."""
    if seen.broken or seen.depth is None or seen.image.lossy:
        return []
    gaps_key, combs_key = "scan.stretched.gaps", "scan.stretched.combs"
    gaps, combs = seen.depth.gaps, seen.depth.combs
    if gaps < rows.value(gaps_key) and combs < rows.value(combs_key):
        return []
    facts = {"count": max(gaps, combs), "stated": seen.image.bits_stated, "gaps": gaps, "combs": combs}
    return [
        Finding(name="depth", verdict="look", again="may help", says="depth.stretched", value=max(gaps, combs),
                unit="codes", facts=facts, rows=(gaps_key if gaps >= rows.value(gaps_key) else combs_key,))
    ]  # fmt: skip


def _profile(seen: Seen) -> list[Finding]:
    if "wrong-profile" in seen.notes:
        facts = {"profile": seen.image.profile, "channels": seen.image.channels}
        return [Finding(name="wrong_profile", verdict="look", again="no", facts=facts, rows=("scan.profile.wanted",))]
    if seen.image.profile is None and seen.image.bits_stated > 1:
        return [Finding(name="no_profile", verdict="look", again="no", rows=("scan.profile.wanted",))]
    return []


def place_findings(seen: Seen, family: str, rows: Rows) -> list[Finding]:
    """What lies wrong on the glass: tilted, cut off by the limit of the scan, or not to be told apart."""
    pictures = seen.pictures
    if pictures is None:
        return []
    findings = []
    if pictures.ground == "empty" and family in ("print", "film"):
        findings.append(
            Finding(
                name="split_unsure",
                verdict="look",
                again="may help",
                says="split_unsure.empty",
                rows=("scan.split.least_sides",),
            )
        )
    for box in pictures.unsure:
        findings.append(
            Finding(name="split_unsure", verdict="look", again="may help", area=box,
                    facts={"count": len(pictures.unsure)},
                    rows=("scan.split.least_sides",))
        )  # fmt: skip
    findings += _tilted(seen, family, rows)
    if family == "print" and pictures.ground == "lid":
        findings += _cut_off(seen)
    return findings


def sure_tilt(text: TextTilt | None, rows: Rows) -> TextTilt | None:
    """The turn of a page's lines where it is sure enough to be told; else None."""
    if text is None or text.clear < rows.value("scan.tilt.clear") or text.within > rows.value("scan.tilt.within"):
        return None
    return text


def _tilted(seen: Seen, family: str, rows: Rows) -> list[Finding]:
    pictures = seen.pictures
    assert pictures is not None
    limit_key = f"scan.tilt.{family}"
    limit = rows.value(limit_key)
    tilts = [one.tilt for one in pictures.prints]
    says = "tilted"
    if pictures.ground == "whole":
        tilts = [seen.text.tilt] if seen.text is not None else []
        says = "tilted.text"
    over = [n for n, tilt in enumerate(tilts) if abs(tilt) > limit]
    if not over:
        return []
    worst = max(over, key=lambda n: abs(tilts[n]))
    facts = {"count": len(over), "of": len(tilts), "degrees": abs(tilts[worst])}
    return [
        Finding(name="tilted", verdict="look", again="helps", says=says, area=area_of(pictures.prints[worst].corners),
                value=round(tilts[worst], 3), unit="degrees", facts=facts, rows=(limit_key,))
    ]  # fmt: skip


def _cut_off(seen: Seen) -> list[Finding]:
    """A print that reaches the limit of the scan while lid is seen elsewhere: its edge may lie outside the glass."""
    pictures = seen.pictures
    assert pictures is not None
    findings = []
    for one in pictures.prints:
        if any(one.meets):
            sides = [side for side, meets in zip(SIDES, one.meets, strict=True) if meets]
            findings.append(
                Finding(name="cut_off", verdict="redo" if one.clear else "look",
                        again="helps" if one.clear else "may help", area=area_of(one.corners), facts={"sides": sides},
                        value=len(sides), unit="sides", rows=("scan.cut_off.limit",))
            )  # fmt: skip
    return findings


def clipping_findings(seen: Seen, family: str, rows: Rows) -> list[Finding]:
    """Tones that are cut: whole areas at the last code, in all channels, inside a picture.

    Not judged on pages of text: plain paper at the last code loses nothing that can be told from paper.
    """
    if family not in ("print", "film") or not seen.high or seen.image.bits_stated == 1:
        return []
    findings = []
    for end, shares in (("high", seen.high), ("low", seen.low)):
        look_key, redo_key, channel_key = "scan.clipped.look", "scan.clipped.redo", "scan.clipped.channel"
        worst = int(np.argmax([share.solid for share in shares]))
        solid, channel = shares[worst].solid, max(share.solid_channel for share in shares)
        if solid < rows.value(look_key) and (end == "low" or channel < rows.value(channel_key)):
            continue
        sure = end == "high" and solid >= rows.value(redo_key)
        one_channel = solid < rows.value(look_key)
        value = 100 * (channel if one_channel else solid)
        findings.append(
            Finding(name="clipped", verdict="redo" if sure else "look", again="helps" if sure else "may help",
                    says=f"clipped.{'channel' if one_channel else end}", area=_scaled(shares[worst].area, seen.block),
                    value=round(value, 3), unit="%", facts={"share": value / 100, "pictures": len(shares)},
                    rows=(redo_key if sure else channel_key if one_channel else look_key, "scan.clipped.least_area"))
        )  # fmt: skip
    return findings


def area_of(corners: tuple[tuple[float, float], ...]) -> tuple[float, float, float, float]:
    """The upright box round some corners: x, y, width, height [px]."""
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    return round(min(xs), 1), round(min(ys), 1), round(max(xs) - min(xs), 1), round(max(ys) - min(ys), 1)


def _scaled(area: tuple[int, int, int, int] | None, block: int) -> tuple[float, float, float, float] | None:
    return None if area is None else (area[0] * block, area[1] * block, area[2] * block, area[3] * block)
