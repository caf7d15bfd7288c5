"""The options of ``tapfall read`` that an Observation needs, and when one is refused."""

from __future__ import annotations

import argparse

from tapfall.cli.parser import Usage

TYPE_CHECKING = False
if TYPE_CHECKING:
    from tapfall.files.fhir import FhirContext


def context_of(args: argparse.Namespace) -> FhirContext | None:
    """Return of whom and when the Observation is, None where none is asked for.

    Raises
    ------
    Usage
        Options are missing, of another form, or without ``--fhir``.
    InputError
        The truth of a simulation stands beside the sound.
    """
    given = {name: getattr(args, name) for name in ("subject", "effective")}
    if args.fhir is None:
        for name, value in given.items():
            if value is not None:
                raise Usage(f"found --{name} without --fhir; allowed only with it")
        return None
    if args.fhir == "-":
        raise Usage("found --fhir -; allowed the name of a file to write")
    for name, value in given.items():
        if value is None:
            raise Usage(f"found --fhir without --{name}; allowed --fhir, --subject and --effective")
    from tapfall.errors import SettingError
    from tapfall.files.fhir import FhirContext

    try:
        context = FhirContext(subject=args.subject, effective=args.effective, arm=args.arm)
    except SettingError as fault:
        raise Usage(str(fault)) from None
    _check_neighbours(args)
    return context


def _check_neighbours(args: argparse.Namespace) -> None:
    """Raise where a simulation's truth is kept beside a file, whether that is marked or not."""
    from pathlib import Path

    from tapfall.errors import InputError
    from tapfall.files.names import label_of

    for name in (args.audio, args.cuff):
        if name is None:
            continue
        truth = Path(name).with_suffix(".truth.json") if Path(name).name else None
        try:
            simulated = truth is not None and truth.exists()
        except (OSError, ValueError):
            simulated = False  # an impossible name is refused where the file is opened
        if simulated:
            raise InputError(
                f"{label_of(name)}: found the truth of a simulation beside it "
                f"({label_of(truth.name) if truth else ''}); allowed a recording of a person "
                "with --fhir"
            )
