"""``tapfall simulate``: recordings whose truth is known."""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DEMO_SCENARIO, DONE
from tapfall.cli.output import make_folder, say

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path

    from tapfall.synth import Scenario


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    from dataclasses import replace

    from tapfall.errors import SettingError
    from tapfall.files import printable
    from tapfall.synth import builtin_names, load_builtin

    if args.list:
        for name in builtin_names():
            say(f"{name:<28} {load_builtin(name).description}\n")
        return DONE
    if args.scenario is None and args.systolic is None and args.diastolic is None:
        raise SettingError("found no scenario; allowed a name (see tapfall simulate --list)")
    scenario = load_builtin(args.scenario or DEMO_SCENARIO)
    scenario = _with_pressures(scenario, args.systolic, args.diastolic)
    folder = make_folder(args.output)
    first = scenario.seed if args.seed is None else args.seed
    for seed in range(first, first + args.count):
        stem = f"{args.scenario or 'person'}-{seed}"
        sound, log = write_simulated(replace(scenario, seed=seed), folder, stem)
        say(f"{printable(str(sound))} {printable(str(log))}\n")
    return DONE


def _with_pressures(
    scenario: Scenario, systolic: float | None, diastolic: float | None
) -> Scenario:
    """Give the person other pressures and the cuff a deflation that spans them."""
    from dataclasses import replace

    if systolic is None and diastolic is None:
        return scenario
    person, cuff = scenario.person, scenario.cuff
    high = person.systolic_mmhg if systolic is None else systolic
    low = person.diastolic_mmhg if diastolic is None else diastolic
    person = replace(person, systolic_mmhg=high, diastolic_mmhg=low)
    cuff = replace(cuff, top_mmhg=min(high + 30.0, 320.0), end_mmhg=max(low - 25.0, 0.0))
    return replace(scenario, person=person, cuff=cuff)


def write_simulated(scenario: Scenario, folder: Path, stem: str) -> tuple[Path, Path]:
    """Simulate a scenario; write sound, log and truth; return sound and log."""
    from tapfall.files import save, to_json, write_json
    from tapfall.synth import simulate

    simulation = simulate(scenario)
    sound, log = folder / f"{stem}.wav", folder / f"{stem}.csv"
    save(simulation.recording, sound, log)
    truth = {"scenario": to_json(scenario), "truth": to_json(simulation.truth)}
    write_json(folder / f"{stem}.truth.json", truth)
    return sound, log
