"""``tapfall visit``: several readings, one average."""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DONE, UNREADABLE
from tapfall.cli.options import Usage
from tapfall.cli.output import say

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tapfall.files.visitlist import ListedRecording
    from tapfall.model import Source
    from tapfall.visit import Lost, Taken

    Found = tuple[tuple[Taken, ...], Source | None]
    #: What it is called, its files, and what reads it.
    Job = tuple[str, tuple[str | Path, ...], Callable[[], Found]]


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    if args.list:
        from tapfall.cli.visit_text import lists_text

        say(lists_text())
        return DONE
    from tapfall.cli.visit_text import visit_table, visit_text
    from tapfall.files import check_writable, write_bytes, write_json
    from tapfall.files.writing import json_text
    from tapfall.visit import visit, visit_record
    from tapfall.visit.guidelines import guideline_of
    from tapfall.visit.schemes import scheme_of

    guideline_of(args.average), scheme_of(args.scheme)  # before anything is read
    jobs = _jobs(args.inputs)
    inputs = tuple(path for _, paths, _ in jobs for path in paths) + tuple(args.inputs)
    outputs = [name for name in (args.json, args.table) if name not in (None, "-")]
    for name in outputs:
        check_writable(name, inputs)
    _check_apart(outputs)
    taken, sources, lost = _read(jobs, _arms(args.arm, len(jobs)))
    made = visit(
        taken, average=args.average, scheme=args.scheme, include_review=args.include_review
    )
    record = visit_record(made, sources=sources, lost=lost)
    say(json_text(record) if args.json == "-" else visit_text(made, lost))
    if args.json not in (None, "-"):
        write_json(args.json, record)
    if args.table is not None:
        write_bytes(args.table, visit_table(made, lost).encode("utf-8"))
    return UNREADABLE if made.average is None else DONE


def _jobs(inputs: list[str]) -> list[Job]:
    """What is to be read, in order: readings, lists, and pairs of sound and log."""
    from functools import partial

    from tapfall.files.names import base_name
    from tapfall.files.visitlist import is_visit_list

    if not inputs:
        raise Usage("the following arguments are required: INPUT (see tapfall visit --help)")
    jobs: list[Job] = []
    rest = list(inputs)
    while rest:
        name = rest.pop(0)
        if name.lower().endswith(".json"):
            jobs.append((base_name(name), (name,), partial(_reading, name)))
        elif name.lower().endswith(".csv") and is_visit_list(name):
            jobs += _listed(name)
        elif not rest:
            raise Usage(
                f"found '{name}' without its cuff log; allowed readings (.json), sounds each "
                "followed by its cuff log, and lists (.csv with a column audio)"
            )
        else:
            cuff = rest.pop(0)
            jobs.append((base_name(name), (name, cuff), partial(_heard, name, cuff)))
    return jobs


def _listed(name: str) -> list[Job]:
    from contextlib import suppress
    from functools import partial
    from pathlib import Path

    from tapfall.errors import InputError
    from tapfall.files.visitlist import inside, read_visit_list

    folder = Path(name).parent
    jobs: list[Job] = []
    for row in read_visit_list(name):
        paths: list[str | Path] = []
        for cell in (row.audio, row.cuff):
            with suppress(InputError):  # told when the row is read
                paths.append(inside(folder, cell))
        jobs.append((row.audio or f"line {row.line}", tuple(paths), partial(_row, folder, row)))
    return jobs


def _row(folder: Path, row: ListedRecording) -> Found:
    from dataclasses import replace
    from datetime import timedelta

    from tapfall.files.visitlist import inside
    from tapfall.visit import Arm

    taken, source = _heard(inside(folder, row.audio), inside(folder, row.cuff))
    arm = None if row.arm is None else Arm(row.arm)
    found: list[Taken] = []
    for one in taken:
        # Of several measurements in one recording each has its own time.
        beats = one.reading.beats if len(taken) > 1 else ()
        later = timedelta(seconds=beats[0].time_s if beats else 0.0)
        time = None if row.time is None else row.time + later
        found.append(replace(one, arm=arm, time=time))
    return tuple(found), source


def _reading(name: str) -> Found:
    from tapfall.files import read_reading
    from tapfall.files.names import base_name
    from tapfall.visit import Taken

    record = read_reading(name)
    return (Taken(reading=record.reading, label=base_name(name)),), record.source


def _heard(audio: str | Path, cuff: str | Path) -> Found:
    """Every measurement of a recording is a reading of its own."""
    from tapfall.ear import take_readings
    from tapfall.files import load
    from tapfall.files.names import base_name
    from tapfall.visit import Taken

    recording = load(audio, cuff)
    readings = take_readings(recording)
    label = base_name(audio)
    names = [f"{label} ({n})" if len(readings) > 1 else label for n in range(1, len(readings) + 1)]
    taken = tuple(Taken(reading=one, label=name) for one, name in zip(readings, names, strict=True))
    return taken, recording.source


def _read(
    jobs: list[Job], arms: tuple[str | None, ...]
) -> tuple[list[Taken], list[Source], list[Lost]]:
    """Read everything; what cannot be read is lost with its reason, unless all is."""
    from dataclasses import replace

    from tapfall.errors import InputError
    from tapfall.files.names import base_name, label_of
    from tapfall.visit import Arm, Lost

    taken: list[Taken] = []
    sources: list[Source] = []
    lost: list[Lost] = []
    first: InputError | None = None
    for (name, paths, read), arm in zip(jobs, arms, strict=True):
        try:
            found, source = read()
        except InputError as fault:
            first = first or fault
            reason = str(fault).partition("\n")[0]
            for path in paths:  # folders stay out of what is written
                reason = reason.replace(label_of(path), label_of(base_name(path)))
            lost.append(Lost(name=name, reason=reason))
            continue
        stated = None if arm is None else Arm(arm)
        taken += [one if one.arm is not None else replace(one, arm=stated) for one in found]
        if source is not None:
            sources.append(source)
    if not taken and first is not None:
        raise first
    return taken, sources, lost


def _arms(stated: tuple[str, ...] | None, count: int) -> tuple[str | None, ...]:
    """The arm stated for each recording."""
    from tapfall.errors import SettingError

    if stated is None:
        return (None,) * count
    if len(stated) not in (1, count):
        raise SettingError(
            f"--arm: found {len(stated)} arms for {count} recordings; allowed one for all or "
            "one for each"
        )
    return stated if len(stated) > 1 else stated * count


def _check_apart(outputs: list[str]) -> None:
    import os

    from tapfall.errors import SettingError
    from tapfall.files.names import label_of

    if len({os.path.realpath(name) for name in outputs}) < len(outputs):
        raise SettingError(
            f"{label_of(outputs[0])}: found both outputs under one name; allowed two names"
        )
