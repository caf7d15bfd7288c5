"""A whole study, simulated: people, two observers with habits, recordings, tables.

    python examples/study.py [--people N] [--readings N] [-o FOLDER]

--full has the size of a validation study: 85 people, 3 readings each, by 2
observers. In a FOLDER a run that was interrupted goes on; what is there already
is not made anew, however many people are asked for.

Nobody was measured: sounds, people and observers are drawn. The observers hear
what the simulation says can be heard, miss some weak beats, and write down
rounded numbers, one of them with a liking for the digit 0.
"""

from __future__ import annotations

import argparse
import csv
import os
import tempfile
import textwrap
from dataclasses import replace
from pathlib import Path

import numpy as np

from tapfall.errors import InputError, TapfallError
from tapfall.files import save
from tapfall.model import CAUTION
from tapfall.show.study_page import write_study
from tapfall.study import run
from tapfall.study.agreeing import agreements_of, write_agreements
from tapfall.synth import Truth, sample, simulate

#: Habits of the two observers, made up: how far they hear beside the truth (mmHg), how often
#: they miss a beat, how exactly they mark it (s), and how often they round to tens.
HABITS = (
    {"spread_mmhg": 1.0, "missed": 0.01, "mark_s": 0.02, "tens": 0.05},
    {"spread_mmhg": 1.6, "missed": 0.03, "mark_s": 0.03, "tens": 0.35},
)
CONDITIONS = ("ordinary", "fast")
#: How many people, readings and workers there may be (seeds of a reading are a thousand apart).
MOST = 1000


def written(mmhg: float | None, habit: dict[str, float], rng: np.random.Generator) -> str:
    """What an observer writes down: to 2 mmHg, or to 10."""
    if mmhg is None:
        return ""
    heard_mmhg = mmhg + rng.normal(0.0, habit["spread_mmhg"])
    near_ten = abs(heard_mmhg - round(heard_mmhg, -1)) < 3
    step = 10 if near_ten and rng.random() < habit["tens"] else 2
    return str(step * round(heard_mmhg / step))


def write_marks(
    path: Path, truth: Truth, habit: dict[str, float], rng: np.random.Generator
) -> None:
    """The beats that an observer marks, one line each."""
    with path.open("w", newline="", encoding="ascii") as file:
        writer = csv.writer(file)
        writer.writerow(("time_s", "heard", "phase"))
        for beat in truth.beats:
            heard = beat.audible_in_noise and rng.random() >= habit["missed"]
            time_s = max(0.0, beat.time_s + rng.normal(0.0, habit["mark_s"]))
            writer.writerow((f"{time_s:.3f}", int(heard), beat.phase if heard else "silent"))


def make(folder: Path, people: int, readings: int) -> Path:
    """Simulate recordings and observers, and return the manifest."""
    header = ["recording", "subject", "audio", "cuff", "condition", "split"]
    header += ["sex", "age_years", "arm_cm", "cuff_size"]
    header += [f"observer_{n}_{what}_mmHg" for n in (1, 2) for what in ("systolic", "diastolic")]
    header += ["observer_1_marks", "observer_2_marks"]
    rows = []
    for person in range(people):
        drawn = sample(person)
        rng = np.random.default_rng(person)
        stated = ["female" if person % 2 else "male", int(rng.integers(20, 80))]
        stated += [round(float(rng.uniform(27, 34)), 1), "adult"]
        for number in range(readings):
            name, condition = f"p{person:03}-r{number + 1}", CONDITIONS[number % len(CONDITIONS)]
            # The same person each time, with other beats.
            scenario = replace(drawn, seed=1000 * (number + 1) + person)
            if condition == "fast":
                cuff = replace(scenario.cuff, deflation_mmhg_per_s=5.0)
                scenario = replace(scenario, cuff=cuff)
            rng = np.random.default_rng([person, number])
            made = simulate(scenario)
            save(made.recording, folder / f"{name}.wav", folder / f"{name}.csv")
            row: list[object] = [name, f"p{person:03}", f"{name}.wav", f"{name}.csv", condition]
            row += ["fit" if person % 4 < 2 else "check", *stated]
            heard = made.truth.in_noise
            for habit in HABITS:
                row += [written(one.mmhg, habit, rng) for one in (heard.systolic, heard.diastolic)]
            for observer, habit in enumerate(HABITS, 1):
                marks = folder / f"{name}.observer{observer}.csv"
                write_marks(marks, made.truth, habit, rng)
                row.append(marks.name)
            rows.append(row)
    manifest = folder / "manifest.csv"
    with manifest.open("w", newline="", encoding="ascii") as file:
        csv.writer(file).writerows([header, *rows])
    return manifest


def count(text: str) -> int:
    """A number of people, readings or workers."""
    if not (text.isascii() and text.isdigit() and 1 <= int(text) <= MOST):
        raise argparse.ArgumentTypeError(f"found '{text}'; allowed 1 to {MOST}")
    return int(text)


def folder_of(name: str | None) -> Path:
    """The folder that was named, or a new temporary one."""
    if name is None:
        return Path(tempfile.mkdtemp(prefix="tapfall-study-"))
    try:
        Path(name).mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise InputError(
            f"{name}: cannot be made a folder ({fault.strerror}); allowed a folder to write in"
        ) from None
    if not os.access(name, os.W_OK | os.X_OK):
        raise InputError(f"{name}: cannot be written; allowed a folder to write in")
    return Path(name)


def main() -> None:
    """Make the study, read it, and print what it came to."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--people", type=count, default=6, metavar="N", help="how many people are drawn (6)"
    )
    parser.add_argument(
        "--readings", type=count, default=2, metavar="N", help="readings of each person (2)"
    )
    parser.add_argument("--full", action="store_true", help="85 people, 3 readings each")
    parser.add_argument(
        "--workers", type=count, default=1, metavar="N", help="processes that read (1)"
    )
    parser.add_argument(
        "-o", "--output", metavar="FOLDER", help="where all is kept (a new temporary folder)"
    )
    args = parser.parse_args()
    if args.full:
        args.people, args.readings = 85, 3
    try:
        folder = folder_of(args.output)
        manifest = folder / "manifest.csv"
        if not manifest.exists():  # written last: all recordings are there with it
            manifest = make(folder, args.people, args.readings)
        study = run(manifest, folder / "results", workers=args.workers)
    except TapfallError as fault:
        parser.exit(2, f"study.py: {fault}\n")

    noun = "recording" if study.read == 1 else "recordings"
    print(f"{study.read} {noun} read, {study.failed} failed, {study.kept} read before\n")
    print(f"{'reference':<12}{'estimate':<12}{'measure':<11}{'pairs':>6}{'mean':>7}{'SD':>6}  mmHg")
    for first, second, condition, measure, pairs, _, mean, spread, *_ in study.tables.errors:
        if condition == "(all)" and isinstance(mean, float) and isinstance(spread, float):
            print(f"{first:<12}{second:<12}{measure:<11}{pairs:>6}{mean:>+7.1f}{spread:>6.1f}")
    print(f"\n{'reference':<12}{'estimate':<12}{'condition':<11}{'beats':>6}{'F1':>7}")
    for first, second, condition, _, hits, _, missed, _, _, f1, *_ in study.tables.beats:
        print(f"{first:<12}{second:<12}{condition:<11}{hits + missed:>6}{f1:>7.3f}")

    found = agreements_of(study.tables)
    write_agreements(study.folder, found)
    write_study(study.folder / "report.html", study, found)
    print("\nreport.html shows all of it; its numbers stand in the tables and JSON beside it")
    print(f"everything is in {study.folder}\n\n{textwrap.fill(CAUTION, 80)}")


# Worker processes import this file again: without this line each would start a study.
if __name__ == "__main__":
    main()
