"""Every reason that the hand-over can give is worded, and nothing rests on what only one system has."""

import ast
import subprocess
import sys
from pathlib import Path

import takeup
from takeup.files.fresh import HOWS
from takeup.words.sentences import load_sentences

SOURCE = Path(takeup.__file__).parent
AT = {
    "problem": (2, "verify."),
    "warn": (1, "verify."),
    "_NotTaken": (0, "take.refused."),
    "KeptInstead": (0, "clear.kept."),
}
FILES = [*(SOURCE / "files").glob("*.py"), *(SOURCE / "tasks" / f"{name}.py" for name in ("take", "clear", "deliver"))]


def literals(node):
    """The words an argument may be: a literal, or either side of a condition."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    if isinstance(node, ast.IfExp):
        yield from literals(node.body)
        yield from literals(node.orelse)


def test_every_reason_given_in_code_is_worded():
    sentences, missing, seen = load_sentences("answers"), [], set()
    for path in FILES:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            at, start = AT.get(name, (0, ""))
            if start and len(node.args) > at:
                for key in literals(node.args[at]):
                    seen.add(start + key)
                    if f"{start}{key}.en" not in sentences:
                        missing.append(f"{path.name}:{node.lineno} {start}{key}")
    assert missing == [] and len(seen) > 35


def test_every_way_out_of_a_package_way_of_reading_and_look_is_worded():
    sentences = load_sentences("answers")
    ways = ("control", "absolute", "share", "home", "drive", "variable", "upward")
    wanted = [f"verify.leaves.{way}.en" for way in ways] + [f"read-back.{how}.en" for how in HOWS]
    wanted += [f"take.refused.{why}.en" for why in ("gone", "link", "not-a-file", "unreadable", "two-items", "no-item")]
    assert [key for key in wanted if key not in sentences] == []


BARE = """
import os, sys, hashlib
for name in ("preadv", "pwritev", "pread", "pwrite", "readv", "O_DIRECT", "O_NOATIME", "O_NOFOLLOW", "posix_fadvise",
             "posix_fallocate", "statvfs", "mkfifo"):
    if hasattr(os, name):
        delattr(os, name)
from pathlib import Path
from takeup.files.copy import copy_file
from takeup.files.hash import hash_file, hash_fresh
folder = Path(sys.argv[1])
data = os.urandom(9_000_001)
(folder / "source").write_bytes(data)
copied = copy_file(folder / "source", folder / "copy")
wanted = hashlib.sha256(data).hexdigest()
assert (folder / "copy").read_bytes() == data and copied.sha256 == wanted
assert hash_fresh(folder / "copy").sha256 == wanted == hash_file(folder / "copy").sha256
print(copied.how, hash_fresh(folder / "copy").how)
"""


def test_copy_and_hash_work_with_what_every_system_has(tmp_path):
    """Without positioned reading and writing, direct reading and the like, as on Windows; and it says so."""
    ran = subprocess.run([sys.executable, "-c", BARE, str(tmp_path)], capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.split() == ["memory", "memory"]
