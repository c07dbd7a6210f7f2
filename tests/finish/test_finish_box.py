"""A run of ``takeup finish``: allowed, not allowed, repeated, interrupted, damaged. Answers by the contract."""

import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest
from make.captures import REDO, captured_box, noise_bursts, put_capture, report_of, tree, write_sound
from make.command import takeup

from takeup.settings import Settings
from takeup.streams import Original
from takeup.tasks.finish import finish_box

SONG = noise_bursts(2.0, 0.2)


def cassette(tmp_path, *, sides="ab", keep="both", reports=None):
    box = captured_box(tmp_path / "Ünïted box", [Original(id="c1", carrier="cassette", keep=keep)])
    for side in sides:
        source = write_sound(tmp_path / f"c1-side-{side}.wav", SONG)
        put_capture(box, "c1", source, side, (reports or {}).get(side, report_of()))
    return box


def whys(answer):
    return [entry["why"] for entry in answer["skipped"]]


def test_answer_is_the_contracts(tmp_path):
    box = cassette(tmp_path, sides="a")
    before = tree(box.folder / "captures")
    ran = takeup("finish", box.folder, "--json")
    assert ran.status == 0, ran.err
    master, copy = ran.json["made"]
    for entry, role, ending in ((master, "master", ".wav"), (copy, "copy", ".m4a")):
        path = Path(entry["path"])
        assert (entry["item"], entry["role"]) == ("c1", role) and path.suffix == ending
        assert path.is_absolute() and path.stat().st_size == entry["bytes"]
        assert entry["from"] == [str(box.folder / "captures" / "c1" / "c1-side-a.wav")]
        assert isinstance(entry["settings"], dict) and entry["settings"]["format"]
    assert ran.json["skipped"] == [] and tree(box.folder / "captures") == before


def test_second_run_does_nothing_and_says_so_in_both_languages(tmp_path):
    box = cassette(tmp_path)
    finish_box(box.folder, Settings())
    before, facts = tree(box.folder / "masters") | tree(box.folder / "copies"), len(box.record.facts())
    again = takeup("finish", box.folder, "--json", "--lang", "zh-Hans").json
    assert again["made"] == [] and "完好" in whys(again)[0]
    assert tree(box.folder / "masters") | tree(box.folder / "copies") == before and len(box.record.facts()) == facts


@pytest.mark.parametrize("harm", ["gone", "changed", "cut"])
def test_damaged_file_alone_is_made_again(tmp_path, harm):
    box = cassette(tmp_path)
    made = finish_box(box.folder, Settings()).made
    victim = next(one.made.path for one in made if one.made.path.name == "c1-side-b.wav")
    whole = victim.read_bytes()
    if harm == "gone":
        victim.unlink()
    else:
        victim.write_bytes(whole[:-5000] if harm == "cut" else whole[:-1] + bytes([whole[-1] ^ 1]))
    again = finish_box(box.folder, Settings()).made
    assert [one.made.path for one in again] == [victim] and victim.read_bytes() == whole


def test_redo_side_waits_until_told(tmp_path):
    box = cassette(tmp_path, reports={"b": report_of("sound", 2.0, REDO)})
    first = takeup("finish", box.folder, "--json").json
    assert {Path(entry["path"]).stem for entry in first["made"]} == {"c1-side-a"}
    assert "--even-redo" in whys(first)[0]
    second = takeup("finish", box.folder, "--json", "--even-redo").json
    names = sorted(Path(entry["path"]).name for entry in second["made"])
    # the copy of side a is made again, for both sides now share one gain
    assert names == ["c1-side-a.m4a", "c1-side-b.m4a", "c1-side-b.wav"] and second["skipped"] == []


def test_better_second_try_replaces_what_was_made_of_the_first(tmp_path):
    box = cassette(tmp_path, sides="a", reports={"a": report_of("sound", 2.0, REDO)})
    finish_box(box.folder, Settings(), even_redo=True)
    better = write_sound(tmp_path / "c1-side-a-again.wav", noise_bursts(2.0, 0.1, seed=8))
    put_capture(box, "c1", better, "again", report_of(), repeats="captures/c1/c1-side-a.wav")
    result = finish_box(box.folder, Settings())
    assert [one.made.from_[0].name for one in result.made] == ["c1-side-a-again.wav"] * 2
    assert [one.why for one in result.skipped] == ["finish.better-try"]
    assert sorted(path.name for path in box.folder.glob("*/c1/c1-side-*")) == [
        "c1-side-a-again.wav", "c1-side-a.m4a", "c1-side-a.wav", "c1-side-a.wav",
    ]  # fmt: skip


def test_unchecked_and_uncaptured_items_are_said(tmp_path):
    originals = [Original(id="c1", carrier="cassette"), Original(id="c2", carrier="cassette")]
    box = captured_box(tmp_path / "box", originals)
    put_capture(box, "c1", write_sound(tmp_path / "c1.wav", SONG))
    answer = takeup("finish", box.folder, "--json").json
    assert [entry["item"] for entry in answer["skipped"]] == ["c1", "c2"] and answer["made"] == []
    assert f"takeup check {box.folder}" in whys(answer)[0]


@pytest.mark.parametrize(("keep", "roles"), [("copy", {"copy"}), ("master", {"master"}), ("both", {"copy", "master"})])
def test_keep_of_the_item_list_is_honoured(tmp_path, keep, roles):
    box = cassette(tmp_path, sides="a", keep=keep)
    assert {one.made.role for one in finish_box(box.folder, Settings()).made} == roles
    assert finish_box(box.folder, Settings()).made == ()


def test_unknown_item_is_one_plain_sentence(tmp_path):
    ran = takeup("finish", cassette(tmp_path, sides="a").folder, "--item", "zz", "--json")
    assert ran.status == 2 and ran.out == "" and len(ran.err.strip().splitlines()) == 1 and "c1" in ran.err


def test_unreadable_capture_does_not_stop_the_others(tmp_path):
    originals = [Original(id="v1", carrier="vhs"), Original(id="c2", carrier="cassette", keep="copy")]
    box = captured_box(tmp_path / "box", originals)
    broken = tmp_path / "v1.mkv"
    broken.write_bytes(b"\x1aE\xdf\xa3" + bytes(3000))
    put_capture(box, "v1", broken, "", report_of("video", 1.0))
    put_capture(box, "c2", write_sound(tmp_path / "c2.wav", SONG), "", report_of())
    answer = takeup("finish", box.folder, "--json").json
    assert [entry["item"] for entry in answer["made"]] == ["c2"]
    assert [entry["item"] for entry in answer["skipped"]] == ["v1"] and "v1.mkv" in whys(answer)[0]


def test_killed_run_leaves_no_half_file_that_anybody_takes_for_whole(tmp_path):
    box = cassette(tmp_path)
    part = box.folder / "masters" / "c1" / ".c1-side-a-0badcafe.takeup-part.wav"
    part.parent.mkdir(parents=True)
    part.write_bytes(b"half")
    made = finish_box(box.folder, Settings()).made
    assert not part.exists() and len(made) == 4


@pytest.mark.skipif(not hasattr(resource, "RLIMIT_FSIZE"), reason="needs a limit on the size of files")
def test_full_disk_is_one_plain_sentence_and_keeps_nothing_half(tmp_path):
    """No file may grow past 100 kB here, which stands for a disk that fills up in the middle of a master."""
    box = cassette(tmp_path, sides="a")

    def small_disk():
        import signal

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))

    ran = subprocess.run(
        [sys.executable, "-m", "takeup", "finish", str(box.folder), "--json"],
        preexec_fn=small_disk, capture_output=True, text=True, env=os.environ | {"TAKEUP_SETTINGS": ""},
    )  # fmt: skip
    assert ran.returncode == 2 and "Traceback" not in ran.stderr and len(ran.stderr.strip().splitlines()) == 1
    assert [path for path in (box.folder / "masters").rglob("*") if path.is_file()] == []
    assert box.record.facts("made") == []
    assert len(finish_box(box.folder, Settings()).made) == 2
