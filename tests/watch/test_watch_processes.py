"""``takeup watch`` and ``takeup desk`` as real processes, with files that really grow."""

from __future__ import annotations

import contextlib
import socket
import threading

import pytest
from make.command import takeup
from make.lab_home import DeskProcess, Grower, Home, WatchProcess, clipped_wav, wait_for
from make.tiny import sound_samples, write_wav

from takeup.box.folder import look_into
from takeup.lab.port import rows
from takeup.lab.schema import EVENT
from takeup.settings import Settings

LONG_S = 180.0  # a laden machine


def bad(findings):
    last = {(one["name"], one.get("from_s")): one for one in findings}
    return sorted(
        (name, one["verdict"], one.get("to_s")) for (name, _), one in last.items() if one["verdict"] != "good"
    )


class Between:
    """The network between a station and the desk: counts pieces, damages one, can be cut."""

    def __init__(self, port: int) -> None:
        self.port, self.pieces, self.damage, self.cut = port, 0, False, False
        self.pairs: list[socket.socket] = []
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self.listening.getsockname()[1]}/"
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self.listening.accept()
                far = socket.create_connection(("127.0.0.1", self.port))
            except OSError:
                if self.listening.fileno() < 0:
                    return
                near.close()
                continue
            self.pairs += [near, far]
            for one, other, up in ((near, far, True), (far, near, False)):
                threading.Thread(target=self._carry, args=(one, other, up), daemon=True).start()

    def _carry(self, one: socket.socket, other: socket.socket, up: bool) -> None:
        try:
            while some := one.recv(65536):
                if self.cut:
                    break
                if up and b"/pieces/" in some:
                    self.pieces += 1
                if up and self.damage and len(some) > 60_000 and b"HTTP/1.1" not in some:
                    self.damage = False
                    some = some[:1000] + bytes([some[1000] ^ 1]) + some[1001:]
                other.sendall(some)
        except OSError:
            pass
        for end in (one, other):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self.listening.close()
        for end in self.pairs:
            end.close()


@pytest.fixture
def ends():
    """What must end when the test does."""
    found = []
    yield found.append
    for one in reversed(found):
        one()


def quietly(process):
    return lambda: process.process and process.process.poll() is None and process.end(kill=True)


def test_two_growing_at_once_end_like_check_and_lie_in_the_box(tmp_path, ends):
    home = Home(tmp_path)
    folder = tmp_path / "cap"
    folder.mkdir()
    (folder / "notes.txt").write_text("bread, milk")
    first = clipped_wav(tmp_path / "one.wav")
    second = write_wav(tmp_path / "two.wav", sound_samples(4.0, seed=7), bits=24).read_bytes()
    watch = WatchProcess(folder, "--box", str(home.box_folder), spool=tmp_path / "spool")
    ends(quietly(watch))
    watch.until("ready")
    growing = [Grower(folder / "k1-side-a.wav", first), Grower(folder / "k2.wav", second)]
    watch.until("taken", 2, LONG_S)
    assert watch.end() == 0
    for name, data, thread in (("k1-side-a.wav", first, growing[0]), ("k2.wav", second, growing[1])):
        thread.join()
        here = [one for one in watch.told if one.get("file", "").endswith(name)]
        checked = takeup("check", folder / name, "--carrier", "cassette", "--json").json
        (end,) = [one for one in here if one["event"] == "end"]
        assert (end["verdict"], end["seconds"]) == (checked["verdict"], checked["seconds"])
        assert bad([one for one in here if one["event"] == "finding"]) == bad(checked["findings"])
        assert (folder / name).read_bytes() == data
    record = look_into(home.box_folder, Settings()).record
    assert sorted(fact.item for fact in record.latest("checked")) == ["k1", "k2"]
    assert (folder / "notes.txt").read_text() == "bread, milk"


def test_killed_in_mid_capture_with_the_desk_away_everything_arrives_once_in_order(tmp_path, ends):
    """The desk goes away after the beginning, the watch is killed while the file grows; then both come back."""
    home = Home(tmp_path)
    home.sit("cassette-1", "k1", "a")
    desk = DeskProcess(home.folder)
    ends(desk.stop)
    folder, data = tmp_path / "cap", clipped_wav(tmp_path / "one.wav", 8.0)
    folder.mkdir()
    words = ("--desk", desk.url)
    watch = WatchProcess(folder, *words, "--pair", home.code("cassette-1"), spool=tmp_path / "spool")
    ends(quietly(watch))
    watch.until("ready")
    growing = Grower(folder / "record.wav", data, pause_s=0.25)
    watch.until("begin", 1, LONG_S)
    wait_for(lambda: "begin" in [kind for kind, _ in home.events("cassette-1")], LONG_S)
    desk.stop(kill=True)
    watch.end(kill=True)
    again = WatchProcess(folder, *words, spool=tmp_path / "spool")
    ends(quietly(again))
    again.until("end", 1, LONG_S)
    growing.join()
    assert not [kind for kind, _ in home.events("cassette-1") if kind == "end"]
    desk.start()
    again.until("taken", 1, LONG_S)
    assert again.end() == 0
    told = home.events("cassette-1")
    kinds = [kind for kind, _ in told if kind not in ("said", "finding")]
    assert kinds == ["begin", "begin", "end", "whole", "taken"] and told[-1][1]["item"] == "k1"
    with home.lab.reading() as db:
        sent = [row for row in rows(db, EVENT, order=EVENT.c.seq) if row["stream"] != "desk"]
    assert [row["number"] for row in sent] == list(range(1, len(sent) + 1))
    checked = takeup("check", folder / "record.wav", "--carrier", "cassette", "--json").json
    found = [facts["finding"] for kind, facts in told if kind == "finding"]
    assert bad(found) == bad(checked["findings"])
    (capture,) = home.captures()
    assert (capture["state"], capture["verdict"]) == ("taken", checked["verdict"])


def test_transfer_survives_a_kill_a_restart_and_a_damaged_piece(tmp_path, ends):
    """Six pieces through a network that damages one; the watch is killed after two, the desk after four."""
    home = Home(tmp_path, stations=("cassette-1", "cassette-2"))
    home.sit("cassette-1", "k1")
    home.sit("cassette-2", "k2")
    desk = DeskProcess(home.folder)
    ends(desk.stop)
    between = Between(desk.port)
    ends(between.close)
    data = write_wav(tmp_path / "one.wav", sound_samples(20.0, rate_hz=192_000, seed=3), 192_000, bits=24).read_bytes()
    folders, watches = [tmp_path / "cap1", tmp_path / "cap2"], []
    for folder, station in zip(folders, home.keys):
        folder.mkdir()
        words = ("--desk", between.url, "--key", home.keys[station])
        one = WatchProcess(folder, *words, station=station, spool=tmp_path / f"spool-{station}")
        ends(quietly(one))
        one.until("ready")
        watches.append(one)
    # Under another name than the desk can read, so that it cannot be taken where it lies.
    (folders[0] / "record.wav").write_bytes(data)
    (folders[1] / "record.wav").write_bytes(clipped_wav(tmp_path / "two.wav"))
    hide_from_the_desk(home, LONG_S)
    between.damage = True
    wait_for(lambda: between.pieces >= 2, LONG_S)
    watches[0].end(kill=True)
    words = ("--desk", between.url, "--key", home.keys["cassette-1"])
    again = WatchProcess(folders[0], *words, station="cassette-1", spool=tmp_path / "spool-cassette-1")
    ends(quietly(again))
    wait_for(lambda: between.pieces >= 4, LONG_S)
    desk.stop(kill=True)
    desk.start()
    again.until("taken", 1, LONG_S)
    watches[1].until("taken", 1, LONG_S)
    assert again.end() == 0 and watches[1].end() == 0 and not between.damage
    for item, sent in (("k1", data), ("k2", (tmp_path / "two.wav").read_bytes())):
        (taken,) = look_into(home.box_folder, Settings()).record.latest("taken", item)
        assert (home.box_folder / taken.facts["stored"]).read_bytes() == sent
        assert taken.facts["station"] and (folders[item == "k2"] / "record.wav").read_bytes() == sent


def hide_from_the_desk(home: Home, most_s: float) -> None:
    """Two computers in one: the desk is told that the like path on its own disk is not the station's."""
    from takeup.lab.schema import CAPTURE

    def hidden():
        done = 0
        for row in home.captures():
            with home.lab.writing() as db:
                done += 1
                facts = row["facts"] | {"not_shared": True}
                db.execute(CAPTURE.update().where(CAPTURE.c.id == row["id"]).values(facts=facts))
        return done == 2

    wait_for(hidden, most_s)
