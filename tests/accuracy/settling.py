"""``python -m tests.accuracy.settling``: what is told live, against what is read in the end.

A settled value is a promise: the final one lies within 4 mmHg of it.  The lateness of the
systolic is counted in beats after its second sound, as the truth has it in this noise.
"""

from __future__ import annotations

import argparse
import sys
import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tapfall.ear import Listener
from tapfall.events import Event, EventKind
from tapfall.model import State
from tests.accuracy.__main__ import group_names, seeds
from tests.accuracy.run import simulated
from tests.accuracy.splits import SEEDS
from tests.running import Case, run_cases


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """One recording; ``None`` where there is nothing to tell of.

    ``systolic`` and ``diastolic``: whether a value that was read in the end was settled
    before, ``revised`` whether any settled value did not hold, ``late_beats`` between the
    second sound and the settled systolic, ``in_gap`` whether a diastolic was settled or
    called likely inside a true gap.
    """

    group: str
    seed: int
    systolic: bool | None = None
    diastolic: bool | None = None
    revised: bool = False
    late_beats: float | None = None
    in_gap: tuple[bool, bool] | None = None
    failure: str | None = None


def told(recording: Any) -> tuple[tuple[Event, ...], Any]:
    """Every event of a recording, and its reading."""
    listener = Listener(rate_hz=recording.rate_hz)
    events = list(listener.push_cuff(recording.cuff.time_s, recording.cuff.pressure_mmhg))
    events += listener.push_audio(recording.samples)
    reading = listener.finish()
    return (*events, *listener.events()), reading


def settle(case: Case) -> Settling:
    """Listen to one recording of a group."""
    group, seed = case
    try:
        simulation = simulated(group, seed)
        events, reading = told(simulation.recording)
    except Exception:
        return Settling(group=group, seed=seed, failure=traceback.format_exc())
    first = {event.kind: event for event in reversed(events)}

    def settled(value: Any, kind: EventKind) -> bool | None:
        return kind in first if value.state is State.OBSERVED else None

    truth = simulation.truth
    return Settling(
        group=group,
        seed=seed,
        systolic=settled(reading.systolic, EventKind.SYSTOLIC_SETTLED),
        diastolic=settled(reading.diastolic, EventKind.DIASTOLIC_SETTLED),
        revised=EventKind.REVISED in first,
        late_beats=_late_beats(truth, first.get(EventKind.SYSTOLIC_SETTLED)),
        in_gap=_in_gap(truth, events),
    )


def _late_beats(truth: Any, event: Event | None) -> float | None:
    """Beats between the second audible one from the true systolic on and what was told."""
    true = truth.in_noise.systolic
    if event is None or true.state is not State.OBSERVED:
        return None
    times = [
        beat.time_s
        for beat in truth.beats
        if beat.audible_in_noise and beat.cuff_mmhg <= true.mmhg + 1e-6
    ]
    if len(times) < 3:
        return None
    return float((event.told_s - times[1]) / np.median(np.diff(times)))


def _in_gap(truth: Any, events: Sequence[Event]) -> tuple[bool, bool] | None:
    """Whether a diastolic was settled, or called likely, inside a true gap."""
    if not truth.in_noise.gaps:
        return None
    gap = truth.in_noise.gaps[0]
    kinds = (EventKind.DIASTOLIC_SETTLED, EventKind.DIASTOLIC_LIKELY)
    found = [
        any(
            event.kind is kind and event.mmhg is not None and event.mmhg > gap.lower_mmhg
            for event in events
        )
        for kind in kinds
    ]
    return found[0], found[1]


def _failed(case: Case) -> Settling:
    return Settling(group=case[0], seed=case[1], failure=traceback.format_exc())


def _percent(values: Sequence[bool]) -> str:
    return f"{100 * float(np.mean(values)):.1f}" if values else "-"


def line(name: str, rows: Sequence[Settling]) -> str:
    """One row of the table."""
    systolic = [row.systolic for row in rows if row.systolic is not None]
    diastolic = [row.diastolic for row in rows if row.diastolic is not None]
    late = [row.late_beats for row in rows if row.late_beats is not None]
    gaps = [row.in_gap for row in rows if row.in_gap is not None]
    cells = (
        name,
        str(len(rows)),
        _percent(systolic),
        _percent(diastolic),
        _percent([row.revised for row in rows]),
        f"{np.median(late):.1f}" if late else "-",
        _percent([one <= 3.0 for one in late]),
        _percent([one[0] for one in gaps]),
        _percent([one[1] for one in gaps]),
    )
    return "| " + " | ".join(cells) + " |"


def table(rows: Sequence[Settling]) -> str:
    """The table, group by group and over all."""
    names = list(dict.fromkeys(row.group for row in rows))
    lines = [
        "| group | n | systolic settled % | diastolic settled % | revised % "
        "| beats after 2nd sound, median | at most 3, % "
        "| gap settled as diastolic % | called likely % |",
        "|---" * 9 + "|",
    ]
    lines += [line(name, [row for row in rows if row.group == name]) for name in names]
    return "\n".join([*lines, line("all", rows)])


def main(arguments: Sequence[str] | None = None) -> int:
    """Run; the exit code is 1 where any recording raised."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.accuracy.settling", description="Listen live, print one table."
    )
    parser.add_argument("--groups", help="names separated by commas (default: all)")
    parser.add_argument("--per-group", type=int, default=10)
    parser.add_argument("--first-seed", type=int)
    parser.add_argument("--split", choices=list(SEEDS), default="development")
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args(arguments)
    cases = [
        (name, seed)
        for name in group_names(given.groups)
        for seed in seeds(given.split, given.first_seed, given.per_group)
    ]
    rows = run_cases(settle, cases, workers=given.workers, lost=_failed)
    print(table(rows))
    broken = [row for row in rows if row.failure]
    for row in broken:
        print(f"{row.group} {row.seed}: {(row.failure or '').splitlines()[-1]}", file=sys.stderr)
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
