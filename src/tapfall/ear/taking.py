"""Read a whole recording: the listener pushed once."""

from __future__ import annotations

import math

import numpy as np

from tapfall.ear.flags import with_flag
from tapfall.ear.frontend import as_samples
from tapfall.ear.listener import Listener
from tapfall.ear.rows import as_rows
from tapfall.ear.settings import check_settings
from tapfall.model import Flag, Reading, Recording, Settings

#: Longest recording read in steps: one day.
LONGEST_FILE_S = 86_400.0


def take_readings(recording: Recording, settings: Settings | None = None) -> tuple[Reading, ...]:
    """Read every measurement of a recording.

    Parameters
    ----------
    recording
        Sound and cuff log.
    settings
        What the user chose; defaults otherwise.

    Returns
    -------
    tuple of Reading
        One for each measurement with a deflation, in order of time; a single
        ``unreadable`` one where there is none.

    Raises
    ------
    InputError
        If sound, log or settings cannot be used.

    Examples
    --------
    >>> from tapfall.synth import Scenario, simulate
    >>> recording = simulate(Scenario(seed=3)).recording
    >>> [reading.status.value for reading in take_readings(recording)]
    ['ok']
    """
    chosen = check_settings(Settings() if settings is None else settings)
    listener = Listener(rate_hz=recording.rate_hz, settings=chosen, announce=False)
    samples = as_samples(recording.samples)
    log_s, log_mmhg = as_rows(recording.cuff.time_s, recording.cuff.pressure_mmhg)
    length_s = samples.size / recording.rate_hz
    # What runs on for longer after the other stream has ended meets nothing there.
    step_s = chosen.longest_s / 2
    kept = int(np.searchsorted(log_s, length_s + step_s, side="right"))
    log_s, log_mmhg = log_s[:kept], log_mmhg[:kept]
    if log_s.size:
        length_s = min(length_s, max(float(log_s[-1]), 0.0) + step_s)
    end_s = max(length_s, float(log_s[-1]) if log_s.size else 0.0)
    # One push each, or one for each step where the recording is longer than the memory.
    cuts_s = np.arange(1, math.ceil(min(end_s, LONGEST_FILE_S) / step_s)) * step_s
    ends_s = [*(cuts_s.tolist() if end_s > 2 * step_s else []), math.inf]
    row = sample = 0
    for at_s in ends_s:
        next_row = int(np.searchsorted(log_s, at_s, side="right"))
        next_sample = int(min(at_s, length_s) * recording.rate_hz + 0.5)
        next_sample = min(next_sample, samples.size)
        listener.push_cuff(log_s[row:next_row], log_mmhg[row:next_row])
        listener.push_audio(samples[sample:next_sample])
        row, sample = next_row, next_sample
    last = listener.finish()
    readings = listener.readings() or (last,)
    if recording.cuff.rows_repeated:
        readings = tuple(with_flag(one, Flag.CUFF_LOG_ROWS_REPEATED) for one in readings)
    return readings


def take_reading(recording: Recording, settings: Settings | None = None) -> Reading:
    """Read a recording: the reading of its last measurement.

    Parameters
    ----------
    recording
        Sound and cuff log.
    settings
        What the user chose; defaults otherwise.

    Returns
    -------
    Reading
        The last of :func:`take_readings`.

    Raises
    ------
    InputError
        If sound, log or settings cannot be used.

    Examples
    --------
    >>> from tapfall.synth import Scenario, simulate
    >>> recording = simulate(Scenario(seed=3)).recording
    >>> reading = take_reading(recording)
    >>> reading.status.value, reading.systolic.mmhg > reading.diastolic.mmhg
    ('ok', True)
    """
    return take_readings(recording, settings)[-1]
