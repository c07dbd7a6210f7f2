"""The letter in the parcel, ``data/open-me.html``: one page, both languages, opens from the drive anywhere.

Pure: :class:`~takeup.pages.contents.Contents` in, HTML out. Everything a family or a file name gives is escaped; the
page loads nothing but the parcel's own files, and runs only the one script whose fingerprint stands in its head.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from takeup.pages.contents import Captured, Contents, Entry, Noticed, Said, Shown
from takeup.pages.figures import figures_of, measure_name, named_or_plain
from takeup.pages.kinds import kinds, more_of_a_kind
from takeup.pages.knots import seconds_of
from takeup.pages.over_time import over_time_picture, stretches_told
from takeup.pages.signs import sign
from takeup.pages.thread import Size, thread
from takeup.words.dates import said_date
from takeup.words.edtf import read_date
from takeup.words.sentences import LANGUAGES, say
from takeup.words.units import clock, size

TEMPLATES = Path(__file__).parent / "templates"
SECTIONS = ("listen", "watch", "pictures")
SHOWN_AT_ONCE = 2  # sentences on a card before the fold
OF_A_KIND = 5  # sentences of one kind, before the rest of them are only counted
FLASHES = {"flicker", "tracking", "no_signal", "jitter", "corrupt"}  # findings whose picture may flash
PLAY_BEFORE_S = 3.0  # a place is played from a little before it


def letter_page(contents: Contents) -> str:
    """The whole page."""
    sections = [(name, [entry for entry in contents.entries if entry.section == name]) for name in SECTIONS]
    return (
        environment()
        .get_template("letter.html")
        .render(
            contents=contents,
            sections=[(name, entries) for name, entries in sections if entries],
            script=Markup(script()),
            fingerprint=fingerprint(script()),
        )
    )


@cache
def environment() -> Environment:
    """The templates with the words, signs and figures they may use. Escapes everything."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals |= {
        "both": both,
        "term": term,
        "opening": opening,
        "telling": telling,
        "said": said_in_both,
        "day": day,
        "sign": sign,
        "thread": entry_thread,
        "title_of": title_of,
        "figures_of": figures_in_both,
        "first_of": first_of,
        "rest_of": rest_of,
        "dos_of": dos_of,
        "side_of": side_of,
        "over_time": over_time_of,
        "over_time_rows": over_time_rows,
        "left_out_of": left_out_of,
        "noticed_in": noticed_in,
        "places_of": places_of,
        "flashes": flashes,
        "unmeasured_of": unmeasured_of,
        "word_of": word_of,
        "when": when,
        "part_of": part_of,
        "share_of": share_of,
        "length_of": length_of,
        "groups_of": groups_of,
        "at_once": SHOWN_AT_ONCE,
    }
    made.filters |= {"href": href, "size": size, "clock": clock}
    return made


def both(key: str, tag: str = "span", **facts: Any) -> Markup:
    """A sentence of ``words/letter`` in both languages; the page shows one of them."""
    return in_both({lang: say("letter", key, lang, _for(lang, facts)) for lang in LANGUAGES}, tag)


def telling(*sentences: tuple[str, Mapping[str, Any]]) -> Markup:
    """Sentences that follow each other, joined as each language joins them: with a space, or with nothing."""
    runs = {
        lang: ("" if lang == "zh-Hans" else " ").join(
            say("letter", key, lang, _for(lang, facts)) for key, facts in sentences
        )
        for lang in LANGUAGES
    }
    return in_both(runs)


def opening(contents: Contents) -> Markup:
    """The letter's first paragraph: when, how much, and that it opens anywhere."""
    days = {"brought": day(contents.brought), "packed": day(contents.packed)}
    told: list[tuple[str, Mapping[str, Any]]] = []
    if contents.packed:
        told.append(("brought" if contents.brought else "packed", days))
    much = {"originals": contents.originals, "files": contents.files, "bytes": contents.bytes}
    told += [("count.one" if contents.originals == 1 else "count.many", much), ("plays", {})]
    return telling(*told)


def said_in_both(said: Said, tag: str = "span") -> Markup:
    """A sentence that was already made in both languages."""
    return in_both(said, tag)


def term(key: str, tag: str = "span") -> Markup:
    """A word of ``words/terms`` (``carrier.vhs``) in both languages, without its English article."""
    return in_both({lang: _bare(say("terms", key, lang)) for lang in LANGUAGES}, tag)


def in_both(said: Mapping[str, str], tag: str = "span") -> Markup:
    """Both languages side by side, each marked as what it is."""
    runs = (f'<{tag} lang="{lang}">{escape(said[lang])}</{tag}>' for lang in LANGUAGES if lang in said)
    return Markup("".join(runs))


def day(date: str) -> dict[str, str]:
    """A day as people say it, in both languages; empty where none is known."""
    return when(date[:10]) if date else {}


def when(date: str) -> dict[str, str]:
    """A date as the family gave it: said in both languages when it can be read, else their own words."""
    written = read_date(date)
    return {lang: said_date(written, lang) if written else date for lang in LANGUAGES}


def href(path: str) -> str:
    """A path below ``data/`` as a relative address. Quoted whole, so that no name in it can become anything else."""
    return quote(path, safe="/-._~")


def title_of(entry: Entry, shown: Shown | None = None) -> str:
    """What a thing is called: its own title, else the original's; never empty."""
    if shown is not None and shown.said.title:
        return shown.said.title
    return entry.title


def groups_of(entries: list[Entry]) -> list[list[Entry]]:
    """Pictures as they lie on the page: originals of one picture share a sheet, one of many has a sheet to itself."""
    groups: list[list[Entry]] = []
    alone = False
    for entry in entries:
        single = len(entry.shown) == 1
        if single and alone:
            groups[-1].append(entry)
        else:
            groups.append([entry])
        alone = single
    return groups


def part_of(part: str, section: str) -> Markup:
    """Which piece of the original: a side, a page, a back; nothing when it has but one."""
    side = part.removeprefix("side-")
    if len(side) == 1 and side.isascii() and side.isalpha():
        return both("side", side=side.upper())
    if part == "back":
        return both("back")
    if part.isdigit():
        return both("page", part=part) if section == "pictures" else both("part", part=part)
    return Markup(f"<bdi>{escape(part)}</bdi>") if part else Markup("")


def word_of(entry: Entry) -> str:
    """The verdict's word in ``words/terms``: one listens to sound and scans pictures again."""
    verdict = entry.verdict
    if verdict == "look" and entry.section == "listen":
        return "verdict.listen"
    if verdict == "redo" and entry.section == "pictures":
        return "verdict.rescan"
    return f"verdict.{verdict}"


def noticed_in(entry: Entry, verdicts: Iterable[str] = ("redo", "look")) -> list[Noticed]:
    """An original's findings, the gravest first, then in the order of time; the same sentence is said once."""
    order = list(verdicts)
    found = [noticed for captured in entry.captured for noticed in captured.noticed]
    found = [noticed for noticed in found if noticed.finding.verdict in order]
    found.sort(key=lambda noticed: (order.index(noticed.finding.verdict), noticed.finding.from_s or 0.0))
    once: dict[str, Noticed] = {}
    for noticed in found:
        once.setdefault(noticed.why["en"], noticed)
    return list(once.values())


def first_of(noticed: Sequence[Noticed]) -> list[Noticed]:
    """What of many is told one by one: of each kind those that there is most of."""
    told = [at for kind in kinds([one.finding for one in noticed], most=OF_A_KIND) for at in kind.told]
    return [noticed[at] for at in sorted(told)]


def rest_of(noticed: Sequence[Noticed]) -> list[Said]:
    """That there is more of a kind, for each kind of which not all are told."""
    rests = [
        [noticed[at].before_s + (noticed[at].finding.from_s or 0.0) for at in kind.rest]
        for kind in kinds([one.finding for one in noticed], most=OF_A_KIND)
        if kind.rest
    ]
    return [{lang: more_of_a_kind(times, lang) for lang in LANGUAGES} for times in rests]


def dos_of(entry: Entry) -> list[Said]:
    """What to do when it is brought again, each once."""
    return list({one.do["en"]: one.do for one in noticed_in(entry, ["redo"])}.values())


def side_of(entry: Entry, captured: Captured) -> str:
    """Which piece of the original a capture is; empty for the only one, or where one file holds several."""
    alone = [shown for shown in entry.shown if [one.report for one in shown.captured] == [captured.report]]
    return alone[0].part if alone and len(entry.captured) > 1 else ""


def places_of(shown: Shown) -> list[dict[str, Any]]:
    """The places of a thing worth playing: where in it (a share of its length, a little before), when, how grave."""
    total = seconds_of([captured.report for captured in shown.captured])
    if total <= 0:
        return []
    places = []
    for captured in shown.captured:
        for noticed in captured.noticed:
            finding = noticed.finding
            if finding.from_s is not None and finding.verdict != "good":
                at = noticed.before_s + finding.from_s
                share = max(0.0, at - PLAY_BEFORE_S) / total
                places.append({"at": at, "share": f"{min(share, 1.0):.6f}", "verdict": finding.verdict})
    places.sort(key=lambda place: (place["verdict"] != "redo", place["at"]))
    apart: list[dict[str, Any]] = []
    for place in places:
        if all(abs(place["at"] - other["at"]) >= 1.0 for other in apart):
            apart.append(place)
    return sorted(apart[:8], key=lambda place: place["at"])


def flashes(shown: Shown) -> bool:
    """Whether a moving picture may trouble people whom flashing light troubles."""
    found = (noticed.finding for captured in shown.captured for noticed in captured.noticed)
    return any(finding.name in FLASHES and finding.verdict != "good" for finding in found)


def entry_thread(shown: Shown) -> Markup:
    """The thread of one thing to play; moving pictures keep it thin, under their strip of moments."""
    reports = [captured.report for captured in shown.captured]
    if not reports or seconds_of(reports) <= 0:
        return Markup("")
    high = shown.file.kind == "sound"
    wide = thread(reports, size=Size(height=92 if high else 34), name="wide")
    return wide + thread(reports, size=Size(width=360, height=64 if high else 30), name="narrow")


def share_of(shown: Shown) -> str:
    """Width over height of a moving picture, so that the page does not jump when it loads."""
    if shown.file.size and min(shown.file.size) > 0:
        return f"{shown.file.size[0]} / {shown.file.size[1]}"
    return "4 / 3"


def length_of(entry: Entry) -> float:
    """All that an original plays [s]; 0 when it does not play."""
    return sum(seconds_of([captured.report for captured in shown.captured]) for shown in entry.shown)


def figures_in_both(captured: Captured) -> list[tuple[Markup, str]]:
    """What was measured: its name in both languages, and the figure."""
    by_lang = {lang: figures_of(captured.report, lang) for lang in LANGUAGES}
    return [
        (in_both({lang: by_lang[lang][at][0] for lang in LANGUAGES}), text)
        for at, (_, text) in enumerate(by_lang["en"])
    ]


def over_time_of(captured: Captured) -> Markup:
    """A sound's levels, noise and tones over time, drawn for a desk and for a telephone."""
    report = captured.report
    return over_time_picture(report, width=960, name="wide") + over_time_picture(report, width=340, name="narrow")


def over_time_rows(captured: Captured) -> list[tuple[str, list[str]]]:
    """The same as figures [dBFS], for who cannot see the drawing: when each stretch begins, and its levels."""
    rows = stretches_told(captured.report)
    return [(clock(at), ["" if one is None else f"{one:.0f}" for one in figures]) for at, figures in rows]


def unmeasured_of(captured: Captured) -> Markup:
    """The names of what could not be measured, as one list in both languages."""
    names = [name for name, measured in captured.report.measures.items() if measured.value is None and measured.why]
    if not names:
        return Markup("")
    lists = {
        lang: ("、" if lang != "en" else ", ").join(measure_name(name, lang) for name in names) for lang in LANGUAGES
    }
    return in_both({lang: say("letter", "not-measured", lang, {"names": lists[lang]}) for lang in LANGUAGES})


def left_out_of(captured: Captured) -> Markup:
    """What of a capture was left out of the measuring, as one list in both languages."""
    kept = [(kind, seconds) for kind, seconds in captured.report.left_out if seconds >= 1]
    if not kept:
        return Markup("")
    lists = {}
    for lang in LANGUAGES:
        names = [f"{_left_out_name(kind, lang)} {clock(seconds)}" for kind, seconds in kept]
        lists[lang] = ("、" if lang != "en" else ", ").join(names)
    return in_both({lang: say("letter", "left-out", lang, {"parts": lists[lang]}) for lang in LANGUAGES})


def script() -> str:
    """The page's one script, as it stands in the page."""
    return (TEMPLATES / "letter.js").read_text("utf-8").strip()


def fingerprint(text: str) -> str:
    """A script's SHA-256 as a content-security policy tells it: no other script may run on the page."""
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _left_out_name(kind: str, lang: str) -> str:
    return named_or_plain(f"kind.{kind}", kind, lang)


def _bare(words: str) -> str:
    """A carrier's name as a caption: no article, a capital first."""
    for article in ("an ", "a "):
        words = words.removeprefix(article)
    return words[:1].upper() + words[1:]


def _for(lang: str, facts: Mapping[str, Any]) -> dict[str, Any]:
    """Facts for one language: those that exist in both are chosen."""
    return {name: fact[lang] if isinstance(fact, Mapping) and lang in fact else fact for name, fact in facts.items()}
