"""``make bench``: every ratio of speed and memory, each against a reference in the same run."""

import importlib
import sys
from pathlib import Path

FOLDER = Path(__file__).parent


def main() -> None:
    wanted = sys.argv[1:]
    names = [path.stem for path in sorted(FOLDER.glob("*.py")) if not path.stem.startswith("__")]
    missed = 0
    for name in names:
        if wanted and name not in wanted:
            continue
        for ratio in importlib.import_module(f"bench.{name}").run():
            met = ratio.get("met", True)
            missed += not met
            sign = "  " if met else "NO"
            print(
                f"{sign} {name}: {ratio['name']}: {ratio['ratio']:.3g} (wanted {ratio['wanted']}) {ratio['detail']}",
                flush=True,
            )
    raise SystemExit(1 if missed else 0)


if __name__ == "__main__":
    main()
