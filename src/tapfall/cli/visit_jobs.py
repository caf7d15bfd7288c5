"""The inputs of ``tapfall visit``: readings, recordings and lists, each read by itself."""

from __future__ import annotations

import argparse
from dataclasses import dataclass

from tapfall.cli.chosen import settings_of
from tapfall.cli.parser import Usage

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from typing import Any

    from tapfall.files.visitlist import ListedRecording
    from tapfall.model import Recording, Settings, Source
    from tapfall.technique import Stated
    from tapfall.visit import Lost, Taken

    #: What it is called, its files, and what reads it.
    Job = tuple[str, tuple[str | Path, ...], Callable[[], "Found"]]


_INPUTS = (
    "readings (.json), sounds each followed by its cuff log, and lists (.csv with a column audio)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class How:
    """How recordings are read: what is chosen, what is stated, and which channels."""

    settings: Settings
    stated: Stated
    loading: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """What one input holds; ``recording`` is None where only the reading is there."""

    taken: tuple[Taken, ...]
    source: Source | None
    recording: Recording | None = None


def how_of(args: argparse.Namespace) -> How:
    """Return what the options say of how recordings are read."""
    from tapfall.cli.technique import stated_by

    names = ("channel", "cuff_channel", "cuff_scale", "cuff_offset")
    return How(
        settings=settings_of(args),
        stated=stated_by(args, alone=False),
        loading={name: getattr(args, name) for name in names},
    )


def jobs_of(inputs: list[str], how: How) -> list[Job]:
    """What is to be read, in order: readings, lists, and pairs of sound and log."""
    from functools import partial

    from tapfall.files.names import base_name, check_there
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
            jobs += _listed(name, how)
        elif not rest:
            check_there(name, _INPUTS)
            raise Usage(f"found '{name}' without its cuff log; allowed {_INPUTS}")
        else:
            cuff = rest.pop(0)
            jobs.append((base_name(name), (name, cuff), partial(_heard, name, cuff, how)))
    return jobs


def _listed(name: str, how: How) -> list[Job]:
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
        jobs.append(
            (row.audio or f"line {row.line}", tuple(paths), partial(_row, folder, row, how))
        )
    return jobs


def _row(folder: Path, row: ListedRecording, how: How) -> Found:
    from dataclasses import replace
    from datetime import timedelta

    from tapfall.files.visitlist import inside
    from tapfall.visit import Arm

    heard = _heard(inside(folder, row.audio), inside(folder, row.cuff), _stated_too(row, how))
    arm = None if row.arm is None else Arm(row.arm)
    found: list[Taken] = []
    for one in heard.taken:
        # Of several measurements in one recording each has its own time.
        beats = one.reading.beats if len(heard.taken) > 1 else ()
        later = timedelta(seconds=beats[0].time_s if beats else 0.0)
        time = None if row.time is None else row.time + later
        found.append(replace(one, arm=arm, time=time))
    return replace(heard, taken=tuple(found))


def _stated_too(row: ListedRecording, how: How) -> How:
    """What a row of the list states counts before the options."""
    from dataclasses import replace

    from tapfall.cli.technique import arm_cm_of, cuff_size_of
    from tapfall.errors import InputError

    stated = how.stated
    try:
        if row.arm_cm:
            stated = replace(stated, arm_cm=arm_cm_of(row.arm_cm))
        if row.cuff_size:
            stated = replace(stated, cuff=cuff_size_of(row.cuff_size))
    except argparse.ArgumentTypeError as fault:
        raise InputError(f"line {row.line}: {fault}") from None
    return replace(how, stated=stated)


def _reading(name: str) -> Found:
    from tapfall.files import read_reading
    from tapfall.files.names import base_name
    from tapfall.technique import arm_stated
    from tapfall.visit import Arm, Taken

    record = read_reading(name)
    side = arm_stated(record.reading)
    arm = Arm(side) if side in tuple(Arm) else None  # a file may say anything
    one = Taken(reading=record.reading, label=base_name(name), arm=arm)
    return Found(taken=(one,), source=record.source)


def _heard(audio: str | Path, cuff: str | Path, how: How) -> Found:
    """Every measurement of a recording is a reading of its own."""
    from tapfall.cli.technique import checked
    from tapfall.ear import take_readings
    from tapfall.files import load
    from tapfall.files.names import base_name
    from tapfall.visit import Taken

    recording = load(audio, cuff, lag_s=how.settings.lag_s, **how.loading)
    readings = [
        checked(one, recording, how.stated) for one in take_readings(recording, how.settings)
    ]
    label = base_name(audio)
    names = [f"{label} ({n})" if len(readings) > 1 else label for n in range(1, len(readings) + 1)]
    taken = tuple(Taken(reading=one, label=name) for one, name in zip(readings, names, strict=True))
    return Found(taken=taken, source=recording.source, recording=recording)


def read_jobs(jobs: list[Job], arms: tuple[str | None, ...]) -> tuple[list[Found], list[Lost]]:
    """Read everything; what cannot be read is lost with its reason, unless all is."""
    from dataclasses import replace

    from tapfall.errors import InputError
    from tapfall.files.names import base_name, label_of
    from tapfall.visit import Arm, Lost

    found: list[Found] = []
    lost: list[Lost] = []
    first: InputError | None = None
    for (name, paths, read), arm in zip(jobs, arms, strict=True):
        try:
            here = read()
        except InputError as fault:
            first = first or fault
            reason = str(fault).partition("\n")[0]
            for path in paths:  # folders stay out of what is written
                reason = reason.replace(label_of(path), label_of(base_name(path)))
            lost.append(Lost(name=name, reason=reason))
            continue
        stated = None if arm is None else Arm(arm)
        taken = tuple(
            one if one.arm is not None else replace(one, arm=stated) for one in here.taken
        )
        found.append(replace(here, taken=taken))
    if not found and first is not None:
        raise first
    return found, lost


def arms_of(stated: tuple[str, ...] | None, count: int) -> tuple[str | None, ...]:
    """The arm stated for each recording."""
    from tapfall.errors import SettingError
    from tapfall.wording import counted

    if stated is None:
        return (None,) * count
    if len(stated) not in (1, count):
        raise SettingError(
            f"--arm: found {len(stated)} arms for {counted(count, 'recording')}; "
            "allowed one for all or one for each"
        )
    return stated if len(stated) > 1 else stated * count
