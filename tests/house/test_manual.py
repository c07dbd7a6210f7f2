"""Every command stands in the README; every room stands on the one page; one drawing."""

from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_every_command_is_in_the_readme():
    from takeup.cli.main import COMMANDS

    readme = (ROOT / "README.md").read_text("utf-8")
    assert [name for name in COMMANDS if f"`takeup {name}" not in readme] == []


def test_every_room_is_on_the_page():
    page = (ROOT / "docs" / "architecture.md").read_text("utf-8")
    rooms = [path.name for path in (ROOT / "src" / "takeup").iterdir() if (path / "__init__.py").exists()]
    assert [room for room in rooms if f"{room}/" not in page] == []


def test_layer_order_on_the_page_is_the_contracts():
    import tomllib

    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["importlinter"]["contracts"]
    layers = " ".join(next(contract["layers"] for contract in contracts if contract["type"] == "layers"))
    assert layers in (ROOT / "docs" / "architecture.md").read_text("utf-8")


def test_sources_page_is_what_the_tables_say():
    from takeup.tables.listing import listing

    assert (ROOT / "docs" / "sources.md").read_text("utf-8").strip() == listing().strip()


def test_no_address_of_a_registry_or_this_machine_is_named():
    import re
    import subprocess

    files = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split("\n")
    wrong = []
    for name in filter(None, files):
        path = ROOT / name
        if path.suffix in (".png", ".jpg") or not path.exists():
            continue
        if re.search(r"files\.pythonhosted|pypi\.org|registry\.npmjs|deb\.debian|/work/main", path.read_text("utf-8")):
            wrong.append(name)
    assert [name for name in wrong if name != "tests/house/test_manual.py"] == []
