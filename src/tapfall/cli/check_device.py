"""``tapfall check-device``: whether readings are possible with a prototype."""

from __future__ import annotations

import argparse

from tapfall.cli.chosen import loaded
from tapfall.cli.codes import DONE, UNREADABLE
from tapfall.cli.output import check_outputs, tell
from tapfall.wording import WIDTH

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterator

    from tapfall.device import DeviceFinding, DeviceReport
    from tapfall.model import Source

_TITLES = {"sound": "Sound", "log": "Cuff log", "trial": "Trial and clocks"}


def run(args: argparse.Namespace) -> int:
    """Run the command and return its exit code."""
    from tapfall.device import Verdict, check_device, device_record

    inputs = tuple(name for name in (args.audio, args.cuff) if name is not None)
    check_outputs((args.json,), inputs)
    recording = loaded(args, args.audio, args.cuff)
    report = check_device(recording, lag_s=args.lag)
    text = report_text(report, recording.source, simulated=recording.simulated)
    tell(text, device_record(report, recording.source), args.json)
    unfit = (Verdict.NOT_POSSIBLE, Verdict.NOT_TOLD)
    return UNREADABLE if report.verdict in unfit else DONE


def report_text(report: DeviceReport, source: Source | None, *, simulated: bool = False) -> str:
    """Return a report as a table of at most 80 columns, with a line break at the end."""
    from tapfall.device import Verdict
    from tapfall.model import CAUTION, SIMULATED

    far = ", as far as this recording tells" if report.untold else ""
    if report.verdict is Verdict.NOT_TOLD:
        far = ": no reading was tried"
    said = [SIMULATED] if simulated else []
    lines = [*_heading(source), *said, "", f"Readings with this device: {report.verdict}{far}"]
    lines += _listed(report.why)
    untold = [one.sentence for one in report.findings if one.check in report.untold]
    if untold:
        lines += ["", "Not told by this recording:", *_listed(untold)]
    for part, title in _TITLES.items():
        lines += ["", f"{title:<24}{'found':<17}{'needed':<28}"]
        lines += [_row(one) for one in report.findings if one.part == part]
    lines += ["", *_wrapped(CAUTION)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _heading(source: Source | None) -> Iterator[str]:
    from tapfall.errors import printable

    if source is not None:
        names = dict.fromkeys((source.audio_name, source.cuff_name))
        yield from _wrapped(" with ".join(printable(name) for name in names))


def _row(finding: DeviceFinding) -> str:
    from tapfall.device.checks import plain

    found, unit = finding.found, finding.unit
    shown = "?" if found is None else found if isinstance(found, str) else plain(found)
    if found == 1:
        unit = unit.replace("s/", "/")  # 1 row/s
    shown = f"{shown} {unit}".rstrip()
    return f"  {finding.check:<22}{shown:<17}{finding.needed:<28}{finding.state}"


def _listed(sentences: tuple[str, ...] | list[str]) -> Iterator[str]:
    for sentence in sentences:
        yield from _wrapped(sentence, "  - ", "    ")


def _wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
    import textwrap

    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest)
