"""``takeup desk`` as others rely on it: one line when ready, ends on SIGTERM, a demo home that opens again."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import urllib.request

import pytest

from takeup.errors import NotPossible
from takeup.settings import Settings
from takeup.web.opening import make_ready


@pytest.fixture
def started(tmp_path):
    """Starts a desk in a process of its own; all of them are ended."""
    running = []

    def start(*words):
        command = [sys.executable, "-m", "takeup", "desk", "--port", "0", "--json", *map(str, words)]
        running.append(subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True))
        return running[-1], json.loads(running[-1].stdout.readline())

    yield start
    for process in running:
        process.kill()
        process.communicate()


def _end(process):
    begun = time.monotonic()
    process.send_signal(signal.SIGTERM)
    status = process.wait(20)
    return status, time.monotonic() - begun


@pytest.mark.skipif(os.name == "nt", reason="SIGTERM is of other systems")
def test_a_new_home_tells_its_first_account_once_and_ends_on_sigterm_with_a_live_page_open(started, tmp_path):
    process, told = started("--home", tmp_path / "home")
    assert told["url"].startswith("http://127.0.0.1:") and told["staff"]["name"] and told["staff"]["password"]
    with urllib.request.urlopen(told["url"] + "health", timeout=10) as answer:
        assert json.load(answer) == {"ok": True}
    status, _ = _end(process)
    assert (status, process.stdout.read()) == (0, "")
    process, told = started("--home", tmp_path / "home")
    assert set(told) == {"url"}
    assert _end(process)[0] == 0


def test_a_demo_home_opens_again_with_the_same_accounts(tmp_path):
    desk, first = make_ready(tmp_path / "home", Settings(), demo=True)
    desk.lab.close()
    assert first["staff"]["password"] and len(first["visitor_codes"]) >= 2
    for demo in (True, False):
        desk, again = make_ready(tmp_path / "home", Settings(), demo=demo)
        desk.lab.close()
        assert again == first and desk.demo


def test_no_demo_is_put_into_a_real_lab(tmp_path):
    desk, _ = make_ready(tmp_path / "home", Settings())
    desk.lab.close()
    with pytest.raises(NotPossible, match="not-a-demo"):
        make_ready(tmp_path / "home", Settings(), demo=True)


def test_a_second_desk_on_the_same_home_is_refused_in_one_sentence(started, tmp_path):
    started("--home", tmp_path / "home")
    command = [sys.executable, "-m", "takeup", "desk", "--port", "0", "--home", str(tmp_path / "home")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert done.returncode == 2 and len(done.stderr.strip().splitlines()) == 1 and "another desk" in done.stderr
