"""``tapfall simulate``: recordings whose truth is known."""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DEMO_SCENARIO, DONE
from tapfall.cli.output import make_folder, say
from tapfall.wording import WIDTH

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tapfall.synth import Scenario

#: What files are called whose person is no scenario by name.
PERSON = "person"


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    from tapfall.errors import printable
    from tapfall.synth import builtin_names, load_builtin

    if args.list:
        _check_alone(args)
        for name in builtin_names():
            say(_listed(name, load_builtin(name).description))
        return DONE
    scenario_of, first, name = _wanted(args)
    seeds = range(first, first + (args.count or 1))
    folder = make_folder(args.output)
    for seed in seeds:  # all before any is made
        check_own(scenario_of(seed), folder, f"{name}-{seed}")
    for seed in seeds:
        sound, log = write_simulated(scenario_of(seed), folder, f"{name}-{seed}")
        say(f"{printable(str(sound))} {printable(str(log))}\n")
    return DONE


def _check_alone(args: argparse.Namespace) -> None:
    """Refuse what ``--list`` would pass over."""
    from tapfall.errors import SettingError

    for name in ("scenario", "systolic", "diastolic", "seed", "count"):
        if getattr(args, name) is not None:
            option = "a scenario" if name == "scenario" else f"--{name}"
            raise SettingError(f"found {option} beside --list; allowed --list alone")


def _wanted(args: argparse.Namespace) -> tuple[Callable[[int], Scenario], int, str]:
    """Return what gives a seed's scenario, the first seed, and what files are called."""
    from dataclasses import replace

    from tapfall.errors import SettingError
    from tapfall.synth import sample

    if args.scenario is None and args.systolic is None and args.diastolic is None:
        if args.count is None:
            raise SettingError(
                "found nothing to simulate; allowed the name of a built-in scenario (see tapfall "
                "simulate --list), a .toml file, --systolic or --diastolic, or --count"
            )
        return sample, args.seed or 0, PERSON
    scenario, name = _named(args.scenario)
    scenario = _with_pressures(scenario, args.systolic, args.diastolic)
    first = scenario.seed if args.seed is None else args.seed
    return lambda seed: replace(scenario, seed=seed), first, name


def _listed(name: str, description: str) -> str:
    """One built-in scenario in the list, at most 80 columns wide."""
    import textwrap

    lines = textwrap.wrap(
        description, WIDTH, initial_indent=f"{name:<24}", subsequent_indent=" " * 24
    )
    return "\n".join(lines) + "\n"


def _named(given: str | None) -> tuple[Scenario, str]:
    """Return a scenario and what its files are called."""
    from pathlib import Path

    from tapfall.synth import load_builtin, load_scenario

    if given is None:
        return load_builtin(DEMO_SCENARIO), PERSON
    if given.lower().endswith(".toml"):
        return load_scenario(given), Path(given).stem
    return load_builtin(given), given


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


def check_own(scenario: Scenario, folder: Path, stem: str, more: tuple[str, ...] = ()) -> None:
    """Refuse files that the same scenario did not make: it alone would make them again.

    Their names are not given by the user, who may not know what they overwrite.
    """
    from tapfall.files.writing import check_new
    from tapfall.synth.toml import scenario_bytes

    names = [f"{stem}.{part}" for part in ("toml", "wav", "csv", "truth.json")]
    beside, text = folder / names[0], scenario_bytes(scenario, folder)
    try:
        if beside.is_file() and beside.stat().st_size == len(text) and beside.read_bytes() == text:
            return
    except OSError:  # told by writing, or below
        pass
    for name in (*names, *more):
        check_new(folder / name, "another folder, or what the same scenario made")


def write_simulated(scenario: Scenario, folder: Path, stem: str) -> tuple[Path, Path]:
    """Simulate a scenario; write sound, log, truth and scenario, all or none.

    Returns the names of sound and log.
    """
    from tapfall.files.recording import recording_files
    from tapfall.files.writing import json_text, write_together
    from tapfall.synth import simulate, truth_to_dict
    from tapfall.synth.toml import scenario_bytes

    simulation = simulate(scenario)
    sound, log = folder / f"{stem}.wav", folder / f"{stem}.csv"
    truth = json_text(truth_to_dict(simulation.truth))
    # The scenario first: where the end comes in between, it says that all can be made again.
    write_together(
        {
            folder / f"{stem}.toml": scenario_bytes(scenario, folder),
            **recording_files(simulation.recording, sound, log),
            folder / f"{stem}.truth.json": truth.encode("ascii"),
        }
    )
    return sound, log
