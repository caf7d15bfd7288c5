"""Logs and readings made by hand, that the tests of this folder share."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tapfall.ear.pulses import Pulses
from tapfall.model import (
    Beat,
    CuffLog,
    Diastolic,
    Finding,
    Phase,
    Quality,
    Reading,
    Recording,
    State,
    Status,
    Threshold,
)
from tapfall.technique import Stated, check_technique

#: Corners of an ordinary measurement, seconds and mmHg: 2.5 mmHg/s from 150 to 50.
CORNERS = (
    (0.0, 0.0),
    (5.0, 0.0),
    (11.0, 150.0),
    (12.0, 150.0),
    (52.0, 50.0),
    (53.0, 0.0),
    (61.0, 0.0),
)


def pulses_of(time_s: np.ndarray, size_mmhg: np.ndarray, *, usable: bool = True) -> Pulses:
    """Pulses that the log shows, every one of them."""
    return Pulses(
        time_s=time_s,
        size_mmhg=size_mmhg,
        seen=np.ones(time_s.size, np.bool_),
        real=np.ones(time_s.size),
        usable=usable,
        error_s=0.01,
    )


def log_of(corners: Sequence[tuple[float, float]] = CORNERS, rate_hz: float = 20.0) -> CuffLog:
    """A log without pulse through some corners."""
    at_s, mmhg = np.array(corners).T
    time_s = np.arange(at_s[0], at_s[-1], 1.0 / rate_hz)
    return CuffLog(time_s=time_s, pressure_mmhg=np.interp(time_s, at_s, mmhg))


def reading_of(
    systolic_mmhg: float | None = 125.0,
    diastolic_mmhg: float = 75.0,
    pulse_per_min: float | None = 75.0,
    beats_s: tuple[float, float] = (22.0, 42.0),
    **changes: object,
) -> Reading:
    """A reading of the ordinary log: first sound at 22 s, last one at 42 s."""
    observed = State.OBSERVED
    first_s, last_s = beats_s
    fields: dict[str, object] = {
        "status": Status.OK,
        "systolic": Threshold(state=observed, mmhg=systolic_mmhg, time_s=first_s)
        if systolic_mmhg is not None
        else Threshold(state=State.UNDETERMINED),
        "diastolic": Diastolic(state=observed, mmhg=diastolic_mmhg, time_s=last_s),
        "first_silence": Threshold(state=State.UNDETERMINED),
        "muffling": Threshold(state=State.UNDETERMINED),
        "pulse_per_min": pulse_per_min,
        "beats": (
            Beat(time_s=first_s, cuff_mmhg=systolic_mmhg or 125.0, heard=1.0, phase=Phase.K1),
            Beat(time_s=last_s, cuff_mmhg=diastolic_mmhg, heard=1.0, phase=Phase.K4),
        ),
        "quality": Quality(signal_to_noise_db=20.0, peak_dbfs=-20.0),
    }
    return Reading(**{**fields, **changes})  # type: ignore[arg-type]


def recording_of(log: CuffLog, sound_s: float | None = None) -> Recording:
    """A log with a quiet sound, as long as the log where nothing is said."""
    ends_s = float(log.time_s.max(initial=4.0))
    lasts_s = ends_s if sound_s is None else sound_s
    return Recording(samples=np.full(round(lasts_s * 1000.0), 0.01), rate_hz=1000.0, cuff=log)


def found(
    check: str,
    log: CuffLog | None = None,
    reading: Reading | None = None,
    stated: Stated | None = None,
    *,
    sound_s: float | None = None,
    **how: object,
) -> Finding:
    """The finding of one check."""
    recording = recording_of(log if log is not None else log_of(), sound_s)
    every = check_technique(recording, reading or reading_of(), stated, **how)  # type: ignore[arg-type]
    (one,) = (finding for finding in every if finding.check == check)
    return one
