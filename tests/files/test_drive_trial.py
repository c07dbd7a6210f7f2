"""Trying a drive. Truth by construction: small disks of known size, and drives that are made to lie."""

import os
from dataclasses import replace

import pytest
from make.boxes import files_under
from make.command import takeup
from make.small_disk import small_disk

from takeup.files import trial as trial_room
from takeup.files.trial import Trial, may_write, try_out
from takeup.files.volume import FileSystem, Room, known_file_system
from takeup.tables.loader import load_rows
from takeup.tables.rows import Rows
from takeup.tasks.drive import Drive, drive_document, reasons, try_drive

ROWS = load_rows()


def test_trial_on_a_small_disk_tries_it_and_leaves_nothing(tmp_path):
    with small_disk(tmp_path / "drive", megabytes=60, kind="ext4") as folder:
        before = sorted(os.listdir(folder))
        heard = []
        trial = try_out(folder, ROWS, spread=True, hear=lambda done, total: heard.append((done, total)))
        assert sorted(os.listdir(folder)) == before
        assert trial.holds is True and trial.how == "direct" and trial.trouble == ""
        assert trial.write_bytes_s > 0 and trial.read_bytes_s > 0
        assert [done for done, _ in heard] == sorted(done for done, _ in heard)


def fewer(megabytes):
    """The rows with a smaller trial, so that a small disk stands for a large one."""
    row = ROWS["drives.trial.most_bytes"]
    return Rows(dict(ROWS) | {row.key: replace(row, value=megabytes << 20)})


def test_trial_blocks_reach_over_the_free_room(tmp_path):
    """100 MB of room, 32 MiB of blocks: spread, they reach over more than four fifths of 0.9 of the room."""
    with small_disk(tmp_path / "drive", megabytes=120, kind="ext4") as folder:
        free = os.statvfs(folder).f_bavail * os.statvfs(folder).f_frsize
        trial = try_out(folder, fewer(32), spread=True)
        assert trial.tried_bytes == 32 << 20
        assert 0.72 * free < trial.spread_bytes <= 0.9 * free
        beside = try_out(folder, fewer(32), spread=False)
        assert beside.spread_bytes == 0 and beside.holds is True


class Fake:
    """A drive that holds less than it claims: what is written beyond its true size wraps round, or is forgotten."""

    def __init__(self, monkeypatch, true_bytes, wraps):
        self.honest_write, self.honest_read = trial_room._write, trial_room._read
        self.true_bytes, self.wraps = true_bytes, wraps
        monkeypatch.setattr(trial_room, "_write", self.write)
        monkeypatch.setattr(trial_room, "_read", self.read)

    def write(self, handle, data, at):
        if self.wraps:
            self.honest_write(handle, data, at % self.true_bytes)
        elif at < self.true_bytes:
            self.honest_write(handle, data, at)

    def read(self, handle, buffer, at, count):
        if self.wraps:
            return self.honest_read(handle, buffer, at % self.true_bytes, count)
        return self.honest_read(handle, buffer, at, count) if at < self.true_bytes else bytes(count)


@pytest.mark.parametrize("wraps", [True, False])
def test_trial_drive_that_is_smaller_than_it_claims_does_not_hold(tmp_path, monkeypatch, wraps):
    with small_disk(tmp_path / "drive", megabytes=120, kind="ext4") as folder:
        Fake(monkeypatch, 64 << 20, wraps)
        assert try_out(folder, fewer(32), spread=True).holds is False


def test_trial_drive_that_breaks_off_is_told_and_cleaned(tmp_path, monkeypatch):
    with small_disk(tmp_path / "drive", megabytes=60, kind="ext4") as folder:
        honest, count = trial_room._write, [0]

        def broken(handle, data, at):
            count[0] += 1
            if count[0] > 3:
                raise OSError(5, "Input/output error")
            honest(handle, data, at)

        monkeypatch.setattr(trial_room, "_write", broken)
        drive = try_drive(folder, ROWS)
        assert drive.trial.holds is False and drive.trial.trouble == "Input/output error"
        assert drive_document(drive, ROWS, "en")["verdict"] == "no"
        assert files_under(folder) == {}


def test_trial_slow_drive_stops_in_time(tmp_path, monkeypatch):
    with small_disk(tmp_path / "drive", megabytes=60, kind="ext4") as folder:
        now = [0.0]

        def clock():
            now[0] += 3.0
            return now[0]

        monkeypatch.setattr(trial_room.time, "monotonic", clock)
        trial = try_out(folder, ROWS, spread=True)
        block = ROWS.value("drives.trial.block_bytes")
        assert trial.holds is True and 0 < trial.tried_bytes < 0.9 * (60 << 20) // block * block


def test_drive_full_read_only_and_missing_are_plain_answers(tmp_path):
    with small_disk(tmp_path / "full", megabytes=8) as folder:
        with pytest.raises(OSError), (folder / "much").open("wb") as file:
            file.write(bytes(9 << 20))
        ran = takeup("drive", folder, "--json")
        assert ran.status == 0 and ran.json["verdict"] == "no" and "full" in ran.json["why"][0]
        assert list(files_under(folder)) == ["much"]
    with small_disk(tmp_path / "locked", megabytes=8, options=",ro") as folder:
        ran = takeup("drive", folder, "--json")
        assert ran.status == 0 and ran.json["writable"] is False and ran.json["verdict"] == "no"
    ran = takeup("drive", tmp_path / "none", "--json")
    assert (ran.status, ran.out) == (2, "") and len(ran.err.splitlines()) == 1


def test_may_write_leaves_nothing(tmp_path):
    assert may_write(tmp_path) == "" and os.listdir(tmp_path) == []


@pytest.mark.parametrize(
    "kind, key, longest",
    [
        ("vfat", "fat32", 4294967294),
        ("FAT32", "fat32", 4294967294),
        ("exfat", "exfat", None),
        ("NTFS", "ntfs", None),
        ("ntfs3", "ntfs", None),
        ("apfs", "apfs", None),
        ("hfsplus", "hfs", None),
        ("ext4", "linux", None),
        ("tmpfs", "memory", None),
        ("cifs", "share", None),
        ("fuseblk", "", None),
        ("", "", None),
    ],
)
def test_known_file_system_by_every_systems_own_word(kind, key, longest):
    """FAT32: 2**32 - 2 bytes, the smaller of the two published limits."""
    system = known_file_system(kind, ROWS)
    assert (system.key, system.file_bytes) == (key, longest)


def drive_of(kind, **more):
    trial = Trial(
        holds=True, tried_bytes=1 << 28, spread_bytes=10**10, write_bytes_s=5e7, read_bytes_s=9e7, how="direct"
    )
    facts = {
        "folder": "/drive", "refusal": "", "kind": kind, "file_system": known_file_system(kind, ROWS),
        "room": Room(10**10, 2 * 10**10), "trial": trial, "own_disk": False,
    }  # fmt: skip
    return Drive(**facts | more)


@pytest.mark.parametrize(
    "kind, keys",
    [
        ("exfat", []),
        ("vfat", ["file-limit"]),
        ("ntfs", []),
        ("apfs", ["not-every-computer"]),
        ("ext4", ["not-every-computer"]),
        ("fuseblk", ["unknown-file-system"]),
        ("tmpfs", ["memory"]),
    ],
)
def test_reasons_by_file_system(kind, keys):
    assert [key for _, key, _ in reasons(drive_of(kind), ROWS)] == keys


def test_reasons_good_drive_says_good_in_both_languages():
    for lang in ("en", "zh-Hans"):
        document = drive_document(drive_of("exfat"), ROWS, lang)
        assert document["verdict"] == "good" and document["why"] == []
        assert document["reads"] == ["windows", "macos", "linux"]


def test_reasons_too_small_and_slow():
    assert reasons(drive_of("exfat", needed_bytes=10**11), ROWS)[0][:2] == ("no", "too-small")
    slow = Trial(
        holds=True, tried_bytes=1 << 28, spread_bytes=10**10, write_bytes_s=4e6, read_bytes_s=9e6, how="direct"
    )
    assert [key for _, key, _ in reasons(drive_of("exfat", trial=slow), ROWS)] == ["slow"]


def test_file_system_row_names_no_limit_as_none():
    assert isinstance(known_file_system("exfat", ROWS), FileSystem)
    assert known_file_system("exfat", ROWS).file_bytes is None
