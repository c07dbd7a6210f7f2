"""A whole box: tries of one stretch compared, slips told, what is unreadable answered without stopping the rest."""

from fractions import Fraction
from functools import lru_cache

import numpy as np
import pytest
from make.command import takeup
from make.tiny import sound_samples, write_moving, write_scan, write_wav


def hiss(seconds, seed):
    return np.random.default_rng(seed).normal(0, 6e-4, (int(seconds * 48000), 2))


@lru_cache(maxsize=3)
def side(seed, seconds=16):
    """Phrases of a length and loudness that the seed decides, then the tape's hiss; to read only."""
    rng = np.random.default_rng(seed)
    voice = sound_samples(seconds, seed=seed)
    marks = np.arange(0, seconds + 1, 1.0)
    loud = 10 ** (rng.uniform(-26, 0, len(marks)) / 20)
    swell = np.interp(np.arange(len(voice)) / 48000, marks, loud)[:, None]
    made = np.concatenate([voice * swell, hiss(8, seed)])
    made.setflags(write=False)
    return made


@pytest.fixture
def box(tmp_path):
    (tmp_path / "items.csv").write_text("id,carrier,count\nt1,cassette,\nv1,vhs,\nd1,document,3\n", "utf-8")
    (tmp_path / "station").mkdir()
    assert takeup("box", "new", "b", "--items", "items.csv", cwd=tmp_path).status == 0
    return tmp_path


def checked(folder, *words):
    assert takeup("take", "b", "station", "--json", cwd=folder).status == 0
    answer = takeup("check", "b", "--json", *words, cwd=folder).json
    return answer, {entry["file"].rsplit("/", 1)[-1]: entry for entry in answer["files"]}


def test_second_try_after_a_redo_is_known_by_its_content(box):
    good = side(1)
    write_wav(box / "station" / "t1-side-a.wav", np.clip(good * 6, -1, 1), bits=24)
    _, files = checked(box)
    assert files["t1-side-a.wav"]["verdict"] == "redo"
    write_wav(box / "station" / "t1-side-a-again.wav", np.concatenate([hiss(1.5, 4), good]), bits=24)
    answer, files = checked(box)
    assert files["t1-side-a-again.wav"]["repeats"].endswith("t1-side-a.wav")
    assert files["t1-side-a-again.wav"]["verdict"] == "good"
    assert answer["box_findings"] == []


@pytest.mark.parametrize("same_bytes", [True, False])
def test_side_a_captured_again_as_side_b_is_told(box, same_bytes):
    write_wav(box / "station" / "t1-side-a.wav", side(2), bits=24)
    again = side(2) if same_bytes else np.concatenate([hiss(2, 5), side(2) * 0.7])
    write_wav(box / "station" / "t1-side-b.wav", again, bits=24)
    answer, files = checked(box)
    (finding,) = answer["box_findings"]
    assert finding["name"] == "duplicate" and finding["verdict"] == "look"
    assert finding["of"].endswith("t1-side-a.wav") and len(finding["files"]) == 2
    assert "repeats" not in files["t1-side-b.wav"]


def test_two_sides_that_differ_are_no_duplicates(box):
    write_wav(box / "station" / "t1-side-a.wav", side(2), bits=24)
    write_wav(box / "station" / "t1-side-b.wav", side(3), bits=24)
    answer, _ = checked(box)
    assert answer["box_findings"] == [] and answer["verdict"] == "good"


def test_held_picture_at_the_same_place_twice_is_the_originals(box):
    def held(first, last):
        return lambda at: min(at, first) if at < last else at - (last - first)

    sound = sound_samples(4)
    write_moving(box / "station" / "v1.mkv", 100, Fraction(25), sound=sound, repeat=held(40, 70))
    _, files = checked(box)
    (first,) = [finding for finding in files["v1.mkv"]["findings"] if finding["name"] == "frozen"]
    write_moving(box / "station" / "v1 again.mkv", 95, Fraction(25), sound=sound[:-9600], repeat=held(35, 65))
    _, files = checked(box)
    (second,) = [finding for finding in files["v1 again.mkv"]["findings"] if finding["name"] == "frozen"]
    assert first["from_s"] == pytest.approx(1.6, abs=0.1) and second["from_s"] == pytest.approx(1.4, abs=0.1)
    assert second["verdict"] == "look"
    if first["verdict"] == "redo":
        assert second["again"] == "no" and "original" in second["why"]


def test_pages_of_one_letter_are_not_tries_of_each_other(box):
    from PIL import Image, ImageDraw, ImageFont

    rng = np.random.default_rng(6)
    words = rng.permutation("harbour winter mother boat train kitchen letter garden summer street window".split())
    for number in (1, 2, 3):
        page = Image.new("L", (874, 1240), 246)  # A5
        pen = ImageDraw.Draw(page)
        for line in range(26):
            text = " ".join(rng.choice(words, 6))
            pen.text((110, 120 + 38 * line), text, fill=40, font=ImageFont.load_default(26))
        page.save(box / "station" / f"d1-page-{number}.tif", dpi=(150, 150))
    answer, files = checked(box)
    assert len(files) == 3 and answer["box_findings"] == []
    assert [name for name, entry in files.items() if "repeats" in entry] == []


def test_page_scanned_twice_is_told(box):
    first = write_scan(box / "station" / "d1-page-1.tif", ppi=300, seed=4)
    from PIL import Image

    Image.open(first).rotate(0.4, fillcolor=(247, 247, 247)).save(box / "station" / "d1-page-2.tif", dpi=(300, 300))
    answer, files = checked(box)
    assert [entry.get("repeats") for entry in files.values()] == [None, None]
    (finding,) = answer["box_findings"]
    assert finding["name"] == "duplicate" and finding["of"].endswith("d1-page-1.tif")


def test_unreadable_capture_does_not_stop_the_others(box):
    write_wav(box / "station" / "t1-side-a.wav", side(2), bits=24)
    (box / "station" / "v1.mkv").write_bytes(b"\x1aE\xdf\xa3" + bytes(3000))
    answer, files = checked(box)
    assert list(files) == ["t1-side-a.wav"] and answer["verdict"] == "redo"
    assert [entry["item"] for entry in answer["unreadable"]] == ["v1"] and answer["unreadable"][0]["why"]


def test_checking_twice_measures_once_and_says_the_same(box):
    write_wav(box / "station" / "t1-side-a.wav", side(2), bits=24)
    first, _ = checked(box)
    before = (box / "b" / "takeup-box.sqlite").read_bytes()
    second, _ = checked(box)
    assert second == first
    assert (box / "b" / "takeup-box.sqlite").read_bytes() == before
