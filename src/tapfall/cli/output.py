"""What the command line prints, and the work that its commands share."""

from __future__ import annotations

import os
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path
    from typing import Any

    from tapfall.model import Reading, Recording, Settings


def take(recording: Recording, settings: Settings) -> tuple[Reading, int]:
    """Return the last reading of a recording, and how many measurements it holds."""
    from tapfall.ear import take_readings

    readings = take_readings(recording, settings=settings)
    return readings[-1], len(readings)


def draw(recording: Recording, reading: Reading, path: str, *, count: int = 1) -> None:
    """Draw the last reading of so many; this is where matplotlib is loaded."""
    from tapfall.show.figure import draw_reading
    from tapfall.show.words import place_words

    title = None
    if count > 1:
        name = [] if recording.source is None else [recording.source.audio_name]
        title = ", ".join([place_words((count, count)), *name])
    draw_reading(recording, reading, path, title=title)


def report(
    recording: Recording, reading: Reading, settings: Settings, path: str, *, count: int = 1
) -> None:
    """Write the page of the last reading of so many; this is where jinja2 is loaded."""
    from tapfall.show.report import write_report

    write_report(path, recording, reading, settings, measurement=(count, count))


def is_page(name: str) -> bool:
    """Whether a name is one of a page."""
    return name.lower().endswith((".html", ".htm"))


def check_report(name: str) -> None:
    """Refuse a ``--report`` whose name is none of a page.

    Raises
    ------
    SettingError
        It is none.
    """
    from tapfall.errors import SettingError
    from tapfall.files.names import label_of

    if not is_page(name):
        raise SettingError(f"--report: found {label_of(name)}; allowed a name that ends in .html")


def check_outputs(names: Iterable[str | None], inputs: tuple[str, ...]) -> list[str]:
    """Refuse, before any work, an output that cannot be written, is an input, or stands twice.

    Parameters
    ----------
    names
        What options name: nothing (None) and standard output (``-``) are passed over.
    inputs
        Files that must not be overwritten.

    Returns
    -------
    list of str
        The outputs that are files.

    Raises
    ------
    InputError
        One cannot be written, or is an input.
    SettingError
        Two would be one file.
    """
    from tapfall.errors import SettingError
    from tapfall.files import check_writable
    from tapfall.files.names import label_of

    files = [name for name in names if name not in (None, "-")]
    for name in files:
        check_writable(name, inputs)
    places = [os.path.realpath(name) for name in files]
    for number, name in enumerate(files, 1):
        if places[number - 1] in places[number:]:
            raise SettingError(
                f"{label_of(name)}: found two outputs under one name; allowed a name for each"
            )
    return files


def make_folder(name: str) -> Path:
    """Return a folder that exists, made where it was missing.

    Raises
    ------
    InputError
        The name is empty, or cannot be made a folder.
    """
    from pathlib import Path

    from tapfall.errors import InputError, printable

    if not name:
        raise InputError("'': found an empty name; allowed a folder to write in")
    try:
        Path(name).mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else str(fault)
        raise InputError(
            f"{printable(name)}: cannot be made a folder ({reason}); allowed a folder to write in"
        ) from None
    return Path(name)


def summary(reading: Reading, recording: Recording) -> str:
    """Return the summary, marked where standard output is a terminal that wants it."""
    from tapfall.summary import summary_text

    terminal = sys.stdout is not None and sys.stdout.isatty()
    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return summary_text(
        reading,
        recording.source,
        colour=terminal and not plain,
        simulated=recording.simulated,
    )


def tell(text: str, record: Any, json: str | None) -> None:
    """Write a record where ``--json`` names a file, then print: the record for ``-``, else text.

    Raises
    ------
    InputError
        The file or standard output cannot be written.
    """
    from tapfall.files.writing import json_text, write_json

    if json not in (None, "-"):
        write_json(json, record)
    say(json_text(record) if json == "-" else text)


def say(text: str) -> None:
    """Print; a reader who has left ends the output, not the work.

    Raises
    ------
    InputError
        Standard output cannot be written.
    """
    put(text)


def put(text: str) -> bool:
    """Write to standard output at once; return whether somebody still reads it.

    Raises
    ------
    InputError
        It cannot be written.
    """
    if sys.stdout is None:
        return True
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
        return True
    except OSError as fault:
        # What is still in the buffer goes nowhere, also when the process ends.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if isinstance(fault, BrokenPipeError):
            return False
        from tapfall.errors import InputError

        raise InputError(
            f"standard output: cannot be written ({fault.strerror}); allowed a place with room"
        ) from None


def complain(text: str) -> None:
    """Print a fault or a warning on standard error: one line, more indented, all of it ASCII."""
    from tapfall.errors import printable

    first, *rest = text.split("\n")
    lines = [f"tapfall: {printable(first)}", *(f"  {printable(line.strip())}" for line in rest)]
    if sys.stderr is not None:
        sys.stderr.write("\n".join(lines).encode("ascii", "backslashreplace").decode() + "\n")
