"""The slip: what was given is on it, nothing else, and no fact becomes markup."""

from __future__ import annotations

import pytest

from takeup.pages.receipt import receipt_page

FACTS = {
    "box": "Tan-Marlow", "date": "2027-03-16T15:42:10", "drive": "/media/WEN", "files": 31, "bytes": 48123456789,
    "algorithm": "sha256", "how": "direct", "manifest_sha256": "ab" * 32, "receipt": "r-1",
    "contents": [{"path": "data/01 t1/<b>.wav", "bytes": 1000, "sha256": "0"}],
}  # fmt: skip


@pytest.mark.parametrize("lang", ["en", "zh-Hans"])
def test_receipt_tells_what_was_given_in_both_languages(lang):
    page = receipt_page(FACTS, lang)
    for text in ("Tan-Marlow", "/media/WEN", "48.1 GB", "48,123,456,789", "16 March 2027 15:42", "2027年3月16日 15:42",
                 " ".join(["abababab"] * 8), "sha256sum -c manifest-sha256.txt", "SHA-256"):  # fmt: skip
        assert text in page
    assert f'<html lang="{lang}">' in page


def test_receipt_takes_the_facts_of_a_receipt_as_deliver_writes_them():
    facts = {name: fact for name, fact in FACTS.items() if name != "algorithm"} | {"algorithms": ["sha512"]}
    page = receipt_page(facts | {"date": "2027-03-16T15:42:10+00:00", "folder": "Tan-Marlow", "read_back": True}, "en")
    assert "SHA-512" in page and "sha512sum -c manifest-sha512.txt" in page and "March 2027" in page


def test_receipt_escapes_every_fact():
    page = receipt_page(dict.fromkeys(("box", "drive", "folder", "how", "receipt"), "<script>x</script>"), "en")
    assert "<script" not in page and "&lt;script&gt;" in page


def test_receipt_says_when_it_was_only_read_through_memory():
    assert "unplug the drive" in receipt_page(FACTS | {"how": "memory"}, "en")
    assert "unplug the drive" not in receipt_page(FACTS, "en")


def test_receipt_with_few_facts_leaves_the_rest_out():
    page = receipt_page({"box": "b"}, "en")
    assert page.count("<dt>") == 2  # the box, and the algorithm that the check is written with


def test_receipt_runs_no_script_and_asks_nobody():
    page = receipt_page(FACTS, "en")
    assert "<script" not in page and "http:" not in page and "https:" not in page and "default-src 'none'" in page
