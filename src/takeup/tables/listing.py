"""``make sources``: every source with the rows that rest on it, as a page."""

from __future__ import annotations

from collections import Counter

from takeup.tables.loader import load_rows, load_sources


def listing() -> str:
    """The whole of ``docs/sources.md``."""
    rows = load_rows()
    lines = ["# Sources", "", "Generated from `src/takeup/tables/` by `make sources`; do not edit.", ""]
    grades = Counter(row.grade for row in rows.values())
    lines += [f"{len(rows)} rows: " + ", ".join(f"{grades[grade]} {grade}" for grade in sorted(grades)) + ".", ""]
    for key, source in sorted(load_sources().items()):
        resting = [row for row in rows.values() if row.source == key]
        if not resting:
            continue
        title = ", ".join(source[name] for name in ("title", "publisher", "year") if source.get(name))
        lines += [f"## {key}", "", f"{title}. Read by: {source.get('read', 'nobody')}.", ""]
        lines += ["| row | value | grade | where |", "| --- | --- | --- | --- |"]
        for row in resting:
            value = str(row.value).replace("|", "\\|").replace("\n", " ")
            shown = value if len(value) <= 60 else value[:57] + "..."
            lines.append(f"| `{row.key}` | {shown} {row.unit} | {row.grade} | {row.where.replace('|', '/')} |")
        lines.append("")
    return "\n".join(lines)


if __name__ == "__main__":
    print(listing())
