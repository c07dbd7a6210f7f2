"""Tables load, every row has a grade and a source that somebody can look up."""

import ast
from pathlib import Path

from takeup.streams import Finding, Report
from takeup.tables.loader import load_rows, load_sources
from takeup.tables.rows import Row, Rows

SOURCE = Path(__file__).parents[2] / "src" / "takeup"


def test_verified_rows_say_where():
    lacking = [row.key for row in load_rows().values() if row.grade == "verified" and not row.where]
    assert lacking == []


def test_sources_have_titles_and_are_used():
    used = {row.source for row in load_rows().values()}
    sources = load_sources()
    assert [key for key, source in sources.items() if not source.get("title")] == []
    assert used <= set(sources)


def test_every_row_key_named_in_code_exists():
    """Literal keys of the form table.section.name in judge and tasks name a row that is there."""
    rows = load_rows()
    tables = {key.split(".")[0] for key in rows}
    missing = []
    for room in ("judge", "tasks", "plan", "box", "files", "media"):
        for path in sorted((SOURCE / room).rglob("*.py")):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
                    continue
                if node.func.attr != "value" or not node.args or not isinstance(node.args[0], ast.Constant):
                    continue
                key = node.args[0].value
                if isinstance(key, str) and key.split(".")[0] in tables and key not in rows:
                    missing.append(f"{path.relative_to(SOURCE)}:{node.lineno} {key}")
    assert missing == []


def test_redo_resting_on_memory_alone_becomes_look():
    from takeup.judge.grades import not_from_memory

    rows = Rows({
        "t.a.x": Row(key="t.a.x", value=1, grade="memory", source="practice"),
        "t.a.y": Row(key="t.a.y", value=1, grade="secondary", source="practice"),
    })  # fmt: skip
    findings = tuple(
        Finding(name=name, verdict="redo", again="helps", rows=keys)
        for name, keys in (("a", ("t.a.x",)), ("b", ("t.a.x", "t.a.y")), ("c", ()))
    )
    report = not_from_memory(Report(medium="sound", seconds=1.0, measures={}, findings=findings), rows)
    assert [finding.verdict for finding in report.findings] == ["look", "redo", "look"]


def test_every_carrier_is_a_term_in_both_languages():
    from takeup.words.sentences import load_sentences

    terms = load_sentences("terms")
    carriers = load_rows().names("carriers")
    assert [name for name in carriers if f"carrier.{name}.en" not in terms or f"carrier.{name}.zh" not in terms] == []


def test_every_carrier_stands_in_every_table_that_plans_screens_or_keeps_it():
    """What docs/architecture.md promises to whoever adds a carrier: this names the tables that still want a row."""
    rows = load_rows()
    played = [name for name in rows.names("carriers") if rows.value(f"carriers.{name}.medium")]
    wanting = [f"screening.kinds.{name}" for name in rows.names("carriers") if f"screening.kinds.{name}" not in rows]
    for table in ("times", "care"):
        wanting += [f"{table}.{name}" for name in played if not rows.section(f"{table}.{name}")]
    for name in played:
        if rows.value(f"carriers.{name}.medium") == "scan" and not rows.section(f"storage.{name}"):
            wanting.append(f"storage.{name}")
    assert wanting == []
