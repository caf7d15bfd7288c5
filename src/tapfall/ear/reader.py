"""One measurement's record to its reading: the whole judgement as one pure function."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from tapfall.ear.compose import compose, unreadable, why_nothing
from tapfall.ear.cuff import Deflation, find_deflation
from tapfall.ear.early import systolic_promise
from tapfall.ear.flags import with_flag
from tapfall.ear.holes import sound_holes
from tapfall.ear.judge import Nothing, listen
from tapfall.ear.pulses import Pulses, find_pulses
from tapfall.ear.record import Record
from tapfall.ear.sampled import measured_rows
from tapfall.ear.weighed import weigh
from tapfall.ear.zero import zero_off
from tapfall.model import Flag, Reading, Reason, Settings, Threshold

_Threshold = TypeVar("_Threshold", bound=Threshold)

#: A deflation of which less than this share, or so little, was recorded cannot be judged (our
#: choice).
LEAST_COVER, LEAST_COVER_S = 1 / 3, 5.0
#: Sound covers a deflation whole where at least this share of it, less so many seconds, was
#: recorded (our choice).
WHOLE_COVER, WHOLE_LESS_S = 0.98, 0.5
#: Sound that moves by less is silent or constant (our choice: below a step of 24 bits).
LEAST_MOVE = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Judged:
    """A reading with what the log showed on the way to it, ``None`` if it came to nothing.

    ``promise`` is the probability that its systolic will still stand at the end of the
    measurement, ``stirring`` whether one of the last beats may sound.
    """

    reading: Reading
    deflation: Deflation | None = None
    pulses: Pulses | None = None
    promise: float = 0.0
    stirring: bool = False


def look_into(
    record: Record,
    settings: Settings,
    centre_s: float = 0.0,
    *,
    under_way: bool = False,
    astray: bool = False,
) -> Judged:
    """Judge one measurement, in time from its first row of the log.

    Parameters
    ----------
    record
        Sound and log rows of the measurement.
    settings
        What the user chose.
    centre_s
        Lag around which another one is searched.
    under_way
        Whether the measurement goes on: then what will hold is told before it is sure that
        the sounds are there, and how likely it holds.
    astray
        Whether the clocks may have run apart further than is searched: then no lag that is
        found is clear.

    Returns
    -------
    Judged
        Equal readings for equal records; deflation and pulses in time from the first row.
    """
    origin_s = float(record.log_s[0]) - centre_s if record.log_s.size else 0.0
    here = replace(
        record,
        log_s=record.log_s - centre_s - origin_s,
        rest_s=record.rest_s - centre_s - origin_s,
        start_s=record.start_s - origin_s,
        lost_s=tuple((a - origin_s, b - origin_s) for a, b in record.lost_s),
    )
    found = _judge(here, settings, under_way, astray)
    reading = _moved(found.reading, origin_s)
    if centre_s and reading.lag is not None:
        lag = replace(
            reading.lag,
            seconds=round(reading.lag.seconds + centre_s, 3),
            low_s=round(reading.lag.low_s + centre_s, 3),
            high_s=round(reading.lag.high_s + centre_s, 3),
        )
        reading = with_flag(replace(reading, lag=lag), Flag.LAG_CORRECTED)
    return replace(found, reading=reading)


def _moved(reading: Reading, by_s: float) -> Reading:
    """A reading whose audio times are later."""

    def later(one: _Threshold) -> _Threshold:
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


def _judge(record: Record, settings: Settings, under_way: bool, astray: bool) -> Judged:
    """Judge a record whose times start at its first row."""
    rows = measured_rows(record.log_s, record.log_mmhg)
    record = replace(record, log_s=record.log_s[rows], log_mmhg=record.log_mmhg[rows])
    noticed: list[Flag] = []
    if record.rows_repeated:
        noticed.append(Flag.CUFF_LOG_ROWS_REPEATED)
    deflation = find_deflation(record.log_s, record.log_mmhg)
    if deflation is None:
        return Judged(reading=unreadable(Reason.NO_DEFLATION, settings, tuple(noticed)))
    noticed += deflation.flags
    rest = (record.rest_s, record.rest_mmhg)
    if zero_off(record.log_s, record.log_mmhg, deflation, rest):
        noticed.append(Flag.ZERO_OFF)

    def nothing(reason: Reason, pulses: Pulses | None = None, stirring: bool = False) -> Judged:
        reading = unreadable(reason, settings, tuple(noticed))
        return Judged(reading=reading, deflation=deflation, pulses=pulses, stirring=stirring)

    lag_s = settings.lag_s or 0.0
    first_s, last_s = deflation.start_s - lag_s, deflation.end_s - lag_s
    span_s = deflation.end_s - deflation.start_s
    covered_s = min(last_s, record.end_s) - max(first_s, record.start_s)
    if covered_s < WHOLE_COVER * span_s - WHOLE_LESS_S:
        noticed.append(Flag.AUDIO_PARTIAL)
    if covered_s < LEAST_COVER * span_s or covered_s < LEAST_COVER_S:
        return nothing(Reason.TOO_LITTLE_SOUND)
    sound, _ = record.between(first_s, last_s)
    if float(np.ptp(sound)) < LEAST_MOVE:
        return nothing(Reason.SILENT_AUDIO)
    pulses = find_pulses(record.log_s, record.log_mmhg, deflation)
    listening = listen(record, deflation, pulses, settings.lag_s, under_way=under_way)
    if isinstance(listening, Nothing):
        if sound_holes(record, first_s, last_s):
            noticed.append(Flag.AUDIO_DROPOUT)
        return nothing(why_nothing(listening), pulses, listening.stirring)
    if astray and settings.lag_s is None:
        listening = replace(listening, lag=replace(listening.lag, clear=False))
    weighed = weigh(record, deflation, pulses, listening)
    if under_way:
        weighed = replace(weighed, promise=systolic_promise(weighed, pulses))
    return Judged(
        reading=compose(record, pulses, weighed, settings, tuple(noticed)),
        deflation=deflation,
        pulses=pulses,
        promise=weighed.promise,
        stirring=listening.stirring,
    )
