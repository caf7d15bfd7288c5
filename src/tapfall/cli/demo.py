"""``tapfall demo``: make a recording, read it, keep everything."""

from __future__ import annotations

import argparse

from tapfall.cli.codes import DEMO_SCENARIO, DONE, UNREADABLE
from tapfall.cli.output import draw, make_folder, say, summary, take
from tapfall.cli.simulate import check_own, write_simulated


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    from tapfall.errors import printable
    from tapfall.files import load, write_reading
    from tapfall.model import Settings, Status
    from tapfall.synth import load_builtin

    folder = make_folder(args.folder)
    scenario = load_builtin(DEMO_SCENARIO)
    check_own(scenario, folder, "recording", ("reading.json", "reading.png"))
    sound, log = write_simulated(scenario, folder, "recording")
    recording = load(sound, log)
    reading, _ = take(recording, Settings())
    write_reading(folder / "reading.json", reading, recording.source)
    draw(recording, reading, str(folder / "reading.png"))
    say(summary(reading, recording))
    say(
        f"\nIn {printable(str(folder))}: {sound.name} (play it at a low volume), {log.name},\n"
        "recording.truth.json, recording.toml, reading.json, reading.png\n"
    )
    return UNREADABLE if reading.status is Status.UNREADABLE else DONE
