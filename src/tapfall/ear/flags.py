"""What a person has to know of a reading besides its values."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from tapfall.ear.pulses import Pulses
from tapfall.ear.thresholds import ASK_BELOW
from tapfall.ear.told import Told
from tapfall.ear.values import Values
from tapfall.model import (
    REVIEW_FLAGS,
    Flag,
    Quality,
    Reading,
    Reason,
    Rhythm,
    State,
    Status,
)

#: Silence above the first sound that excludes a gap above it (the project's definition).
CLEAR_SILENCE_MMHG = 20.0
#: Probability that sounds lie above the first one read, beyond a gap, from which on a
#: person is asked (tuned on development recordings).
LEAST_ABOVE = 0.6
#: Log odds from which a lone beat above the systolic is told (our choice).
LONE_LOG_ODDS = 3.0
#: Share of clipped samples from which a person is asked: with 2 in 100 readings of simulated
#: recordings are as right as without, with 9 in 100 one value in seven is wrong (measured).
CLIPPED_SHARE = 0.01
#: Signal-to-noise ratio below which a reading is flagged as noisy (our choice).
NOISY_DB = 8.0


def in_order(flags: Iterable[Flag]) -> tuple[Flag, ...]:
    """Flags, each once, in the order that they are defined in."""
    told = set(flags)
    return tuple(one for one in Flag if one in told)


def rhythm_flags(rhythm: Rhythm, breath: bool) -> set[Flag]:
    """Flags of the rhythm, and of sounds that come and go with the breath."""
    if rhythm is Rhythm.ALTERNATING:
        return {Flag.ALTERNATING}
    if rhythm is Rhythm.IRREGULAR:
        # Weak beats of an uneven rhythm come and go at any period.
        return {Flag.IRREGULAR_RHYTHM}
    return {Flag.BREATH_DEPENDENT_SOUNDS} if breath else set()


def heard_flags(told: Told, pulses: Pulses, values: Values, quality: Quality) -> set[Flag]:
    """Flags that follow from what was heard.

    Parameters
    ----------
    told, pulses
        The stories of the listening, and what the log showed.
    values
        The thresholds that they give.
    quality
        Levels of the recording.

    Returns
    -------
    set of Flag
        Those of rhythm and breath are told elsewhere.
    """
    systolic, diastolic = values.systolic, values.diastolic
    listening, ruled = told.listening, told.ruled
    flags: set[Flag] = set()
    if systolic.state is State.OBSERVED and systolic.mmhg is not None:
        top = float(told.cuff_mmhg[: max(int(np.median(ruled.first)), 1)].max())
        if top - systolic.mmhg < CLEAR_SILENCE_MMHG or told.sounds_above > LEAST_ABOVE:
            flags.add(Flag.GAP_ABOVE_NOT_EXCLUDED)
        above = listening.evidence.log_odds[told.beats][: max(int(np.median(ruled.first)) - 1, 0)]
        if ruled.lone_above.mean() >= 0.5 or (above > LONE_LOG_ODDS).any():
            flags.add(Flag.ISOLATED_SOUND)
    if systolic.state is State.NOT_REACHED:
        flags.add(Flag.SYSTOLIC_NOT_REACHED)
    if values.to_zero:
        flags.add(Flag.SOUNDS_TO_ZERO)
    elif values.to_end:
        flags.add(Flag.DIASTOLIC_NOT_REACHED)
    if values.gaps:
        flags.add(Flag.SILENT_GAP)
    sure = [c for c in (systolic.confidence, diastolic.confidence) if c is not None]
    undetermined = any(
        one.state is State.UNDETERMINED and one.reason is not Reason.NO_MUFFLING
        for one in (systolic, diastolic)
    )
    ratio = quality.signal_to_noise_db
    if (sure and min(sure) < ASK_BELOW) or undetermined or told.may_be_hidden:
        flags.add(Flag.LOW_CONFIDENCE)
    if any(told.ear_moved):
        flags.add(Flag.STETHOSCOPE_MOVED)
    if told.strayed:
        flags.add(Flag.STRAY_SOUNDS)
    if abs(listening.lag.seconds) > 0.15:
        flags.add(Flag.LAG_CORRECTED)
    if not listening.lag.clear:
        flags.add(Flag.LAG_UNCERTAIN)
    if not pulses.usable:
        flags.add(Flag.COARSE_CUFF_LOG)
    elif pulses.late_s > 0:
        flags.add(Flag.DAMPED_CUFF_LOG)
    if ratio is not None and ratio < NOISY_DB:
        flags.add(Flag.NOISY)
    return flags


def with_flag(reading: Reading, flag: Flag) -> Reading:
    """A reading with one more flag, in the flags' own order.

    One that asks for a person makes a reading that was ``ok`` a ``review``.

    Examples
    --------
    >>> from tapfall.ear.compose import unreadable
    >>> from tapfall.model import Settings
    >>> bare = unreadable(Reason.NO_SOUNDS, Settings())
    >>> with_flag(bare, Flag.NOISY).flags
    (<Flag.NOISY: 'noisy'>,)
    """
    ask = flag in REVIEW_FLAGS and reading.status is Status.OK
    return replace(
        reading,
        flags=in_order((*reading.flags, flag)),
        status=Status.REVIEW if ask else reading.status,
    )
