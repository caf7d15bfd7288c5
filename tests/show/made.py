"""Recordings and readings made by hand, for the tests of figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tapfall.model import (
    Beat,
    CuffLog,
    Diastolic,
    Flag,
    Gap,
    Lag,
    Phase,
    Quality,
    Reading,
    Reason,
    Recording,
    Rhythm,
    Rule,
    State,
    Status,
    Threshold,
)

NOTHING = Threshold(state=State.UNDETERMINED)


def cuff_log(*, rate_hz: float = 20.0, seconds: float = 56.0, lag_s: float = 0.0) -> CuffLog:
    """Rest, inflation to 170 mmHg, deflation of 2.5 mmHg/s, release, rest."""
    time_s = np.arange(0.0, seconds, 1.0 / rate_hz)
    pressure = np.interp(
        time_s, [0.0, 2.0, 8.0, 9.0, 49.0, 51.0, 60.0], [0.0, 0.0, 170.0, 170.0, 70.0, 0.0, 0.0]
    )
    pulse = 1.2 * np.clip(np.sin(2 * np.pi * time_s / 0.85), 0.0, None) * (pressure > 40.0)
    return CuffLog(time_s=time_s + lag_s, pressure_mmhg=pressure + pulse)


def recording(*, rate_hz: float = 4000.0, seconds: float = 56.0, lag_s: float = 0.0) -> Recording:
    """Short 60 Hz taps on the beats from 26 s to 43 s over faint noise."""
    rng = np.random.default_rng(20)
    time_s = np.arange(int(seconds * rate_hz)) / rate_hz
    sound = 0.004 * rng.standard_normal(time_s.size)
    sound[int(2 * rate_hz) : int(8 * rate_hz)] *= 6.0
    for beat in beats():
        if beat.heard > 0.1:
            late = np.clip(time_s - beat.time_s, 0.0, None)
            tap = np.exp(-late / 0.02) * np.sin(2 * np.pi * 60.0 * late)
            sound += 0.15 * beat.heard * tap
    return Recording(
        samples=sound.astype(np.float32),
        rate_hz=rate_hz,
        cuff=cuff_log(seconds=seconds, lag_s=lag_s),
    )


def beats() -> tuple[Beat, ...]:
    """Beats of the deflation: silent, K1, K2, K3, K4, silent."""
    found = []
    for index in range(46):
        time_s = 9.6 + 0.85 * index
        cuff = 170.0 - 2.5 * (time_s - 9.0)
        edges = ((128, Phase.SILENT), (119, Phase.K1), (105, Phase.K2), (92, Phase.K3))
        phase = next((name for edge, name in edges if cuff > edge), Phase.K4)
        if cuff < 82:
            phase = Phase.SILENT
        heard = 0.97 if phase is not Phase.SILENT else 0.02
        if phase is Phase.SILENT and abs(cuff - 81) < 2:
            heard = 0.45
        found.append(Beat(time_s=time_s, cuff_mmhg=cuff, heard=heard, phase=phase))
    return tuple(found)


def ordinary() -> Reading:
    """128/83 mmHg with a lag, an interval and a confidence."""
    return Reading(
        status=Status.OK,
        systolic=Threshold(
            state=State.OBSERVED,
            mmhg=127.4,
            low_mmhg=126.1,
            high_mmhg=129.8,
            confidence=0.97,
            time_s=26.0,
        ),
        diastolic=Diastolic(
            state=State.OBSERVED,
            mmhg=82.8,
            low_mmhg=79.5,
            high_mmhg=83.4,
            confidence=0.93,
            time_s=43.9,
            k5_mmhg=82.8,
        ),
        first_silence=Threshold(state=State.OBSERVED, mmhg=80.7),
        muffling=Threshold(
            state=State.OBSERVED, mmhg=91.0, low_mmhg=86.0, high_mmhg=95.0, confidence=0.7
        ),
        pulse_per_min=70.6,
        rhythm=Rhythm.REGULAR,
        beats=beats(),
        lag=Lag(seconds=0.4, low_s=0.3, high_s=0.5, drift_ppm=None, estimated=True),
        manometer_mmhg=3.0,
        flags=(Flag.LAG_CORRECTED,),
        quality=Quality(signal_to_noise_db=18.0, deflation_mmhg_per_s=2.5),
    )


def with_gap() -> Reading:
    """A silent gap from 116 to 101 mmHg."""
    silent = tuple(
        replace(beat, heard=0.03, phase=Phase.GAP) if 101 < beat.cuff_mmhg < 116 else beat
        for beat in beats()
    )
    gap = Gap(
        upper_mmhg=116.2,
        lower_mmhg=100.4,
        upper_low_mmhg=114.0,
        upper_high_mmhg=117.5,
        lower_low_mmhg=99.0,
        lower_high_mmhg=102.2,
        confidence=0.88,
    )
    return replace(ordinary(), beats=silent, gaps=(gap,), flags=(Flag.SILENT_GAP,))


def bounded() -> Reading:
    """Neither threshold reached."""
    return replace(
        ordinary(),
        status=Status.REVIEW,
        systolic=Threshold(state=State.NOT_REACHED, low_mmhg=167.0, reason=Reason.SOUNDS_FROM_TOP),
        diastolic=Diastolic(state=State.NOT_REACHED, high_mmhg=72.0, reason=Reason.SOUNDS_TO_END),
        muffling=NOTHING,
        first_silence=NOTHING,
        flags=(Flag.SYSTOLIC_NOT_REACHED, Flag.DIASTOLIC_NOT_REACHED, Flag.DEFLATION_FAST),
    )


def to_zero() -> Reading:
    """130/70/0: the diastolic is the muffling."""
    return replace(
        ordinary(),
        status=Status.REVIEW,
        diastolic=Diastolic(
            state=State.OBSERVED,
            mmhg=91.0,
            low_mmhg=86.0,
            high_mmhg=95.0,
            confidence=0.6,
            rule=Rule.K4,
            k5_mmhg=0.0,
        ),
        flags=(Flag.SOUNDS_TO_ZERO,),
    )


def unreadable() -> Reading:
    """Nothing observed: no beats, no lag, one reason."""
    return Reading(
        status=Status.UNREADABLE,
        systolic=NOTHING,
        diastolic=Diastolic(state=State.UNDETERMINED),
        first_silence=NOTHING,
        muffling=NOTHING,
        reasons=(Reason.NO_SOUNDS,),
    )
