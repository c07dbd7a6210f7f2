"""A station measured with its targets: figures by construction, history kept once per file, changes said."""

import json
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from threading import Barrier

import numpy as np
import pytest
import pyvips
from make import scan_targets as things
from make.command import takeup

from scan.test_charts_and_light import chart as chart_of_24
from scan.test_charts_and_light import grey_scale
from takeup.errors import NotPossible
from takeup.files.targets import held_history, history_path, keep, read_history
from takeup.judge.station_targets import changes
from takeup.tables.loader import load_rows
from takeup.tasks.target import measure_target


@cache
def ruler_on_glass(ppi):
    pixels = things.glass((round(4.8 * ppi), round(1.6 * ppi)))
    paint, size = things.ruler("mm", length=100)
    things.lay(pixels, ppi, (61, 20), size, 1.0, paint)
    return pixels


def ruler_scan(path, ppi, seed=0):
    image = pyvips.Image.new_from_array(things.finished(ruler_on_glass(ppi), seed))
    image.tiffsave(str(path), xres=300 / 25.4, yres=300 / 25.4, resunit="inch", profile="srgb")
    return path


def test_a_stations_history_grows_by_each_file_once_and_a_carriage_that_drifts_is_told(tmp_path):
    home = tmp_path / "lab"
    for n in range(2):
        found = measure_target(ruler_scan(tmp_path / f"{n}.tif", 300.0, n), chart="ruler", station="glass 1", home=home)
        assert found.figures["ppi"] == pytest.approx(300.0, rel=2e-4) and found.earlier == n and not found.changed
    assert measure_target(tmp_path / "1.tif", chart="ruler", station="glass 1", home=home).already
    lines = found.kept.read_text("utf-8").splitlines()
    assert [json.loads(line)["file"] for line in lines] == ["0.tif", "1.tif"]
    drifted = measure_target(ruler_scan(tmp_path / "2.tif", 300.6, 2), chart="ruler", station="glass 1", home=home)
    assert [change.figure for change in drifted.changed] == ["ppi"]
    other = measure_target(ruler_scan(tmp_path / "3.tif", 300.6, 3), chart="ruler", station="glass 2", home=home)
    assert other.earlier == 0 and not other.changed
    found.kept.write_text("half a li", "utf-8")
    with pytest.raises(NotPossible):
        measure_target(tmp_path / "0.tif", chart="ruler", station="glass 1", home=home)
    assert found.kept.read_text("utf-8") == "half a li"


def test_changes_are_told_against_the_middle_of_the_earlier_figures():
    past = [{"cast_a": a, "sharpness": 0.3} for a in (0.0, 0.2, 5.0)]
    found = changes({"cast_a": 1.1, "sharpness": 0.26, "new": 3.0}, past, load_rows())
    assert [(one.figure, one.before) for one in found] == [("sharpness", 0.3)]
    assert [one.figure for one in changes({"cast_a": 1.3}, past, load_rows())] == ["cast_a"]


def test_the_command_answers_and_says_what_is_not_in_view(tmp_path):
    scan = ruler_scan(tmp_path / "a.tif", 300.0)
    told = takeup("target", scan, "--chart", "ruler", "--home", tmp_path / "lab", "--json").json
    assert told["figures"]["ppi"] == pytest.approx(300.0, rel=2e-4) and told["station"] == "scan"
    again = takeup("target", scan, "--chart", "ruler", "--home", tmp_path / "lab", "--lang", "zh-Hans")
    assert again.status == 0 and "没有新增记录" in again.out
    for chart in ("24", "nothing"):
        refused = takeup("target", scan, "--chart", chart, "--home", tmp_path / "lab")
        assert refused.status == 2 and len(refused.err.splitlines()) == 1


def test_charts_go_through_the_command(tmp_path):
    """The published colours, 1.5 L too light: read so. A scale of greys with b 3: read so."""
    for chart, pixels in (("24", chart_of_24(tilt=1.0, shift=(1.5, 0, 0))[0]), ("grey", grey_scale(shift=(0, 3.0))[0])):
        image = pyvips.Image.new_from_array(pixels)
        image.tiffsave(str(tmp_path / f"{chart}.tif"), xres=100 / 25.4, yres=100 / 25.4, resunit="inch", profile="srgb")
    words = "--home", tmp_path / "lab", "--station", "glass 1"
    told = takeup("target", tmp_path / "24.tif", "--chart", "24", *words, "--json").json
    assert told["figures"]["tone"] == pytest.approx(1.5, abs=0.3)
    assert told["figures"]["de2000_mean"] == pytest.approx(1.3, abs=0.4)
    assert {(one["figure"], one["edition"]) for one in told["meets"]} >= {("de2000_mean", "2016"), ("tone", "2016")}
    read = takeup("target", tmp_path / "grey.tif", "--chart", "grey", *words)
    line = next(line for line in read.out.splitlines() if "colour of the chart's greys" in line)
    assert float(line.rsplit(" ", 1)[1]) == pytest.approx(3.0, abs=0.5)


def test_two_targets_at_once_on_one_station_are_both_kept(tmp_path):
    """Each entry is added to what the other left: one waits while the other reads and writes."""
    kept = history_path(tmp_path, "glass 1")
    both = Barrier(2)

    def add(name):
        both.wait()
        for n in range(20):
            with held_history(kept, 10.0) as history:
                keep(kept, history, {"file": f"{name}{n}"})

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(add, "ab"))
    assert len({one["file"] for one in read_history(kept)}) == 40


def test_a_measuring_tone_gives_the_tape_machines_figures(tmp_path):
    import soundfile

    tone = 0.2 * np.sin(2 * np.pi * 3150 * np.arange(48000 * 12) / 48000)
    soundfile.write(tmp_path / "tone.wav", np.stack([tone, tone * 0.9], 1), 48000)
    found = measure_target(tmp_path / "tone.wav", chart="tone", station="tape", home=tmp_path / "lab")
    assert found.figures["wow_flutter"] == pytest.approx(0, abs=0.01)
    assert found.figures["channel_balance"] == pytest.approx(20 * np.log10(1 / 0.9), abs=0.05)  # by hand
