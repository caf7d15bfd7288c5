"""One measurement's record to its reading: the whole judgement as one pure function."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from tapfall.ear.compose import compose, unreadable
from tapfall.ear.cuff import find_deflation
from tapfall.ear.judge import listen
from tapfall.ear.pulses import find_pulses
from tapfall.ear.record import Record
from tapfall.model import Flag, Reading, Reason, Settings, Threshold

#: A deflation of which less than this share was recorded cannot be judged (our choice).
LEAST_COVER = 0.3


def judge(record: Record, settings: Settings) -> Reading:
    """Judge one measurement, in time from its first row of the log.

    Parameters
    ----------
    record
        Sound and log rows of the measurement.
    settings
        What the user chose.

    Returns
    -------
    Reading
        Equal for equal records.
    """
    origin_s = float(record.log_s[0]) if record.log_s.size else 0.0
    here = replace(record, log_s=record.log_s - origin_s, start_s=record.start_s - origin_s)
    return _moved(_judge(here, settings), origin_s)


def _moved(reading: Reading, by_s: float) -> Reading:
    """A reading whose audio times are later."""

    def later(one: Threshold) -> Any:
        if one.time_s is None:
            return one
        return replace(one, time_s=round(one.time_s + by_s, 3))

    return replace(
        reading,
        systolic=later(reading.systolic),
        diastolic=later(reading.diastolic),
        first_silence=later(reading.first_silence),
        muffling=later(reading.muffling),
        beats=tuple(replace(b, time_s=round(b.time_s + by_s, 3)) for b in reading.beats),
    )


def _judge(record: Record, settings: Settings) -> Reading:
    """Judge a record whose times start at its first row."""
    noticed: list[Flag] = []
    if record.rows_repeated:
        noticed.append(Flag.CUFF_LOG_ROWS_REPEATED)
    deflation = find_deflation(record.log_s, record.log_mmhg)
    if deflation is None:
        return unreadable(Reason.NO_DEFLATION, settings, tuple(noticed))
    noticed += deflation.flags
    lag_s = settings.lag_s or 0.0
    span_s = deflation.end_s - deflation.start_s
    covered_s = min(deflation.end_s - lag_s, record.end_s) - max(
        deflation.start_s - lag_s, record.start_s
    )
    if covered_s < 0.98 * span_s - 0.5:
        noticed.append(Flag.AUDIO_PARTIAL)
    if covered_s < LEAST_COVER * span_s or covered_s < 5.0:
        return unreadable(Reason.TOO_FEW_BEATS, settings, tuple(noticed))
    sound, _ = record.between(deflation.start_s - lag_s, deflation.end_s - lag_s)
    if float(np.ptp(sound)) < 1e-7:
        return unreadable(Reason.SILENT_AUDIO, settings, tuple(noticed))
    pulses = find_pulses(record.log_s, record.log_mmhg, deflation)
    listening = listen(record, deflation, pulses, settings.lag_s)
    if listening is None:
        return unreadable(Reason.NO_SOUNDS, settings, tuple(noticed))
    return compose(record, deflation, pulses, listening, settings, tuple(noticed))
