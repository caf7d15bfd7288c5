"""What the options that several commands share come to: settings, and a recording."""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse

    from tapfall.model import Recording, Settings


def settings_of(args: argparse.Namespace) -> Settings:
    """Return what the options choose about a reading."""
    from tapfall.model import Rule, Settings

    return Settings(
        diastolic=Rule(args.diastolic), lag_s=args.lag, manometer_mmhg=args.manometer_error
    )


def loaded(args: argparse.Namespace, audio: str, cuff: str | None) -> Recording:
    """Return the recording of two files, or of one, taken as the options say.

    Raises
    ------
    InputError
        The files, or the options, cannot be used.
    """
    from tapfall.files import load

    return load(
        audio,
        cuff,
        channel=args.channel,
        cuff_channel=args.cuff_channel,
        cuff_scale=args.cuff_scale,
        cuff_offset=args.cuff_offset,
        lag_s=args.lag,
    )
