"""What is measured of a device's sound, judged by what readings need.

Where a bound marked *measured* comes from stands in :mod:`tapfall.device.checks`.
"""

from __future__ import annotations

from tapfall.bounds import LOWEST_RATE_HZ
from tapfall.device.checks import GOOD, LIMITS, PREVENTS, UNKNOWN, Check, graded, plain
from tapfall.device.facts import DeviceFinding, DeviceSound, DeviceTrial, Gain
from tapfall.device.gain import LEAST_S
from tapfall.ear.compose import MASKED_DB
from tapfall.ear.flags import NOISY_DB
from tapfall.ear.holes import DEAD_S

#: Loudest sounds over 60 ms in 25-250 Hz lie so far below their own peak (measured: median of
#: 16 people, -13 to -18 dB): what a sound that just fills the scale has.
FULL_SOUND_DBFS = -15.0
#: Largest share of clipped samples: a reading is flagged from the first on; 62 right of 72 at
#: 3 %, 53 at 10 % (measured).
CLIPPED_LIMIT, CLIPPED_MOST = 1e-3, 0.1
#: Steps of the samples that the loudest sound has: of 24, 24 right with 30, 22 with 10, 16 with
#: 5 (measured).
FINE_STEPS, FEWEST_STEPS = 30.0, 10.0
#: Low end as it is found: of 72, 71 right with 60 Hz, 69 with 84, 66 with 112, 56 with 150
#: (measured; high-passes of sixth order at 80, 110, 150 and 200 Hz).
LOW_END_HZ, HIGHEST_LOW_END_HZ = 75.0, 135.0
#: High end as it is told to be wanted, and where a low-pass begins: 72 of 72 right up to 200 Hz,
#: 70 up to 150 and 110 (measured).
WHOLE_HZ, HIGH_END_HZ = 250.0, 200.0
#: Upper edge of what a filter leaves: of 24, 24 right with 112 Hz, 22 with 84, 18 with 67, 13 with
#: 56 (measured; low-passes of eighth order at 80, 60, 50 and 40 Hz).
LOWEST_EDGE_HZ = 75.0
#: An offset takes a decibel of the scale from here on (computed).
OFFSET_SHARE = 0.11
#: Hum over the rest of the noise: 69 of 72 right at 3 dB, 54 at 10 (measured), where it left
#: the sounds so far above all noise.
HUM_DB, HUM_MOST_DB, HUM_SAFE_DB = 3.0, 10.0, 16.0
#: Share of the sound lost or repeated: of 24, 22 right at 2 %, 19 at 15 % (measured).
LOST_LIMIT, LOST_MOST = 0.02, 0.15


def _sound(name: str, unit: str, needed: str) -> Check:
    return Check(part="sound", name=name, unit=unit, needed=needed)


def sound_findings(sound: DeviceSound, trial: DeviceTrial) -> tuple[DeviceFinding, ...]:
    """Judge what was measured of the sound.

    Parameters
    ----------
    sound
        The sound.
    trial
        The trial reading: it tells how far sounds stand out of the noise.

    Returns
    -------
    tuple of DeviceFinding
        One for each check, always the same ones.
    """
    return (
        *_levels(sound),
        _noise(sound),
        _resolution(sound, trial),
        *_clipping(sound),
        _gain(sound),
        *_band(sound),
        _offset(sound),
        _hum(sound, trial),
        _lost(sound),
        _repeated(sound),
    )


def _levels(sound: DeviceSound) -> tuple[DeviceFinding, ...]:
    rate = _sound("sampling rate", "Hz", f"{LOWEST_RATE_HZ:g} or more").found(
        sound.rate_hz, GOOD, f"The sound is sampled at {sound.rate_hz:g} Hz."
    )
    enough = sound.length_s >= LEAST_S
    looked = f" (the first {sound.heard_s:g} s were looked at)"
    length = _sound("length", "s", f"{LEAST_S:g} for every check").found(
        sound.length_s,
        GOOD if enough else UNKNOWN,
        f"The sound lasts {sound.length_s:g} s"
        + (looked if sound.heard_s < sound.length_s else "")
        + ("." if enough else "; a longer recording tells more."),
    )
    rows = [rate, length]
    for name, value in (
        ("rms level", sound.rms_dbfs),
        ("peak level", sound.peak_dbfs),
        ("rms in 25-250 Hz", sound.band_rms_dbfs),
        ("peak in 25-250 Hz", sound.band_peak_dbfs),
    ):
        check = _sound(name, "dBFS", "a sound that varies")
        if value is None:
            rows.append(check.found("none", PREVENTS, f"There is no sound at all: {name} is zero."))
        else:
            rows.append(check.found(value, GOOD, f"The {name} is {value:g} dBFS."))
    return tuple(rows)


def _noise(sound: DeviceSound) -> DeviceFinding:
    least, most = FULL_SOUND_DBFS - NOISY_DB, FULL_SOUND_DBFS - MASKED_DB
    check = _sound("background noise", "dBFS", f"{least:g} or less")
    value = sound.band_noise_dbfs
    if value is None:
        return check.found(None, UNKNOWN, "No background noise was found in 25-250 Hz.")
    state = graded(value, least, most)
    told = f"The background noise in 25-250 Hz is {value:g} dBFS"
    more = "" if state is GOOD else ": it hides weak sounds even where loud ones fill the scale"
    return check.found(value, state, f"{told}{more}.")


def _resolution(sound: DeviceSound, trial: DeviceTrial) -> DeviceFinding:
    check = _sound("loudest, in steps", "", f"{FINE_STEPS:g} or more")
    if sound.step_dbfs is None or sound.band_peak_dbfs is None:
        return check.found(None, UNKNOWN, "The samples' steps cannot be told.")
    steps = float(f"{10 ** ((sound.band_peak_dbfs - sound.step_dbfs) / 20):.3g}")
    if steps >= FINE_STEPS:
        told = f"The loudest sound spans {plain(steps)} steps of the samples."
        return check.found(steps, GOOD, told)
    told = f"The loudest sound spans only {steps:g} steps of the samples: raise the gain"
    if trial.status is None:
        return check.found(steps, UNKNOWN, f"{told}, if there were sounds to be heard.")
    return check.found(steps, LIMITS if steps >= FEWEST_STEPS else PREVENTS, f"{told}.")


def _clipping(sound: DeviceSound) -> tuple[DeviceFinding, ...]:
    rows = []
    allowed = f"{100 * CLIPPED_LIMIT:g} or less"
    for name, share, where in (
        ("clipped at full scale", sound.full_scale_share, "at full scale"),
        ("flat below full scale", sound.flat_top_share, "below full scale"),
    ):
        check = _sound(name, "%", allowed)
        if share is None:
            rows.append(check.found(None, UNKNOWN, "The samples are too coarse to tell a ceiling."))
            continue
        state = graded(share, CLIPPED_LIMIT, CLIPPED_MOST)
        level = "" if sound.flat_top_dbfs is None else f", at {sound.flat_top_dbfs:g} dBFS"
        at = level if where == "below full scale" else ""
        told = f"{100 * share:.3g} % of the samples are clipped {where}{at}"
        more = "" if state is GOOD else ": lower the gain before the clipping stage"
        rows.append(check.found(float(f"{100 * share:.3g}"), state, f"{told}{more}."))
    return tuple(rows)


def _gain(sound: DeviceSound) -> DeviceFinding:
    check = _sound("automatic gain", "", "not seen")
    swing = sound.gain_swing_db
    if sound.gain is Gain.SEEN:
        told = (
            f"An automatic gain was seen: the noise sinks by {swing:g} dB after loud sounds; "
            "turn it off, for levels of sounds cannot be compared."
        )
        return check.found(str(sound.gain), LIMITS, told)
    if sound.gain is Gain.NOT_SEEN:
        return check.found(str(sound.gain), GOOD, "The noise keeps its level after loud sounds.")
    told = "Whether a gain follows the loudness cannot be told: record taps, with quiet between."
    return check.found(str(sound.gain), UNKNOWN, told)


def _band(sound: DeviceSound) -> tuple[DeviceFinding, ...]:
    return _low_end(sound), _upper_edge(sound), _filter(sound)


def _low_end(sound: DeviceSound) -> DeviceFinding:
    check = _sound("low end", "Hz", f"{LOW_END_HZ:g} or lower")
    low = sound.lower_edge_hz
    if low is None:
        return check.found(None, UNKNOWN, "The sound is too short to tell its low end.")
    told = f"What lies below {low:g} Hz is cut off" if low else "The low end is whole from 25 Hz"
    return check.found(
        low or "25 Hz or lower", graded(low, LOW_END_HZ, HIGHEST_LOW_END_HZ), f"{told}."
    )


def _upper_edge(sound: DeviceSound) -> DeviceFinding:
    check = _sound("upper edge", "Hz", f"{WHOLE_HZ:g} or higher")
    high = sound.upper_edge_hz
    if high is None:
        return check.found(None, UNKNOWN, "The spectrum shows no end: it is flat, or too short.")
    if high >= sound.rate_hz / 2:
        return check.found(high, GOOD, "The spectrum goes on to half the sampling rate.")
    told = f"Above {high:g} Hz there is hardly any sound, or only a flat floor"
    if high >= WHOLE_HZ:
        return check.found(high, GOOD, f"{told}.")
    if sound.cut_hz is None or sound.cut_hz > high:
        more = ": no more came, or it was lost; tap the chest piece."
        return check.found(high, UNKNOWN, told + more)
    return check.found(high, LIMITS if high >= LOWEST_EDGE_HZ else PREVENTS, f"{told}.")


def _filter(sound: DeviceSound) -> DeviceFinding:
    check = _sound("cut by a filter", "Hz", f"none below {HIGH_END_HZ:g}")
    at, high = sound.cut_hz, sound.upper_edge_hz
    if at is not None:
        told = f"From {at:g} Hz on the sound is low-pass filtered, or was sampled at a lower rate."
        return check.found(at, GOOD if at >= HIGH_END_HZ else LIMITS, told)
    if sound.lower_edge_hz is None:
        return check.found(None, UNKNOWN, "The sound is too short to tell a filter.")
    if high is not None and high < WHOLE_HZ:
        told = f"No filter can be told where there is hardly any sound above {high:g} Hz."
        return check.found(None, UNKNOWN, told)
    return check.found("none", GOOD, "No steep low-pass filter was found.")


def _offset(sound: DeviceSound) -> DeviceFinding:
    value = round(100 * sound.offset_share, 2) + 0.0
    state = GOOD if abs(sound.offset_share) <= OFFSET_SHARE else LIMITS
    told = f"The samples' mean is {value:g} % of full scale"
    more = "" if state is GOOD else ": the offset takes room from the sounds"
    needed = f"within {100 * OFFSET_SHARE:g}"
    return _sound("offset", "%", needed).found(value, state, f"{told}{more}.")


def _hum(sound: DeviceSound, trial: DeviceTrial) -> DeviceFinding:
    check = _sound("mains hum over noise", "dB", f"{HUM_DB:g} or less")
    if not sound.hum_told:
        return check.found(None, UNKNOWN, "The sound is too short or silent to look for hum.")
    over = sound.hum_over_noise_db
    if over is None or sound.hum_hz is None:
        return check.found("none", GOOD, "No mains hum was found.")
    told = f"Mains hum of {sound.hum_hz:g} Hz lies {over:g} dB over the other noise"
    if over <= HUM_DB:
        return check.found(over, GOOD, f"{told}.")
    ratio = trial.signal_to_noise_db
    drowned = over >= HUM_MOST_DB and ratio is not None and ratio < HUM_SAFE_DB
    hides = " and hides the first and last sounds, also where a reading comes" if drowned else ""
    more = ": shield the sensor, or run it from a battery."
    return check.found(over, PREVENTS if drowned else LIMITS, told + hides + more)


def _lost(sound: DeviceSound) -> DeviceFinding:
    check = _sound("dead stretches", "", f"none of {DEAD_S:g} s")
    if sound.dead_count == 0:
        return check.found(0.0, GOOD, "No stretch of the sound is dead.")
    share = sound.dead_s / sound.heard_s
    state = graded(share, LOST_LIMIT, LOST_MOST)
    if sound.longest_dead_s >= DEAD_S and state is GOOD:
        state = LIMITS
    told = (
        f"One value is held in {sound.dead_count} stretches, {sound.dead_s:g} s in sum, "
        f"the longest {sound.longest_dead_s:g} s"
        if sound.dead_count > 1
        else f"One value is held for {sound.dead_s:g} s"
    )
    more = "" if state is GOOD else ": the driver loses sound, or a gate shuts it off"
    return check.found(float(sound.dead_count), state, f"{told}{more}.")


def _repeated(sound: DeviceSound) -> DeviceFinding:
    check = _sound("repeated blocks", "", f"{100 * LOST_LIMIT:g} % of it or less")
    if sound.repeats is None or sound.repeated_s is None:
        told = "Repeated blocks cannot be told: the samples are coarse, or the sound periodic."
        return check.found(None, UNKNOWN, told)
    if sound.repeats == 0:
        return check.found(0.0, GOOD, "No block of samples comes twice.")
    state = graded(sound.repeated_s / sound.heard_s, LOST_LIMIT, LOST_MOST)
    told = f"{sound.repeats} blocks of samples come twice, {sound.repeated_s:g} s in sum"
    if sound.repeats == 1:
        told = f"One block of samples comes twice, of {sound.repeated_s:g} s"
    more = "" if state is GOOD else ": the driver plays its buffers again"
    return check.found(float(sound.repeats), state, f"{told}{more}.")
