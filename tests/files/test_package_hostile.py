"""Packages that somebody made badly or on purpose. Truth by construction: each case starts from a whole package."""

import codecs
import hashlib
import os
import unicodedata

import pytest

from takeup.errors import NotPossible
from takeup.files.package import Payload, make_package
from takeup.files.package_paths import decoded, encoded, leaves
from takeup.files.package_read import verify_package

HELLO = b"hello\n"


def digest(data: bytes, name: str = "sha256") -> str:
    return hashlib.new(name, data).hexdigest()


@pytest.fixture
def bag(tmp_path):
    """A package made by hand and not by our writer: version 1.0, two files, no tag manifest."""
    folder = tmp_path / "bag"
    (folder / "data").mkdir(parents=True)
    (folder / "bagit.txt").write_bytes(b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
    for name in ("a.txt", "b.txt"):
        (folder / "data" / name).write_bytes(HELLO)
    (folder / "manifest-sha256.txt").write_text(f"{digest(HELLO)}  data/a.txt\n{digest(HELLO)}  data/b.txt\n")
    return folder


def found(folder):
    return {(noted.path, noted.what) for noted in verify_package(folder).problems}


def add_line(folder, path, data=HELLO, name="manifest-sha256.txt"):
    with (folder / name).open("a", encoding="utf-8") as file:
        file.write(f"{digest(data)}  {path}\n")


def test_whole_package_without_tag_manifest_has_nothing_to_say(bag):
    verified = verify_package(bag)
    assert (verified.intact, verified.complete, verified.problems, verified.warnings) == (True, True, (), ())
    assert (verified.files, verified.bytes) == (2, 12)


def test_changed_missing_extra_are_told_apart(bag):
    (bag / "data/a.txt").write_bytes(b"hellO\n")
    (bag / "data/b.txt").rename(bag / "data/c.txt")
    assert found(bag) == {("data/a.txt", "changed"), ("data/b.txt", "missing"), ("data/c.txt", "extra")}


def test_changed_file_alone_leaves_the_package_complete(bag):
    (bag / "data/a.txt").write_bytes(b"hellO\n")
    verified = verify_package(bag)
    assert (verified.intact, verified.complete) == (False, True)


def test_truncated_file_is_changed(bag):
    (bag / "data/a.txt").write_bytes(HELLO[:3])
    assert found(bag) == {("data/a.txt", "changed")}


@pytest.mark.parametrize(
    "path",
    [
        "/etc/passwd",
        "../outside.txt",
        "data/../../outside.txt",
        "data/../bagit.txt",
        "~/x",
        "~root/x",
        "C:x",
        "C:\\x",
        "c:/x",
        "\\\\server\\share\\x",
        "\\x",
        "\\\\?\\UNC\\server\\x",
        "data\\..\\..\\x",
        "%HomeDrive%\\x",
        "$HOME/x",
        "data/..",
        "./../x",
        "data/a\x01.txt",
        "..%0A/../x",
    ],
)
def test_path_that_leaves_is_unsafe_and_never_opened(bag, tmp_path, monkeypatch, path):
    (tmp_path / "outside.txt").write_bytes(HELLO)
    opened = []
    honest = os.open
    monkeypatch.setattr(os, "open", lambda name, *rest, **more: opened.append(str(name)) or honest(name, *rest, **more))
    add_line(bag, path)
    verified = verify_package(bag)
    assert {noted.what for noted in verified.problems} == {"unsafe"}
    assert all(name.startswith(str(bag)) for name in opened)


@pytest.mark.parametrize("path", ["data/a~.txt", "data/~a", "data/a:b", "data/...", "data/..a", "data/100%", "data/$x"])
def test_path_that_stays_inside_is_not_unsafe(path):
    assert leaves(path) is None


def test_nul_in_a_path_is_no_way_out(bag):
    add_line(bag, "data/a.txt\x00.jpg")
    assert {what for _, what in found(bag)} == {"unsafe"}


def test_link_out_of_the_package_is_unsafe_and_not_read(bag, tmp_path):
    (tmp_path / "secret.txt").write_bytes(HELLO)
    (bag / "data/b.txt").unlink()
    (bag / "data/b.txt").symlink_to(tmp_path / "secret.txt")
    assert found(bag) == {("data/b.txt", "unsafe")}


def test_linked_folder_is_unsafe_and_not_walked(bag, tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere/c.txt").write_bytes(HELLO)
    (bag / "data/more").symlink_to(tmp_path / "elsewhere")
    add_line(bag, "data/more/c.txt")
    assert found(bag) == {("data/more", "unsafe")}


def test_links_in_a_ring_end(bag):
    (bag / "data/ring").symlink_to(bag / "data")
    assert found(bag) == {("data/ring", "unsafe")}


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes in folders")
def test_pipe_is_never_opened(bag):
    """Opening it would wait for ever."""
    (bag / "data/b.txt").unlink()
    os.mkfifo(bag / "data/b.txt")
    os.mkfifo(bag / "tag")
    assert found(bag) == {("data/b.txt", "unsafe"), ("tag", "unsafe")}


def test_same_path_twice_with_other_checksum_is_malformed(bag):
    add_line(bag, "data/a.txt", b"other")
    assert found(bag) == {("data/a.txt", "malformed")}


def test_same_path_twice_with_same_checksum_warns(bag):
    add_line(bag, "data/a.txt")
    verified = verify_package(bag)
    assert verified.intact and {noted.path for noted in verified.warnings} == {"data/a.txt"}


def test_file_on_one_of_two_manifests_since_1_0_is_malformed_before_a_warning(bag):
    (bag / "manifest-sha512.txt").write_text(f"{digest(HELLO, 'sha512')}  data/a.txt\n")
    assert found(bag) == {("data/b.txt", "malformed")}
    (bag / "bagit.txt").write_bytes(b"BagIt-Version: 0.97\nTag-File-Character-Encoding: UTF-8\n")
    verified = verify_package(bag)
    assert verified.intact and {noted.path for noted in verified.warnings} == {"data/b.txt"}


def test_file_that_one_of_two_manifests_contradicts_is_changed(bag):
    (bag / "manifest-md5.txt").write_text(f"{digest(HELLO, 'md5')}  data/a.txt\n{digest(b'x', 'md5')}  data/b.txt\n")
    assert found(bag) == {("data/b.txt", "changed")}


def test_fetch_only_file_is_missing_and_not_fetched(bag):
    (bag / "fetch.txt").write_text("https://example.invalid/c 6 data/c.txt\n")
    add_line(bag, "data/c.txt")
    assert found(bag) == {("data/c.txt", "missing")}


def test_fetch_of_a_file_that_is_there_says_nothing(bag):
    (bag / "fetch.txt").write_text("https://example.invalid/a - data/a.txt\n")
    assert verify_package(bag).intact


@pytest.mark.parametrize("path", ["../x", "/x", "~/x", "C:\\x", "\\\\server\\x"])
def test_fetch_path_that_leaves_is_unsafe(bag, path):
    (bag / "fetch.txt").write_text(f"https://example.invalid/x - {path}\n")
    assert {what for _, what in found(bag)} == {"unsafe"}


def test_two_names_that_differ_in_case_warn(bag):
    (bag / "data/A.TXT").write_bytes(HELLO)
    add_line(bag, "data/A.TXT")
    verified = verify_package(bag)
    if len(os.listdir(bag / "data")) == 3:
        assert verified.intact and verified.warnings


def test_listed_composed_and_stored_decomposed_is_the_same_file(bag):
    name = "café.txt"
    (bag / "data" / unicodedata.normalize("NFD", name)).write_bytes(HELLO)
    add_line(bag, "data/" + unicodedata.normalize("NFC", name))
    verified = verify_package(bag)
    assert verified.intact and verified.files == 3


def test_count_that_does_not_agree_is_a_problem(bag):
    """Two files of six bytes: 12.2 is right."""
    (bag / "bag-info.txt").write_text("Payload-Oxum: 12.2\n")
    assert verify_package(bag).intact
    for wrong in ("12.3", "13.2", "2.12", "many"):
        (bag / "bag-info.txt").write_text(f"Payload-Oxum: {wrong}\n")
        assert found(bag) == {("bag-info.txt", "malformed")}


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_every_line_ending_is_read(bag, ending):
    for name in ("bagit.txt", "manifest-sha256.txt"):
        text = (bag / name).read_text()
        (bag / name).write_bytes(text.replace("\n", ending).encode())
    assert verify_package(bag).intact


def test_other_encodings_of_the_lists(bag):
    (bag / "data/Zoë.txt").write_bytes(HELLO)
    add_line(bag, "data/Zoë.txt")
    for encoding in ("ISO-8859-1", "UTF-16", "windows-1252"):
        text = f"{digest(HELLO)}  data/a.txt\n{digest(HELLO)}  data/b.txt\n{digest(HELLO)}  data/Zoë.txt\n"
        (bag / "manifest-sha256.txt").write_bytes(text.encode(encoding))
        (bag / "bagit.txt").write_text(f"BagIt-Version: 1.0\nTag-File-Character-Encoding: {encoding}\n")
        assert verify_package(bag).intact, encoding


def test_byte_order_mark_is_malformed_in_the_declaration_and_read_over_in_a_manifest(bag):
    manifest = bag / "manifest-sha256.txt"
    manifest.write_bytes(codecs.BOM_UTF8 + manifest.read_bytes())
    assert verify_package(bag).intact and verify_package(bag).warnings
    (bag / "bagit.txt").write_bytes(codecs.BOM_UTF8 + (bag / "bagit.txt").read_bytes())
    assert found(bag) == {("bagit.txt", "malformed")}


@pytest.mark.parametrize(
    "text",
    [
        b"", b"BagIt-Version: 1.0\n", b"Tag-File-Character-Encoding: UTF-8\n", b"\xff\xfe\x00garbage",
        b"BagIt-Version: one\nTag-File-Character-Encoding: UTF-8\n",
        b"BagIt-Version: 9.9\nTag-File-Character-Encoding: UTF-8\n",
        b"BagIt-Version: 1.0\nTag-File-Character-Encoding: no-such\n",
        b"BagIt-Version: 1.0\nTag-File-Character-Encoding: rot13\n",
        b"BagIt-Version: 1.0\nTag-File-Character-Encoding: base64\n",
    ],
)  # fmt: skip
def test_declaration_that_cannot_be_used_is_malformed(bag, text):
    (bag / "bagit.txt").write_bytes(text)
    assert ("bagit.txt", "malformed") in found(bag)


@pytest.mark.parametrize("line", ["nonsense", "zz  data/a.txt", "abcd  data/a.txt", "  ", digest(HELLO)])
def test_manifest_line_that_cannot_be_read_is_malformed(bag, line):
    with (bag / "manifest-sha256.txt").open("a") as file:
        file.write(line + "\n")
    assert found(bag) == ({("manifest-sha256.txt", "malformed")} if line.strip() else set())


def test_manifest_line_without_end_is_told_and_not_held(bag):
    with (bag / "manifest-sha256.txt").open("a") as file:
        file.write("a" * 3_000_000)
    assert ("manifest-sha256.txt", "malformed") in found(bag)


def test_manifest_that_is_no_text_is_malformed(bag):
    with (bag / "manifest-sha256.txt").open("ab") as file:
        file.write(b"\xff\xff\xff\n")
    assert ("manifest-sha256.txt", "malformed") in found(bag)


def test_manifest_with_unknown_fingerprint_warns_beside_a_known_one_and_alone_is_malformed(bag):
    (bag / "manifest-whirl.txt").write_text("00  data/a.txt\n00  data/b.txt\n")
    verified = verify_package(bag)
    assert verified.intact and {noted.path for noted in verified.warnings} == {"manifest-whirl.txt"}
    (bag / "manifest-sha256.txt").unlink()
    assert found(bag) == {("manifest-whirl.txt", "malformed")}


@pytest.mark.parametrize("name", ["md5", "sha1", "sha224", "sha384", "sha512", "sha3256", "sha3-512"])
def test_every_known_fingerprint_is_compared(bag, name):
    (bag / "manifest-sha256.txt").unlink()
    python = {"sha3256": "sha3_256", "sha3-512": "sha3_512"}.get(name, name)
    lines = "".join(f"{digest(HELLO, python).upper()}  data/{file}\n" for file in ("a.txt", "b.txt"))
    (bag / f"manifest-{name}.txt").write_text(lines)
    assert verify_package(bag).intact
    (bag / "data/a.txt").write_bytes(b"HELLO\n")
    assert found(bag) == {("data/a.txt", "changed")}


def test_no_manifest_or_no_payload_folder_is_missing(bag, tmp_path):
    (bag / "manifest-sha256.txt").unlink()
    assert ("manifest-sha256.txt", "missing") in found(bag)
    (tmp_path / "empty").mkdir()
    assert {path for path, what in found(tmp_path / "empty") if what == "missing"} >= {"bagit.txt", "data"}


def test_changed_tag_file_is_told(bag):
    (bag / "bag-info.txt").write_text("Contact-Name: the lab\n")
    (bag / "tagmanifest-sha256.txt").write_text(f"{digest(b'other')}  bag-info.txt\n")
    assert found(bag) == {("bag-info.txt", "changed")}


def test_names_with_line_ends_and_per_cent_signs(bag):
    name = "50%\n.txt"
    (bag / "data" / name).write_bytes(HELLO)
    add_line(bag, "data/50%25%0A.txt")
    assert verify_package(bag).intact
    assert decoded(encoded(f"data/{name}"), "1.0") == f"data/{name}"


def test_no_such_folder_or_a_file_is_refused(bag, tmp_path):
    for path in (tmp_path / "nowhere", bag / "bagit.txt"):
        with pytest.raises(NotPossible) as stop:
            verify_package(path)
        assert stop.value.key == "package.not-there"


def test_undecodable_name_on_the_disk_is_extra(bag):
    try:
        (bag / "data" / "caf\udce9").write_bytes(HELLO)
    except OSError:
        pytest.skip("this file system takes only names that are text")
    assert {what for _, what in found(bag)} == {"extra"}


# The writer.


@pytest.mark.parametrize("path", ["CON.txt", "a:b", "../x", "x/..", "/x", "a//b", "trailing.", "-x", "x" * 300])
def test_make_package_refuses_names_that_some_system_refuses(tmp_path, path):
    (tmp_path / "source").write_bytes(HELLO)
    with pytest.raises(NotPossible) as stop:
        make_package(tmp_path / "parcel", [Payload(tmp_path / "source", path)])
    assert stop.value.key == "package.unsafe-name" and not (tmp_path / "parcel").exists()


@pytest.mark.parametrize(
    "paths", [("a.txt", "A.TXT"), ("Folder/a", "folder/b"), ("a", "a/b"), ("a/b", "a"), ("a", "a")]
)
def test_make_package_refuses_names_that_some_system_takes_for_one(tmp_path, paths):
    (tmp_path / "source").write_bytes(HELLO)
    with pytest.raises(NotPossible) as stop:
        make_package(tmp_path / "parcel", [Payload(tmp_path / "source", path) for path in paths])
    assert stop.value.key == "package.same-name"


@pytest.mark.parametrize("link", [True, False])
def test_make_package_replaces_the_old_one_whole(tmp_path, link):
    (tmp_path / "source").write_bytes(HELLO)
    make_package(tmp_path / "p/parcel", [Payload(tmp_path / "source", "old.txt")], link=link)
    made = make_package(tmp_path / "p/parcel", [Payload(tmp_path / "source", "new.txt")], link=link)
    assert [path.name for path in (tmp_path / "p").iterdir()] == ["parcel"]
    assert [path.name for path in (tmp_path / "p/parcel/data").iterdir()] == ["new.txt"]
    assert made.manifest_sha256 == digest((tmp_path / "p/parcel/manifest-sha256.txt").read_bytes())


def test_make_package_with_a_lost_source_keeps_the_old_package(tmp_path):
    (tmp_path / "source").write_bytes(HELLO)
    make_package(tmp_path / "p/parcel", [Payload(tmp_path / "source", "old.txt")])
    with pytest.raises(NotPossible) as stop:
        make_package(tmp_path / "p/parcel", [Payload(tmp_path / "gone", "new.txt")])
    assert stop.value.key == "package.source-gone"
    assert [path.name for path in (tmp_path / "p").iterdir()] == ["parcel"] and verify_package(
        tmp_path / "p/parcel"
    ).intact


def test_make_package_one_line_per_field_whatever_is_in_it(tmp_path):
    (tmp_path / "source").write_bytes(HELLO)
    made = make_package(
        tmp_path / "parcel", [Payload(tmp_path / "source", "a")], [("External-Description", "two\nlines: x")]
    )
    assert "External-Description: two lines: x\n" in (made.folder / "bag-info.txt").read_text()
