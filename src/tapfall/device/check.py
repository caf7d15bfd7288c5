"""Whether readings are possible with a device, told from a short recording made with it.

What is measured of sound and log stands in :mod:`tapfall.device.facts`; what
it means for readings in :mod:`tapfall.device.sound_verdicts` and
:mod:`tapfall.device.log_verdicts`, with the reason for each bound.  A recording
with a measurement in it tells more: the pulse on the log, the lag of the clocks,
and whether a reading comes of it.
"""

from __future__ import annotations

from tapfall.device.facts import (
    DeviceLog,
    DeviceReport,
    DeviceSound,
    DeviceState,
    DeviceTrial,
    Verdict,
)
from tapfall.device.heard_lag import heard_lag
from tapfall.device.log import measure_log
from tapfall.device.log_verdicts import log_findings, trial_findings
from tapfall.device.sound import measure_sound
from tapfall.device.sound_verdicts import sound_findings
from tapfall.ear.settings import check_settings
from tapfall.ear.taking import take_reading
from tapfall.model import REASON_SENTENCES, CuffLog, Flag, Recording, Settings


def check_device(recording: Recording, *, lag_s: float | None = None) -> DeviceReport:
    """Tell from a recording whether readings are possible with its device.

    Parameters
    ----------
    recording
        A few seconds to minutes of sound and cuff log; samples of shape ``(n,)``.
        Of the sound the first 300 s are looked at.  12 s or more tell everything
        about the sound; a whole measurement tells pulse and lag.
    lag_s
        Log time minus audio time in seconds, if it is known, -60 to 60.

    Returns
    -------
    DeviceReport
        The verdict, why, each finding, and all that was measured.

    Raises
    ------
    AudioError
        If the rate is below 1000 Hz, there are no samples, or one is not finite.
    CuffLogError
        If the log has fewer than two rows, or rows that cannot be used.
    SettingError
        If the lag is outside its range.
    MisuseError
        If arrays have other shapes or types.

    Examples
    --------
    >>> import numpy as np
    >>> from tapfall.model import CuffLog
    >>> noise = 0.01 * np.random.default_rng(1).standard_normal(80_000)
    >>> rest = CuffLog(time_s=np.arange(0, 20, 0.05), pressure_mmhg=np.zeros(400))
    >>> report = check_device(Recording(samples=noise, rate_hz=4000.0, cuff=rest))
    >>> print(report.verdict, report.finding("log rate").found)
    not told 20.0
    >>> report.untold[-4:]
    ('sounds over noise', 'lag', 'lag beyond 2 s', 'drift')
    """
    settings = check_settings(Settings(lag_s=lag_s))
    sound = measure_sound(recording.samples, recording.rate_hz)
    log = measure_log(recording.cuff)
    trial = _trial(recording, settings, sound, log)
    findings = (
        *sound_findings(sound, trial),
        *log_findings(log),
        *trial_findings(trial),
    )
    prevented = [one for one in findings if one.state is DeviceState.PREVENTS]
    limited = [one for one in findings if one.state is DeviceState.LIMITS]
    return DeviceReport(
        verdict=_verdict(trial, prevented=bool(prevented), limited=bool(limited)),
        why=tuple(one.sentence for one in (*prevented, *limited)),
        untold=tuple(one.check for one in findings if one.state is DeviceState.UNKNOWN),
        findings=findings,
        sound=sound,
        log=log,
        trial=trial,
    )


def _verdict(trial: DeviceTrial, *, prevented: bool, limited: bool) -> Verdict:
    if prevented:
        return Verdict.NOT_POSSIBLE
    if limited:
        return Verdict.LIMITED
    return Verdict.NOT_TOLD if trial.status is None else Verdict.POSSIBLE


def _trial(
    recording: Recording, settings: Settings, sound: DeviceSound, log: DeviceLog
) -> DeviceTrial:
    """Take a reading where the log holds a deflation, and compare the two lengths."""
    given_s = settings.lag_s or 0.0
    shared_s = min(sound.length_s, log.last_s - given_s) - max(0.0, log.first_s - given_s)
    longer_s = log.last_s - log.first_s + 1.0 / log.rate_hz - sound.length_s
    reading = None if log.falls_mmhg is None else take_reading(recording, settings)
    lag = None if reading is None else reading.lag
    known = CuffLog(
        time_s=recording.cuff.time_s - given_s, pressure_mmhg=recording.cuff.pressure_mmhg
    )
    heard_s = heard_lag(recording.samples, recording.rate_hz, known)
    return DeviceTrial(
        status=None if reading is None else str(reading.status),
        reasons=() if reading is None else tuple(REASON_SENTENCES[one] for one in reading.reasons),
        signal_to_noise_db=None if reading is None else reading.quality.signal_to_noise_db,
        lag_s=settings.lag_s if lag is None else lag.seconds,
        lag_low_s=None if lag is None else lag.low_s,
        lag_high_s=None if lag is None else lag.high_s,
        lag_estimated=settings.lag_s is None,
        lag_clear=reading is None or Flag.LAG_UNCERTAIN not in reading.flags,
        heard_lag_s=None if heard_s is None else round(heard_s + given_s, 1) + 0.0,
        shared_s=round(max(shared_s, 0.0), 3),
        longer_s=round(longer_s, 3),
        drift_if_together_ppm=float(
            round(1e6 * longer_s * recording.rate_hz / max(len(recording.samples), 1))
        ),
    )
