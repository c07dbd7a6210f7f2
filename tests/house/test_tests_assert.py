"""A test that asserts nothing is a defect."""

import ast
from pathlib import Path

TESTS = Path(__file__).parents[1]


def asserts_something(node: ast.FunctionDef) -> bool:
    for inner in ast.walk(node):
        if isinstance(inner, ast.Assert):
            return True
        if isinstance(inner, ast.Call):
            name = inner.func.attr if isinstance(inner.func, ast.Attribute) else getattr(inner.func, "id", "")
            if name == "raises" or name.startswith(("assert_", "expect")):
                return True
    return False


def test_every_test_asserts():
    silent = []
    for path in sorted(TESTS.rglob("test_*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_") and not asserts_something(node):
                silent.append(f"{path.relative_to(TESTS)}::{node.name}")
    assert silent == []


def test_test_files_have_names_of_their_own():
    names = [path.name for path in TESTS.rglob("test_*.py")]
    assert sorted(name for name in set(names) if names.count(name) > 1) == []


def test_no_module_has_a_name_that_takes_anything():
    forbidden = {"utils", "util", "helpers", "common", "misc", "manager", "base", "core", "tools", "lib"}
    source = TESTS.parent / "src" / "takeup"
    assert [str(path) for path in source.rglob("*") if path.stem in forbidden] == []
