"""The step lists and training sheets: whole in both languages, from the rows of findings; as page, PDF and JSON."""

from __future__ import annotations

import json
import shutil
import subprocess

import pytest
from click.testing import CliRunner

from takeup.cli.main import cli
from takeup.errors import NotPossible
from takeup.pages.drawings import DRAWINGS
from takeup.pages.guide import guide_page
from takeup.settings import Settings
from takeup.tables.loader import load_rows
from takeup.tasks.guide import carriers_at, first_steps, guide_for, watched_in, write_guide
from takeup.words.sentences import load_sentences

ROWS = load_rows()
PLAYED = [name for name in ROWS.names("carriers") if ROWS.value(f"carriers.{name}.medium")]


@pytest.mark.parametrize("carrier", PLAYED)
def test_every_carrier_has_steps_in_both_languages_with_drawings_and_known_cautions(carrier):
    english, chinese = first_steps(carrier, "en"), first_steps(carrier, "zh-Hans")
    assert len(english) == len(chinese) >= 6
    for en, zh in zip(english, chinese):
        assert en.picture in DRAWINGS and en.picture == zh.picture
        assert not en.caution or f"{en.caution}.en" in load_sentences("cautions")
        assert any("\u4e00" <= sign <= "\u9fff" for sign in zh.text)
        assert not any("\u4e00" <= sign <= "\u9fff" for sign in en.text)
        assert "{" not in en.text + zh.text and "!" not in en.text and "！" not in zh.text
        assert len(en.text) <= 240


def test_figures_in_steps_are_those_of_the_rows_that_findings_rest_on():
    steps = " ".join(step.text for step in first_steps("cassette", "en"))
    assert f"{ROWS.value('sound.notice.hot_dbfs'):g}" in steps and f"{ROWS.value('sound.ending.hiss_s'):g} s" in steps
    for carrier, key in (("print", "print"), ("document", "document"), ("newspaper", "newspaper"), ("slide", "film")):
        steps = " ".join(step.text for step in first_steps(carrier, "en"))
        assert f"{ROWS.value(f'scan.resolution.{key}.aim'):g} ppi" in steps or key == "film"
    assert str(ROWS.value("scan.resolution.film.aim")) in " ".join(step.text for step in first_steps("slide", "en"))


def test_tapes_and_films_carry_the_cautions_of_the_trade():
    cautions = {carrier: {step.caution for step in first_steps(carrier, "en")} for carrier in PLAYED}
    for tape in ("cassette", "vhs", "vhs-c"):
        assert {"mould", "sticky"} <= cautions[tape]
    for film in ("8mm", "super8", "microfilm"):
        assert "vinegar" in cautions[film]
        assert any("nitrate" in step.text for step in first_steps(film, "en"))
    for carrier in ("cassette", "vhs", "vhs-c"):
        assert any("press Stop" in step.text for step in first_steps(carrier, "en"))


def test_every_finding_that_has_words_is_on_a_training_sheet():
    told = {
        key for name in ROWS if name.startswith("guides.judged.") and name.endswith(".says") for key in ROWS.value(name)
    }
    worded = {key.removesuffix(".do.en") for key in load_sentences("findings") if key.endswith(".do.en")}
    shared = {"both-times", "duplicate", "part_missing"}
    generic = {key for key in worded if any(other.startswith(f"{key}.") for other in worded)}
    assert worded - told - shared - generic == set()
    assert told <= worded


def test_rows_of_a_training_sheet_are_the_judges_own():
    clipping = next(one for one in watched_in(("sound",), "en") if one.name == "clipping")
    assert {limit.row for limit in clipping.limits} == {
        key.removeprefix("sound.") for key in ROWS if key.startswith("sound.clipping.")
    }
    assert "…" in clipping.told[0][0] and "{" not in clipping.told[0][0]


@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
@pytest.mark.parametrize("name", ["cassette", "video", "film", "flatbed", "microfilm", "vhs-c", "audio", "scan"])
def test_a_page_for_every_station_and_carrier(name, lang):
    page = guide_page(guide_for(name, Settings(lab="Harbour Street"), lang))
    for carrier in carriers_at(name) or [name]:
        for step in first_steps(carrier, lang):
            assert step.text.replace("'", "&#39;") in page
    assert (
        f'<html lang="{lang}">' in page
        and "<script" not in page
        and "http://" not in page.replace("http://www.w3.org", "")
    )


def test_an_unknown_station_is_told_with_those_that_are_known(tmp_path):
    with pytest.raises(NotPossible) as no:
        guide_for("../etc", Settings(), "en", tmp_path)
    assert no.value.key == "guide.no-station" and "cassette" in str(no.value.facts["known"])
    assert not list(tmp_path.iterdir())  # looking up makes no database


def test_the_command_prints_the_page_json_or_a_file(tmp_path):
    run = CliRunner()
    page = run.invoke(cli, ["guide", "cassette"])
    assert page.exit_code == 0 and page.stdout.startswith("<!doctype html>")
    answer = run.invoke(cli, ["guide", "cassette", "--json", "--lang", "zh-Hans"])
    document = json.loads(answer.stdout)
    assert document["lists"][0]["carrier"] == "cassette" and document["lang"] == "zh-Hans"
    assert {one["name"] for one in document["noticed"]} >= {"clipping", "hum", "dropout", "ends_early"}
    written = run.invoke(cli, ["guide", "video", "--to", str(tmp_path / "a.html"), "--json"])
    assert json.loads(written.stdout)["file"] == str(tmp_path / "a.html")
    assert (tmp_path / "a.html").read_text("utf-8").startswith("<!doctype html>")
    with pytest.raises(NotPossible):
        write_guide(guide_for("video", Settings(), "en"), tmp_path / "a.doc")


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no second reader of PDF on this computer")
@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
def test_the_pdf_says_the_same_as_another_reader_reads_it(tmp_path, lang):
    path = write_guide(guide_for("cassette", Settings(), lang), tmp_path / "guide.pdf")
    text = subprocess.run(["pdftotext", "-enc", "UTF-8", path, "-"], capture_output=True, text=True, check=True).stdout
    bare = "".join(text.split())
    for step in first_steps("cassette", lang):
        assert "".join(step.text.split())[:30] in bare
