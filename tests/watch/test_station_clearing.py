"""Files on a station's own disk go by its own hand, under the receipt, only while they are what was delivered."""

from __future__ import annotations

import hashlib
from dataclasses import asdict

import pytest
from make.boxes import SETTINGS, make_box, make_station, pack, wav_bytes

from takeup.tables.loader import load_rows
from takeup.tasks.clear import clear, remember_cleared
from takeup.tasks.deliver import deliver
from takeup.tasks.take import Origin, take
from takeup.tasks.watch_orders import carry_out as carried_out


@pytest.fixture
def order(tmp_path):
    """A delivered box whose capture came from a station: the order for it, with its receipt; the file there."""
    box = make_box(tmp_path / "box")
    there = make_station(tmp_path / "there", t1_side_a__wav=wav_bytes(1)) / "t1_side_a.wav"
    came = make_station(tmp_path / "incoming", t1_side_a__wav=wav_bytes(1)) / "t1_side_a.wav"
    origin = Origin(
        station="cassette-1", source=str(there), modified_ns=there.stat().st_mtime_ns, part="a",
        sha256=hashlib.sha256(wav_bytes(1)).hexdigest(),
    )  # fmt: skip
    take(box.folder, [came], rows=load_rows(), settings=SETTINGS, item="t1", origin=origin)
    pack(box)
    (tmp_path / "drive").mkdir()
    deliver(box.folder, tmp_path / "drive", rows=load_rows(), settings=SETTINGS)
    done = clear(box.folder, settings=SETTINGS)
    assert done.removed == [] and [kept.why for kept in done.kept] == ["at-station"] and there.exists()
    (ordered,) = done.ordered
    sent = asdict(ordered) | {"id": 1, "kind": "clear"}
    sent["receipt_text"] = (box.folder / ordered.receipt).read_text("utf-8")
    return box, ordered, sent, there


def test_station_removes_what_was_delivered_and_the_box_remembers(order):
    box, ordered, sent, there = order
    assert carried_out(sent) == {"removed": True} and not there.exists()
    remember_cleared(box.folder, SETTINGS, ordered)
    (fact,) = box.record.facts("cleared")
    assert (fact.facts["station"], fact.facts["source"]) == ("cassette-1", str(there))
    again = clear(box.folder, settings=SETTINGS)
    assert (again.ordered, again.kept, again.removed) == ([], [], [])


def test_changed_file_stays(order):
    _, _, sent, there = order
    there.write_bytes(wav_bytes(2))
    assert carried_out(sent) == {"removed": False, "why": "changed"} and there.read_bytes() == wav_bytes(2)


def test_link_in_its_place_stays(order, tmp_path):
    _, _, sent, there = order
    there.rename(tmp_path / "kept.wav")
    there.symlink_to(tmp_path / "kept.wav")
    assert carried_out(sent)["why"] == "link" and (tmp_path / "kept.wav").exists()


def test_without_its_whole_receipt_nothing_is_removed(order):
    _, _, sent, there = order
    for harm in (
        {"receipt_text": sent["receipt_text"].replace("t1", "t2", 1)}, {"receipt_text": ""},
        {"receipt_sha256": "0" * 64}, {"kind": "remove"}, {"manifest_sha256": "0" * 64},
    ):  # fmt: skip
        assert carried_out(sent | harm)["removed"] is False
    assert there.read_bytes() == wav_bytes(1)


def test_receipt_of_one_capture_lets_no_other_file_go(order, tmp_path):
    _, _, sent, _ = order
    other = tmp_path / "other.wav"
    other.write_bytes(wav_bytes(9))
    named = {"path": str(other), "sha256": hashlib.sha256(wav_bytes(9)).hexdigest()}
    assert carried_out(sent | named) == {"removed": False, "why": "no-receipt"} and other.exists()
