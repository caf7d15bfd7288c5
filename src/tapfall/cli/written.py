"""``tapfall written``: a series of pressures as an observer wrote them down."""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DONE
from tapfall.cli.output import check_outputs, tell
from tapfall.wording import WIDTH

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from tapfall.visit import ObserverFinding

#: Thresholds that may have been avoided, by measure.
THRESHOLDS = {"systolic": 140, "diastolic": 90}
#: What a check says, in words.
STATES = {"ok": "ok", "look": "have a look", "unknown": "not known"}


def add_written(command: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    command.description = (
        "Check a series of pressures as an observer wrote them down: last digits, equal "
        "neighbours, a threshold that is avoided."
    )
    command.epilog = (
        "VALUES is CSV with a column systolic_mmHg, diastolic_mmHg or both, in the order of "
        "reading; empty cells are left out. Exit codes: 0 done, 2 bad input or usage."
    )
    command.add_argument("values", metavar="VALUES", help="the pressures: .csv")
    command.add_argument("--json", metavar="FILE", help="write the findings as JSON; - for stdout")


def run(args: argparse.Namespace) -> int:
    """Check the values and say what was found."""
    from tapfall.convert import to_json
    from tapfall.files.writtenlist import read_written
    from tapfall.model import CAUTION

    check_outputs((args.json,), (args.values,))
    found = {
        measure: (len(values), _found(measure, values))
        for measure, values in read_written(args.values).items()
    }
    record: dict[str, Any] = {
        "schema": "tapfall.written/1",
        "measures": {
            measure: {"values": count, "findings": to_json(findings)}
            for measure, (count, findings) in found.items()
        },
        "caution": CAUTION,
    }
    tell(_text(found), record, args.json)
    return DONE


def _found(measure: str, values: Sequence[float]) -> tuple[ObserverFinding, ...]:
    from tapfall.visit import check_observer

    return check_observer(
        values, threshold_mmhg=THRESHOLDS[measure], systolic=measure == "systolic"
    )


def _text(found: dict[str, tuple[int, tuple[ObserverFinding, ...]]]) -> str:
    import textwrap

    from tapfall.model import CAUTION
    from tapfall.wording import counted

    lines: list[str] = []
    for measure, (count, findings) in found.items():
        lines.append(f"{measure}: {counted(count, 'value')}")
        for one in findings:
            text = f"{one.check}: {STATES[one.state.value]}. {one.sentence}"
            lines += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
            lines += textwrap.wrap(
                f"Source: {one.source}", WIDTH, initial_indent="    ", subsequent_indent="    "
            )
        lines.append("")
    lines += textwrap.wrap(CAUTION, WIDTH)
    return "\n".join(lines) + "\n"
