"""Names that every system takes. Expected values: the systems' own published naming rules (rows ``drives.names``)."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from takeup.files.names import folded, numbered, safe_name, utf16_units, why_unsafe


@pytest.mark.parametrize(
    "name, why",
    [
        ("t1.wav", None),
        ("外婆的信 🎞.tif", None),
        ("side (a) & b, 100%.wav", None),
        ("", "empty"),
        (".", "dots"),
        ("..", "dots"),
        ("COM1", "reserved"),
        ("com1.txt", "reserved"),
        ("LPT9.a.b.wav", "reserved"),
        ("conin$", "reserved"),
        ("NUL .txt", "reserved"),
        ("com²", "reserved"),
        ("com10.txt", None),
        ("console.txt", None),
        ("a:b.wav", "character"),
        ("what?.wav", "character"),
        ("a/b", "character"),
        ("a\\b", "character"),
        ("name.", "end"),
        ("name ", "end"),
        (" name", "start"),
        ("-rf", "start"),
        ("~root", "start"),
        ("a\nb", "control"),
        ("a\x00b", "control"),
        ("a\u202eb.wav", "control"),  # turns the reading direction round: exe can look like wav
        ("e\u0301.wav", "form"),
        ("a" * 256, "long"),
        ("外" * 86, "long"),  # 3 bytes each: 258
        ("a" * 255, None),
    ],
)
def test_why_unsafe_names_of_each_system(name, why):
    assert why_unsafe(name) == why


@pytest.mark.parametrize(
    "name, given_name",
    [
        ("t1-side-a.wav", "t1-side-a.wav"),
        ("外婆的信.tif", "外婆的信.tif"),
        ("-t1.wav", "_t1.wav"),
        ("t1\nside.wav", "t1_side.wav"),
        ("COM1.txt", "_COM1.txt"),
        ("a:b?.wav", "a_b_.wav"),
        ("name. . ", "name"),
        ("...", "_"),
        (".hidden", "hidden"),
        ("e\u0301.wav", "\u00e9.wav"),
        ("50%.wav", "50_.wav"),
    ],
)
def test_safe_name_nearest_that_all_take(name, given_name):
    assert safe_name(name) == given_name


def test_safe_name_undecodable_bytes_become_signs():
    """0xE9 is a Latin-1 letter and no UTF-8: Python hands it out as a lone surrogate."""
    assert safe_name("caf\udce9.wav") == "caf_.wav"


def test_safe_name_long_keeps_its_ending_and_cuts_between_signs():
    name = safe_name("家" * 80 + ".wav")
    assert name.endswith(".wav") and len(name.encode()) <= 120 and set(name[:-4]) == {"家"}


@given(st.text(st.characters(codec=None), max_size=300))
def test_safe_name_law_is_safe_on_every_system_and_stays_as_it_is(name):
    once = safe_name(name)
    assert why_unsafe(once) is None
    assert safe_name(once) == once


@given(st.text(min_size=1, max_size=40))
def test_folded_law_case_and_form_make_no_difference(name):
    for other in (unicodedata.normalize("NFD", name), unicodedata.normalize("NFC", name)):
        assert folded(other) == folded(name)


def test_numbered_avoids_case_and_form_collisions():
    assert numbered("É.wav", {folded("e\u0301.WAV")}) == "É-2.wav"
    assert numbered("noending", {"noending", "noending-2"}) == "noending-3"


def test_utf16_units_signs_beyond_the_basic_plane_count_twice():
    assert utf16_units("a🎞外") == 4
