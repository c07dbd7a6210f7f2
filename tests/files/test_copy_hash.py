"""Copying with a checksum in one pass, and reading back. Second computation: hashlib over the whole content."""

import hashlib
import os

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from takeup.errors import CopyDiffers, NotPossible, Unreadable
from takeup.files import copy as copying
from takeup.files.beside import beside, part_name, sweep
from takeup.files.copy import copy_file
from takeup.files.fresh import open_fresh
from takeup.files.hash import hash_file, hash_fresh, known_algorithm

SIZES = [0, 1, 511, 4095, 4096, 4097, copying.BLOCK - 1, copying.BLOCK, copying.BLOCK + 1, 3 * copying.BLOCK + 12345]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("direct", [True, False])
def test_copy_file_every_size_around_a_block(tmp_path, monkeypatch, size, direct):
    if not direct:
        monkeypatch.delattr(os, "O_DIRECT", raising=False)
    data = os.urandom(size)
    (tmp_path / "source").write_bytes(data)
    heard = []
    copied = copy_file(tmp_path / "source", tmp_path / "part", hear=heard.append)
    assert (tmp_path / "part").read_bytes() == data
    assert (copied.bytes, copied.sha256, sum(heard)) == (size, hashlib.sha256(data).hexdigest(), size)


def test_copy_file_source_keeps_content_times_and_mode(tmp_path):
    source = tmp_path / "source"
    source.write_bytes(b"x" * 100_000)
    os.chmod(source, 0o440)
    os.utime(source, ns=(1_000_000_000, 2_000_000_000))
    before = source.stat()
    copy_file(source, tmp_path / "part")
    after = source.stat()
    same = ("st_mtime_ns", "st_ctime_ns", "st_mode", "st_size", "st_ino", "st_nlink")
    assert [getattr(before, name) for name in same] == [getattr(after, name) for name in same]
    if hasattr(os, "O_NOATIME"):
        assert after.st_atime_ns == before.st_atime_ns


def test_copy_file_a_disk_that_lies_is_found(tmp_path, monkeypatch):
    (tmp_path / "source").write_bytes(os.urandom(9_000_000))
    honest = copying._read_at

    def lying(handle, buffer, at):
        count = honest(handle, buffer, at)
        if at >= copying.BLOCK:
            buffer[100] = buffer[100] ^ 1
        return count

    monkeypatch.setattr(copying, "_read_at", lying)
    with pytest.raises(CopyDiffers), beside(tmp_path / "target") as part:
        copy_file(tmp_path / "source", part)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["source"]


def test_copy_file_follows_no_link(tmp_path):
    (tmp_path / "real").write_bytes(b"real")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with pytest.raises(Unreadable):
        copy_file(tmp_path / "link", tmp_path / "part")


def test_copy_file_a_full_disk_leaves_nothing(tmp_path, monkeypatch):
    (tmp_path / "source").write_bytes(bytes(9_000_000))

    def full(handle, view, at):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(copying, "_write_at", full)
    with pytest.raises(NotPossible) as stop, beside(tmp_path / "target") as part:
        copy_file(tmp_path / "source", part)
    assert stop.value.key == "disk.full"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["source"]


@given(data=st.binary(max_size=20_000))
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_hashes_agree_by_both_ways_of_reading(tmp_path, data):
    (tmp_path / "file").write_bytes(data)
    names = ("md5", "sha256", "sha512", "sha3_256")
    expected = {name: hashlib.new(name, data).hexdigest() for name in names}
    assert hash_file(tmp_path / "file", names).digests == expected
    assert hash_fresh(tmp_path / "file", names).digests == expected


def test_hash_file_never_waits_on_a_pipe_nor_follows_a_link(tmp_path):
    (tmp_path / "real").write_bytes(b"1")
    (tmp_path / "link").symlink_to("real")
    with pytest.raises(OSError):
        hash_file(tmp_path / "link")


def test_open_fresh_falls_back_where_direct_reading_is_refused(tmp_path, monkeypatch):
    """A file system that opens for direct reading and then refuses it (EINVAL)."""
    from takeup.files import fresh

    data = os.urandom(5_000_001)
    (tmp_path / "file").write_bytes(data)
    honest, refused = fresh._read_into, []

    def refusing(handle, buffer, at):
        if not refused:
            refused.append(at)
            raise OSError(22, "Invalid argument")
        return honest(handle, buffer, at)

    monkeypatch.setattr(fresh, "_read_into", refusing)
    with open_fresh(tmp_path / "file") as file:
        got = b"".join(bytes(block) for block in file.blocks())
    assert got == data and file.how in ("dropped", "memory")


@pytest.mark.parametrize(
    "spelled, name", [("SHA-256", "sha256"), ("sha3-512", "sha3_512"), ("MD5", "md5"), ("crc", None)]
)
def test_known_algorithm_spellings(spelled, name):
    assert known_algorithm(spelled) == name


def test_part_name_fits_where_the_target_fits(tmp_path):
    for name in ("家" * 85, "🎞" * 60 + ".wav", "a." + "b" * 253):
        part = part_name(tmp_path / name)
        part.write_bytes(b"")
        assert len(os.fsencode(part.name)) <= 255
    assert part_name(tmp_path / "a.mkv").suffix == ".mkv"


def test_sweep_takes_parts_and_part_folders_only(tmp_path):
    (tmp_path / "captures").mkdir()
    (tmp_path / "captures/t1.wav").write_bytes(b"keep")
    part_name(tmp_path / "captures/t1.wav").write_bytes(b"half")
    work = part_name(tmp_path / "parcel")
    (work / "data").mkdir(parents=True)
    (work / "data/x").write_bytes(b"half")
    (tmp_path / "outside.takeup-part").symlink_to(tmp_path / "captures")
    sweep(tmp_path)
    assert [path.name for path in sorted(tmp_path.rglob("*"))] == ["captures", "t1.wav", "outside.takeup-part"]
