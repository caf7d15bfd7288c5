"""``tapfall read``: one recording in, one reading out."""

from __future__ import annotations

import argparse

from tapfall.cli.chosen import loaded, settings_of
from tapfall.cli.codes import DONE, UNREADABLE
from tapfall.cli.fhir import context_of
from tapfall.cli.output import (
    check_outputs,
    check_report,
    complain,
    draw,
    report,
    say,
    summary,
    take,
)
from tapfall.cli.technique import checked, stated_by

#: Forms of a figure, by the suffix of its name.
FIGURE_SUFFIXES = (".png", ".svg", ".pdf")


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    from pathlib import Path

    from tapfall.errors import SettingError
    from tapfall.files import write_reading
    from tapfall.files.names import label_of
    from tapfall.model import Status

    context = context_of(args)
    inputs = tuple(name for name in (args.audio, args.cuff) if name is not None)
    if args.figure is not None and Path(args.figure).suffix.lower() not in FIGURE_SUFFIXES:
        raise SettingError(
            f"{label_of(args.figure)}: found a figure of another form; allowed a name that ends "
            "in .png, .svg or .pdf"
        )
    if args.report is not None:
        check_report(args.report)
    check_outputs((args.json, args.figure, args.report, args.fhir), inputs)
    settings = settings_of(args)
    stated = stated_by(args)
    recording = loaded(args, args.audio, args.cuff)
    reading, count = take(recording, settings)
    reading = checked(reading, recording, stated)
    if context is not None:
        from tapfall.files.fhir import write_observation

        # First of all outputs: a simulated recording is refused before anything is said.
        write_observation(args.fhir, reading, recording, context)
    if args.json == "-":
        from tapfall.files import record_of
        from tapfall.files.writing import json_text

        say(json_text(record_of(reading, recording.source, settings)))
        if count > 1:
            complain(
                f"the recording holds {count} measurements, the last of them was read; "
                "all of them: tapfall visit, or tapfall.ear.take_readings"
            )
    else:
        several = f"The last of {count} measurements in this recording; all: tapfall visit.\n\n"
        say((several if count > 1 else "") + summary(reading, recording))
    if args.json not in (None, "-"):
        write_reading(args.json, reading, recording.source, settings)
    if args.figure is not None:
        draw(recording, reading, args.figure, count=count)
    if args.report is not None:
        report(recording, reading, settings, args.report, count=count)
    return UNREADABLE if reading.status is Status.UNREADABLE else DONE
