"""Small files and readings that the tests of this folder share."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

from tapfall.model import (
    Beat,
    Diastolic,
    Finding,
    FindingState,
    Flag,
    Gap,
    Lag,
    Phase,
    Quality,
    Reading,
    Reason,
    Rhythm,
    Rule,
    State,
    Status,
    Threshold,
)

LOG = "time_s,pressure_mmHg\n0,180\n1,150\n2,120\n"


def noise(seconds: float = 2.0, rate_hz: int = 4000, channels: int = 1) -> np.ndarray:
    """Reproducible noise, shape (n,) or (n, channels)."""
    shape = (int(seconds * rate_hz), channels)
    samples = np.random.default_rng(5).normal(0.0, 0.1, shape).clip(-0.99, 0.99)
    return samples[:, 0] if channels == 1 else samples


def sound_file(path: Path, samples: np.ndarray, rate_hz: int = 4000, **how: str) -> Path:
    """Write a sound file."""
    soundfile.write(path, samples, rate_hz, **how)
    return path


def log_file(folder: Path, text: str | bytes = LOG, name: str = "arm.csv") -> Path:
    """Write a log, text as UTF-8 without touching its line ends."""
    path = folder / name
    path.write_bytes(text.encode("utf-8") if isinstance(text, str) else text)
    return path


def full_reading() -> Reading:
    """A reading in which every field is filled."""
    observed = Threshold(
        state=State.OBSERVED,
        mmhg=88.25,
        low_mmhg=85.5,
        high_mmhg=91.0,
        confidence=0.5,
        time_s=31.5,
        reason=None,
    )
    return Reading(
        status=Status.REVIEW,
        systolic=Threshold(
            state=State.NOT_REACHED, low_mmhg=189.75, reason=Reason.SOUNDS_FROM_TOP, time_s=2.0
        ),
        diastolic=Diastolic(
            state=State.OBSERVED,
            mmhg=70.5,
            low_mmhg=68.0,
            high_mmhg=73.5,
            confidence=0.875,
            time_s=40.125,
            rule=Rule.K4,
            k5_mmhg=0.0,
        ),
        first_silence=Threshold(state=State.UNDETERMINED, reason=Reason.SOUNDS_TO_END),
        muffling=observed,
        reasons=(Reason.TOO_UNCERTAIN,),
        gaps=(
            Gap(
                upper_mmhg=150.0,
                lower_mmhg=122.0,
                upper_low_mmhg=148.0,
                upper_high_mmhg=152.0,
                lower_low_mmhg=120.0,
                lower_high_mmhg=124.0,
                confidence=0.9,
            ),
        ),
        pulse_per_min=71.5,
        rhythm=Rhythm.IRREGULAR,
        beats=(
            Beat(time_s=1.0, cuff_mmhg=190.0, heard=0.99, phase=Phase.K1),
            Beat(time_s=1.875, cuff_mmhg=187.5, heard=0.01, phase=Phase.GAP),
        ),
        lag=Lag(seconds=1.25, low_s=1.0, high_s=1.5, drift_ppm=20.0, estimated=True),
        manometer_mmhg=3.0,
        technique=(
            Finding(
                check="deflation rate",
                state=FindingState.FAULT,
                found="5.1",
                expected="2 to 3",
                unit="mmHg/s",
                source="common practice",
                bias="systolic reads low",
            ),
        ),
        flags=(Flag.SYSTOLIC_NOT_REACHED, Flag.SOUNDS_TO_ZERO, Flag.NOISY, Flag.SILENT_GAP),
        quality=Quality(
            signal_to_noise_db=5.5,
            peak_dbfs=-12.0,
            clipped_share=0.125,
            deflation_mmhg_per_s=2.5,
            deflation_mmhg_per_beat=2.1,
            log_rate_hz=50.0,
        ),
    )


def bare_reading() -> Reading:
    """A reading of which nothing could be read."""
    nothing = Threshold(state=State.UNDETERMINED, reason=Reason.NO_SOUNDS)
    return Reading(
        status=Status.UNREADABLE,
        systolic=nothing,
        diastolic=Diastolic(state=State.UNDETERMINED, reason=Reason.NO_SOUNDS),
        first_silence=nothing,
        muffling=nothing,
        reasons=(Reason.NO_SOUNDS,),
    )


def plain_reading(systolic: float = 128.3, diastolic: float = 81.7) -> Reading:
    """An ordinary reading with both values observed."""
    return Reading(
        status=Status.OK,
        systolic=Threshold(
            state=State.OBSERVED,
            mmhg=systolic,
            low_mmhg=systolic - 4.0,
            high_mmhg=systolic + 3.0,
            confidence=0.98,
            time_s=12.0,
        ),
        diastolic=Diastolic(
            state=State.OBSERVED,
            mmhg=diastolic,
            low_mmhg=diastolic - 2.0,
            high_mmhg=diastolic + 4.0,
            confidence=0.87,
            time_s=31.0,
            k5_mmhg=diastolic,
        ),
        first_silence=Threshold(state=State.OBSERVED, mmhg=diastolic - 2.4),
        muffling=Threshold(state=State.UNDETERMINED, reason=Reason.NO_MUFFLING),
        pulse_per_min=72.3,
        rhythm=Rhythm.REGULAR,
    )
