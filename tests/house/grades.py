"""Prints how many rows rest on nobody's reading yet: ``make check`` ends with it."""

from collections import Counter

from takeup.tables.loader import load_rows


def main() -> None:
    count = Counter(row.grade for row in load_rows().values())
    print("table rows by grade: " + ", ".join(f"{grade} {count[grade]}" for grade in sorted(count)))


if __name__ == "__main__":
    main()
