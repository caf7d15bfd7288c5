"""``python -m tests.accuracy``: read groups of simulated recordings and print how well."""

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tests.accuracy.results import Share, results
from tests.accuracy.rows import save_rows, side_by_side
from tests.accuracy.run import READER, find_reader, score_many, simulated
from tests.accuracy.splits import SEEDS, real_files, split_of
from tests.accuracy.table import failures, table


def parser() -> argparse.ArgumentParser:
    """The options; see ``--help``."""
    parsed = argparse.ArgumentParser(
        prog="python -m tests.accuracy",
        description="Simulate groups of recordings, read them, score them, print one table.",
    )
    parsed.add_argument("--groups", help="names separated by commas (default: all)")
    parsed.add_argument("--per-group", type=int, default=20, help="recordings per group (20)")
    parsed.add_argument("--first-seed", type=int, help="first seed (default: the split's first)")
    parsed.add_argument(
        "--split",
        choices=list(SEEDS),
        default="development",
        help="which seeds; every closing run is to be reported",
    )
    parsed.add_argument("--workers", type=int, default=2, help="processes (2)")
    parsed.add_argument("--json", type=Path, metavar="FILE", help="write the results as JSON")
    parsed.add_argument(
        "--save-rows", type=Path, metavar="FILE.csv", help="write one line per recording"
    )
    parsed.add_argument(
        "--reader", default=READER, metavar="MODULE:FUNCTION", help=f"what reads ({READER})"
    )
    parsed.add_argument(
        "--show", nargs=2, metavar=("SEED", "GROUP"), help="one recording, beat by beat"
    )
    return parsed


def seeds(split: str, first: int | None, count: int) -> range:
    """The seeds of a run; they stay inside their split."""
    allowed = SEEDS[split]
    start = allowed.start if first is None else first
    wanted = range(start, start + count)
    if count < 1 or wanted.start not in allowed or wanted[-1] not in allowed:
        raise SystemExit(
            f"seeds {start} to {start + count - 1} leave the {split} split: "
            f"{allowed.start} to {allowed.stop - 1} are allowed"
        )
    return wanted


def group_names(text: str | None) -> list[str]:
    """The groups asked for, each of them known."""
    from tests.accuracy.groups import GROUPS

    known = list(GROUPS)
    chosen = known if text is None else [name for name in text.split(",") if name]
    unknown = [name for name in chosen if name not in known]
    if unknown or not chosen:
        raise SystemExit(f"no such group: {', '.join(unknown)}; known are {', '.join(known)}")
    return chosen


def as_json(value: Any) -> Any:
    """Plain JSON of results; shares carry their value and bounds."""
    if isinstance(value, Share):
        low, high = value.bounds
        return {
            "some": value.some,
            "all": value.all,
            "value": value.value,
            "low": low,
            "high": high,
        }
    if dataclasses.is_dataclass(value):
        return {
            field.name: as_json(getattr(value, field.name)) for field in dataclasses.fields(value)
        }
    if isinstance(value, (list, tuple)):
        return [as_json(item) for item in value]
    return value


def main(arguments: Sequence[str] | None = None) -> int:
    """Run; the exit code is 1 where any recording raised."""
    given = parser().parse_args(arguments)
    if given.show:
        seed, group = int(given.show[0]), group_names(given.show[1])[0]
        simulation = simulated(group, seed)
        reading = find_reader(given.reader)(simulation.recording)
        print(side_by_side(simulation.truth, reading, group=group, seed=seed))
        return 0
    names = group_names(given.groups)
    chosen = seeds(given.split, given.first_seed, given.per_group)
    rows = score_many(
        [(name, seed) for name in names for seed in chosen],
        workers=given.workers,
        reader=given.reader,
    )
    found = results(rows)
    print(f"{given.split} split, seeds {chosen[0]} to {chosen[-1]}, {given.reader}")
    there, wanted = real_files(split_of(chosen[0]))
    if there < wanted:
        print(
            f"{wanted - there} of {wanted} files of real beats and sounds are missing (see "
            "TAPFALL_DATA): simulated ones stand in"
        )
    print(table(found))
    if given.save_rows:
        save_rows(rows, given.save_rows)
    if given.json:
        part = given.json.with_name(given.json.name + ".part")
        part.write_text(json.dumps(as_json(found), indent=1) + "\n", encoding="utf-8")
        part.replace(given.json)
    broken = failures(rows)
    if broken:
        print(broken)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
