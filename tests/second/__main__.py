"""``python -m tests.second``: read recordings of the second simulator and print how well."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from tests.second import files
from tests.second.kinds import KINDS
from tests.second.run import read_cases
from tests.second.table import failures, save_rows, table


def parser() -> argparse.ArgumentParser:
    """The options; see ``--help``."""
    parsed = argparse.ArgumentParser(
        prog="python -m tests.second",
        description="Read recordings of the second simulator, score them, print a table.",
    )
    parsed.add_argument("--kinds", help="names separated by commas (default: all)")
    parsed.add_argument("--per-kind", type=int, default=50, help="recordings per kind (50)")
    parsed.add_argument("--first-seed", type=int, default=0, help="first seed (0)")
    parsed.add_argument("--workers", type=int, default=2, help="processes (2)")
    parsed.add_argument(
        "--save-rows", type=Path, metavar="FILE.csv", help="write one line per recording"
    )
    parsed.add_argument(
        "--min-log-hz", type=float, default=0.0, metavar="HZ", help="leave slower logs out (0)"
    )
    return parsed


def kind_names(text: str | None) -> list[str]:
    """The kinds asked for, each of them known."""
    chosen = list(KINDS) if text is None else [name for name in text.split(",") if name]
    unknown = [name for name in chosen if name not in KINDS]
    if unknown or not chosen:
        raise SystemExit(f"no such kind: {', '.join(unknown)}; known are {', '.join(KINDS)}")
    return chosen


def main(arguments: Sequence[str] | None = None) -> int:
    """Run; the exit code is 1 where any recording raised."""
    given = parser().parse_args(arguments)
    names = kind_names(given.kinds)
    if given.per_kind < 1 or given.first_seed < 0:
        raise SystemExit("--per-kind has to be 1 or more, --first-seed 0 or more")
    seeds = range(given.first_seed, given.first_seed + given.per_kind)
    cases = [(name, seed) for name in names for seed in seeds]
    rows = read_cases(cases, workers=given.workers, least_log_hz=given.min_log_hz)
    if not rows:
        raise SystemExit(f"none of {len(cases)} recordings has a log from {given.min_log_hz:g} Hz")
    print(f"second simulator, seeds {seeds[0]} to {seeds[-1]}, {len(rows)} recordings\n")
    absent = files.missing()
    if absent:
        print(absent + "\n")
    print(table(rows))
    if given.save_rows:
        save_rows(rows, given.save_rows)
    broken = failures(rows)
    if broken:
        print(broken)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
