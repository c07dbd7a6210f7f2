"""Where files go in the parcel: names that every system takes, whatever a family wrote on its tapes."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.files.names import folded, safe_name, why_unsafe
from takeup.plan.parcel import Finished, Placed, part_of, plain, plan_parcel, shown_of, text_of
from takeup.streams import Original


def made(item: str, role: str, path: str, **more) -> Finished:
    return Finished(item=item, role=role, path=path, bytes=1, sha256="0", **more)


def planned(files: list[Finished], labels: dict[str, str], *, only_copies: bool = False) -> list[Placed]:
    originals = [Original(id=id, carrier="cassette", label=label) for id, label in labels.items()]
    return plan_parcel(originals, files, labels, only_copies=only_copies, safe_name=safe_name)


def placed(role: str, href: str) -> Placed:
    return Placed(finished=made("x", role, href), href=href)


def test_parcel_a_folder_per_original_in_the_familys_order():
    files = [
        made("b", "copy", "copies/b/b.m4a"),
        made("a", "master", "masters/a/a.wav"),
        made("a", "copy", "copies/a/a.m4a"),
    ]
    hrefs = [file.href for file in planned(files, {"a": "Aunt Wen, New Year 1983", "b": "外婆"})]
    assert hrefs == [
        "01 a Aunt Wen, New Year 1983/a.m4a",
        "01 a Aunt Wen, New Year 1983/kept master/a.wav",
        "02 b/b.m4a",
    ]


def test_parcel_only_copies_leaves_the_masters_out():
    files = [
        made("a", "master", "masters/a/a.wav"),
        made("a", "copy", "copies/a/a.m4a"),
        made("a", "text", "copies/a/a.txt"),
    ]
    roles = [file.finished.role for file in planned(files, {"a": ""}, only_copies=True)]
    assert roles == ["copy", "text"]


def test_parcel_numbers_stay_in_order_past_ninety_nine():
    labels = {f"i{at}": "" for at in range(120)}
    hrefs = [file.href for file in planned([made(id, "copy", f"{id}.jpg") for id in labels], labels)]
    assert hrefs == sorted(hrefs) and hrefs[0].startswith("001 ")


def test_parcel_names_that_differ_only_in_what_is_lost_stay_apart():
    names = ("外.jpg", "婆.jpg", "A.jpg", "a.JPG")
    files = [made("a", "copy", f"copies/a/{name}") for name in names]
    hrefs = [file.href for file in planned(files, {"a": ""})]
    assert len({folded(href) for href in hrefs}) == 4


NAMES = st.text(min_size=1, max_size=40).map(lambda name: name.replace("/", ""))


@given(
    label=st.text(max_size=80),
    id=st.from_regex(r"[A-Za-z0-9._-]{1,40}", fullmatch=True),
    names=st.lists(NAMES, min_size=1, max_size=5),
)
def test_parcel_any_label_gives_safe_different_names(label, id, names):
    files = [made(id, "copy", f"copies/{name}") for name in names]
    hrefs = [file.href for file in planned(files, {id: label})]
    parts = [part for href in hrefs for part in href.split("/")]
    assert not [part for part in parts if why_unsafe(part)]
    assert all(re.fullmatch(r"[A-Za-z0-9 .,_()+-]+", part) for part in parts)
    assert len({folded(href) for href in hrefs}) == len(names)
    assert all(len(href) <= 180 for href in hrefs)


@pytest.mark.parametrize("text", ["a" * 200, "word " * 60, "x" * 60 + ".jpeg", "." * 50, "é" * 60])
def test_plain_is_never_longer_than_asked(text):
    assert len(plain(text)) <= 40 and not plain(text).endswith((" ", "."))


def test_shown_copies_first_then_pages_then_what_a_browser_can_open():
    copy, page, text = placed("copy", "a.pdf"), placed("page", "a-1.jpg"), placed("text", "a.txt")
    wav, mkv, tif = placed("master", "a.wav"), placed("master", "a.mkv"), placed("master", "a.tif")
    assert shown_of([copy, page, text, wav]) == [copy]
    assert shown_of([page, text, tif]) == [page]
    assert shown_of([wav, mkv, tif]) == [wav, tif]


def test_text_belongs_to_the_file_of_its_name():
    one, two, text = placed("copy", "f/a.pdf"), placed("copy", "f/b.jpg"), placed("text", "f/a.txt")
    assert text_of(one, [one, two, text]) == text and text_of(two, [one, two, text]) is None


def test_part_is_told_by_the_name_behind_the_id():
    assert part_of("t1", "t1-side-a.m4a") == "side-a" and part_of("t1", "t11.m4a") == ""
