"""Pure rooms do nothing but compute: imports are the linter's matter (make check), calls are looked for here."""

import ast
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "src" / "takeup"
PURE = ["measure", "judge", "plan", "invent", "streams.py", "errors.py"]
FORBIDDEN_NAMES = {"open", "print", "input", "exec", "eval"}
FORBIDDEN_ATTRIBUTES = {
    ("datetime", "now"), ("datetime", "utcnow"), ("date", "today"), ("time", "time"), ("time", "sleep"),
    ("cv2", "imread"), ("cv2", "imwrite"), ("np", "load"), ("np", "save"), ("np", "fromfile"), ("np", "memmap"),
}  # fmt: skip


def modules():
    for room in PURE:
        path = SOURCE / room
        yield from [path] if path.is_file() else sorted(path.rglob("*.py"))


@pytest.mark.parametrize("path", list(modules()), ids=lambda path: str(path.relative_to(SOURCE)))
def test_pure_room_makes_no_call_outside(path):
    if path == SOURCE / "measure" / "warm.py":
        pytest.skip("warm.py is a command of `make setup`, not a measure")
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        if isinstance(called, ast.Name):
            assert called.id not in FORBIDDEN_NAMES, f"{path}:{node.lineno} calls {called.id}"
        if isinstance(called, ast.Attribute) and isinstance(called.value, ast.Name):
            pair = (called.value.id, called.attr)
            assert pair not in FORBIDDEN_ATTRIBUTES, f"{path}:{node.lineno} calls {pair[0]}.{pair[1]}"
            if pair == ("np", "default_rng") or called.attr == "default_rng":
                assert node.args or node.keywords, f"{path}:{node.lineno} draws unseeded random numbers"


def test_only_files_removes_or_renames():
    """Removing, renaming and copying belong to files/ (the caller of an OS function in another room is named)."""
    owners = ("files",)
    wrong = []
    for path in sorted(SOURCE.rglob("*.py")):
        if path.relative_to(SOURCE).parts[0] in owners:
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                name = node.func.attr
                owner = node.func.value.id if isinstance(node.func.value, ast.Name) else ""
                if name in ("unlink", "rmdir", "rmtree", "copyfile", "copytree", "copy2") or (
                    owner in ("os", "shutil") and name in ("remove", "rename", "replace", "move", "link")
                ):
                    wrong.append(f"{path.relative_to(SOURCE)}:{node.lineno} {owner}.{name}")
    assert wrong == []
