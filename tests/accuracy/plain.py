"""What a short script of general-purpose libraries reads: the alternative in the figures.

Band-pass the sound, let librosa find onsets, take the longest run of onsets a
heartbeat apart, and read the log at its first and last.  It knows no silent
gaps, no noise floor, no pulse on the cuff, and never abstains unless it finds
no run.
"""

from __future__ import annotations

from dataclasses import replace

import librosa
import numpy as np
from scipy import signal

from tapfall.ear.compose import unreadable
from tapfall.model import (
    CuffLog,
    Diastolic,
    Reading,
    Reason,
    Recording,
    Rule,
    Settings,
    State,
    Status,
)
from tapfall.model import Threshold as Value

#: The audible part of the sounds, Hz (facts of the trade: 20-300 Hz; common practice).
BAND_HZ = (30.0, 300.0)
#: Onsets closer than the first are one; those further apart than the second end a run
#: (40 beats a minute; common practice).  Fewest onsets of a run.
SHORTEST_S, LONGEST_S, LEAST_ONSETS = 0.3, 1.5, 3
#: A tap's length, and its least energy against the loudest one's (our choice).
TAP_S, LEAST_ENERGY = 0.08, 0.02
#: The release falls faster than this (the project's definition of a deflation).
FASTEST_MMHG_PER_S = -10.0
#: Rate and hop for librosa: frames of 8 ms.
RATE_HZ, HOP = 4000, 32


def longest_run(onset_s: np.ndarray) -> tuple[float, float] | None:
    """First and last of the longest run of onsets no more than a heartbeat apart.

    Examples
    --------
    >>> longest_run(np.array([1.0, 5.0, 5.8, 6.6, 9.0, 9.7]))
    (5.0, 6.6)
    """
    if onset_s.size < LEAST_ONSETS:
        return None
    breaks = np.flatnonzero(np.diff(onset_s) > LONGEST_S)
    begins = np.concatenate([[0], breaks + 1])
    ends = np.concatenate([breaks, [onset_s.size - 1]])
    best = int(np.argmax(ends - begins))
    first, last = int(begins[best]), int(ends[best])
    if last - first + 1 < LEAST_ONSETS:
        return None
    return float(onset_s[first]), float(onset_s[last])


def falling_s(log: CuffLog) -> tuple[float, float]:
    """From the top of the log to where it falls faster than a deflation does."""
    time_s = np.arange(log.time_s[0], log.time_s[-1], 0.1)
    smooth = signal.savgol_filter(np.interp(time_s, log.time_s, log.pressure_mmhg), 15, 2)
    top = int(np.argmax(smooth))
    fast = np.flatnonzero(np.diff(smooth[top:]) / 0.1 < FASTEST_MMHG_PER_S)
    end = top + int(fast[0]) if fast.size else time_s.size - 1
    return float(time_s[top]), float(time_s[end])


def read_plain(recording: Recording) -> Reading:
    """Read a recording without any of tapfall's own listening.

    Parameters
    ----------
    recording
        Sound and log.

    Returns
    -------
    Reading
        Both pressures at full confidence, or none.
    """
    nothing = unreadable(Reason.NO_SOUNDS, Settings())
    log, rate_hz = recording.cuff, recording.rate_hz
    sos = signal.butter(4, BAND_HZ, "bandpass", fs=rate_hz, output="sos")
    sound = signal.sosfiltfilt(sos, np.asarray(recording.samples, np.float64))
    first, last = (round(t * rate_hz) for t in falling_s(log))
    first = max(first, 0)
    part = signal.resample_poly(sound[first:last], RATE_HZ, round(rate_hz)).astype(np.float32)
    if part.size < RATE_HZ:
        return nothing
    strength = librosa.onset.onset_strength(
        y=part, sr=RATE_HZ, hop_length=HOP, n_fft=256, n_mels=16, fmax=500.0
    )
    onset_s = librosa.onset.onset_detect(
        onset_envelope=strength, sr=RATE_HZ, hop_length=HOP, units="time", delta=0.03
    )
    energy = np.array(
        [np.sum(part[round(t * RATE_HZ) : round((t + TAP_S) * RATE_HZ)] ** 2) for t in onset_s]
    )
    loud_s = onset_s[energy > LEAST_ENERGY * energy.max(initial=0.0)]
    apart = np.diff(loud_s, prepend=-np.inf) > SHORTEST_S
    run = longest_run(loud_s[apart] + first / rate_hz)
    if run is None:
        return nothing
    high, low = np.interp(run, log.time_s, log.pressure_mmhg).tolist()
    seen = {"state": State.OBSERVED, "confidence": 1.0}
    systolic = Value(mmhg=high, low_mmhg=high, high_mmhg=high, **seen)
    diastolic = Diastolic(mmhg=low, low_mmhg=low, high_mmhg=low, rule=Rule.LAST_SOUND, **seen)
    return replace(nothing, status=Status.OK, reasons=(), systolic=systolic, diastolic=diastolic)
