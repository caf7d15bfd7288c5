"""What is measured of a device's log and clocks, judged by what readings need.

Where a bound marked *measured* comes from stands in :mod:`tapfall.device.checks`.
"""

from __future__ import annotations

from tapfall.bounds import KPA_LIKE_MMHG
from tapfall.device.checks import GOOD, LIMITS, PREVENTS, UNKNOWN, Check, graded, plain
from tapfall.device.facts import DeviceFinding, DeviceLog, DeviceTrial
from tapfall.ear.compose import MASKED_DB
from tapfall.ear.cuff import FASTEST_DEFLATION_MMHG_PER_S, LEAST_FALL_MMHG
from tapfall.ear.flags import NOISY_DB
from tapfall.ear.lag import LARGEST_LAG_S
from tapfall.ear.measurement import REST_MMHG
from tapfall.ear.reader import LEAST_COVER_S
from tapfall.ear.rises import SLOWEST_LOG_HZ

#: Slowest log: at 2.5 mmHg/s rows slower than this lie more than 5 mmHg apart (computed; of 72
#: 62 right at 0.5 Hz, 56 at 0.25, measured).
SLOWEST_USABLE_HZ = 0.5
#: Pressures held for several rows are taken for the slow log that they are: of 72 recordings 72
#: are right at 10 Hz, 71 at 7.5, 68 at 5, 69 at 2, 67 at 1 (measured).
HELD_HZ, HELD_LEAST_HZ = SLOWEST_LOG_HZ, SLOWEST_USABLE_HZ
#: Rows off their time: 71 of 72 right where they come up to 0.1 s late at 20 Hz, 63 up to 0.2,
#: 43 up to 0.4; these jitter by 0.04, 0.08 and 0.11 s (measured).
JITTER_S, JITTER_MOST_S = 0.05, 0.1
#: Rounding: 69 of 72 right at 1 mmHg, 63 at 2, 54 at 8 (measured); above 4 a step is larger
#: than the error that a reading may have (the project's aim).
ROUNDING_MMHG, ROUNDING_MOST_MMHG = 1.0, 4.0
#: Inflation and release that are heard so far at most from the log's times lie within the search
#: for a lag; beyond the second they lie beyond it, although pumping is heard up to a second off
#: (tuned on 266 recordings of two simulators, with clocks within the search; of these and 300
#: others none is heard beyond the second).
HEARD_NEAR_S, HEARD_FAR_S = 1.5, 3.0
#: Drift: 71 of 72 right at 500 ppm, 64 at 1000, 48 at 2000 (measured).
DRIFT_PPM = 500.0


def log_findings(log: DeviceLog) -> tuple[DeviceFinding, ...]:
    """Judge what was measured of the log.

    Parameters
    ----------
    log
        The log.

    Returns
    -------
    tuple of DeviceFinding
        One for each check, always the same ones.
    """
    return (
        _rate(log),
        _renewed(log),
        _even(log),
        *_rows(log),
        _highest(log),
        _rounding(log),
        _pulse(log),
    )


def _log(name: str, unit: str, needed: str) -> Check:
    return Check(part="log", name=name, unit=unit, needed=needed)


def _rate(log: DeviceLog) -> DeviceFinding:
    check = _log("log rate", "rows/s", f"{SLOWEST_LOG_HZ:g} or more")
    value = log.rate_hz
    told = f"The log has {value:g} {'row' if value == 1 else 'rows'} a second"
    if value >= SLOWEST_LOG_HZ:
        return check.found(value, GOOD, f"{told}.")
    if value >= SLOWEST_USABLE_HZ:
        return check.found(value, LIMITS, f"{told}: too few to tell beats by the cuff's pulse.")
    more = f"; less than {SLOWEST_USABLE_HZ:g} leaves more than 5 mmHg between rows"
    return check.found(value, PREVENTS, told + more + ".")


def _renewed(log: DeviceLog) -> DeviceFinding:
    check = _log("pressure renewed", "times/s", f"{HELD_HZ:g} or more, or each row")
    value = log.held_rate_hz
    if value is None:
        if log.highest_mmhg <= REST_MMHG:
            return check.found(None, UNKNOWN, "The cuff was never inflated in this log.")
        return check.found("no step", GOOD, "No sign that rows only repeat the pressure.")
    state = GOOD if value >= HELD_HZ else LIMITS if value >= HELD_LEAST_HZ else PREVENTS
    told = f"The pressure is renewed {value:g} times a second, rows between tell nothing new"
    more = "" if state is GOOD else ": log each new value once, with its own time"
    return check.found(value, state, f"{told}{more}.")


def _even(log: DeviceLog) -> DeviceFinding:
    state = graded(log.jitter_s, JITTER_S, JITTER_MOST_S)
    told = f"Times of rows are within {log.jitter_s:g} s of even ones (95 in 100)"
    more = "" if state is GOOD else ": stamp rows when they are measured, not when they arrive"
    check = _log("jitter of rows", "s", f"{JITTER_S:g} or less")
    return check.found(log.jitter_s, state, f"{told}{more}.")


def _rows(log: DeviceLog) -> tuple[DeviceFinding, ...]:
    count = log.holes
    told = "No hole was found in the log."
    if count:
        which = "1 hole, of" if count == 1 else f"{count} holes, the longest"
        told = f"The log has {which} {log.longest_hole_s:g} s."
    again = f"{log.rows_repeated} of {log.rows + log.rows_repeated} rows repeat the one before."
    return (
        _log("holes in the log", "", "none").found(float(count), LIMITS if count else GOOD, told),
        _log("repeated rows", "", "few; they are dropped").found(
            float(log.rows_repeated), GOOD, again
        ),
    )


def _highest(log: DeviceLog) -> DeviceFinding:
    rest, inflated = KPA_LIKE_MMHG
    check = _log("highest pressure", "mmHg", f"{inflated:g} or more")
    value = log.highest_mmhg
    if value >= inflated:
        return check.found(value, GOOD, f"The highest pressure is {value:g} mmHg.")
    if value < rest:
        told = f"The cuff was never inflated ({value:g} mmHg at most): its unit cannot be told."
        return check.found(value, UNKNOWN, told)
    told = (
        f"The highest pressure is {value:g} mmHg: inflate to {inflated:g} or more, or turn kPa "
        "into mmHg if it is that."
    )
    return check.found(value, LIMITS, told)


def _rounding(log: DeviceLog) -> DeviceFinding:
    check = _log("log rounding", "mmHg", f"{ROUNDING_MMHG:g} or less")
    value = log.rounding_mmhg
    if value is None:
        return check.found(None, UNKNOWN, "The log holds one pressure only: inflate the cuff.")
    state = graded(value, ROUNDING_MMHG, ROUNDING_MOST_MMHG)
    more = "" if state is GOOD else ": finer steps show the pulse and the beat's own pressure"
    return check.found(value, state, f"The smallest step of the log is {value:g} mmHg{more}.")


def _pulse(log: DeviceLog) -> DeviceFinding:
    check = _log("cuff pulse", "mmHg", "visible")
    if log.pulse_seen is None:
        told = (
            "No pulse can be looked for: the log holds no fall slower than "
            f"{FASTEST_DEFLATION_MMHG_PER_S:g} mmHg/s over {LEAST_FALL_MMHG:g} mmHg."
        )
        return check.found(None, UNKNOWN, told)
    if not log.pulse_seen or log.pulse_mmhg is None:
        told = "The heart's pulse does not show on the log: beats are told by their sounds alone."
        return check.found("not visible", LIMITS, told)
    told = f"The heart's pulse shows on the log, {log.pulse_mmhg:g} mmHg high (median)"
    if log.pulse_late_s:
        told += (
            f", smoothed and {log.pulse_late_s:.2f} s late: the manometer or its tube lags, and "
            "what is read while the cuff falls may be a few mmHg too high."
        )
        return check.found(log.pulse_mmhg, LIMITS, told)
    return check.found(log.pulse_mmhg, GOOD, f"{told}.")


def trial_findings(trial: DeviceTrial) -> tuple[DeviceFinding, ...]:
    """Judge the trial reading and the clocks.

    Parameters
    ----------
    trial
        The trial.

    Returns
    -------
    tuple of DeviceFinding
        One for each check, always the same ones.
    """
    return (
        _overlap(trial),
        _reading(trial),
        _ratio(trial),
        _lag(trial),
        _lag_beyond(trial),
        _drift(trial),
    )


def _trial(name: str, unit: str, needed: str) -> Check:
    return Check(part="trial", name=name, unit=unit, needed=needed)


def _overlap(trial: DeviceTrial) -> DeviceFinding:
    state = GOOD if trial.shared_s >= LEAST_COVER_S else PREVENTS
    told = f"Sound and log run together for {trial.shared_s:g} s"
    more = "" if state is GOOD else ": start and stop both with the measurement"
    check = _trial("sound and log shared", "s", f"{LEAST_COVER_S:g} or more")
    return check.found(trial.shared_s, state, f"{told}{more}.")


def _reading(trial: DeviceTrial) -> DeviceFinding:
    check = _trial("trial reading", "", "ok or review")
    if trial.status is None:
        told = "No reading was tried: the log holds no deflation; record a whole measurement."
        return check.found(None, UNKNOWN, told)
    if trial.status != "unreadable":
        return check.found(trial.status, GOOD, f"A reading came of it: {trial.status}.")
    told = f"No reading came of this measurement: {'; '.join(trial.reasons)}."
    return check.found(trial.status, LIMITS, told)


def _ratio(trial: DeviceTrial) -> DeviceFinding:
    check = _trial("sounds over noise", "dB", f"{NOISY_DB:g} or more")
    value = trial.signal_to_noise_db
    if value is None:
        told = "How far sounds stand out of the noise is told only by a measurement."
        return check.found(None, UNKNOWN, told)
    told = f"The loudest sounds lie {value:g} dB above the noise"
    if value >= NOISY_DB:
        return check.found(value, GOOD, f"{told}.")
    state = LIMITS if value >= MASKED_DB else PREVENTS
    return check.found(value, state, f"{told}: weak ones are hidden; shield and press the sensor.")


def _lag(trial: DeviceTrial) -> DeviceFinding:
    check = _trial("lag", "s", f"within {LARGEST_LAG_S:g}, or known")
    if trial.lag_s is None:
        return check.found(None, UNKNOWN, "The lag can be told only where a reading comes of it.")
    side = "late" if trial.lag_s > 0 else "early"
    told = f"The log's times are {abs(trial.lag_s):g} s {side}"
    if trial.lag_s == 0:
        told = "Log and sound keep the same time"
    if not trial.lag_estimated:
        return check.found(trial.lag_s, GOOD, f"{told} (given).")
    within = f"{told}, provided that the clocks are within {LARGEST_LAG_S:g} s of each other"
    off_s = _heard_off_s(trial)
    if off_s is not None and abs(off_s) > HEARD_FAR_S:
        return check.found(trial.lag_s, UNKNOWN, f"{within}; it seems that they are not.")
    if not trial.lag_clear:
        more = "but another lag is as likely, or the clocks run apart"
        return check.found(trial.lag_s, LIMITS, f"{told}, {more}.")
    return check.found(trial.lag_s, GOOD, f"{within}.")


def _heard_off_s(trial: DeviceTrial) -> float | None:
    """How far inflation and release are heard from where the log has them, by the lag given."""
    if trial.heard_lag_s is None:
        return None
    given_s = 0.0 if trial.lag_estimated or trial.lag_s is None else trial.lag_s
    return trial.heard_lag_s - given_s


def _lag_beyond(trial: DeviceTrial) -> DeviceFinding:
    check = _trial(f"lag beyond {LARGEST_LAG_S:g} s", "s", "none, or known")
    off_s = _heard_off_s(trial)
    if off_s is not None and abs(off_s) > HEARD_FAR_S:
        side = "later" if off_s < 0 else "earlier"
        told = (
            f"Inflation and release are heard {abs(off_s):.0f} s {side} than the log has them: "
            "find out by how much its clock is off, and give the lag."
        )
        return check.found(trial.heard_lag_s, LIMITS, told)
    if off_s is not None and abs(off_s) <= HEARD_NEAR_S:
        return check.found("none", GOOD, "Inflation and release are heard where the log has them.")
    if not trial.lag_estimated:
        return check.found("given", GOOD, "The lag was given.")
    told = (
        f"A lag beyond {LARGEST_LAG_S:g} s cannot be told: make sure that the clocks are within "
        f"{LARGEST_LAG_S:g} s of each other, or readings are wrong."
    )
    return check.found(None, UNKNOWN, told)


def _drift(trial: DeviceTrial) -> DeviceFinding:
    check = _trial("drift", "", f"{DRIFT_PPM:g} ppm or less")
    apart_s = trial.longer_s
    side = "longer" if apart_s > 0 else "shorter"
    lengths = f"the log is {abs(apart_s):g} s {side} than the sound"
    if abs(apart_s) > LARGEST_LAG_S:
        told = (
            f"Lengths differ: {lengths}. Had both run together, their clocks would drift by "
            f"{plain(abs(trial.drift_if_together_ppm))} ppm, which no reading bears."
        )
        return check.found("lengths differ", LIMITS, told)
    told = (
        f"Drift cannot be told: {lengths}; had both started and stopped together, "
        f"it would be {plain(trial.drift_if_together_ppm)} ppm."
    )
    return check.found(None, UNKNOWN, told)
