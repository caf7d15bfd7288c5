"""Put a reading together: thresholds, gaps, phases, rhythm, flags, status."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from scipy import signal

from tapfall.ear import verdict
from tapfall.ear.character import Character, character, name_phases
from tapfall.ear.cuff import Deflation
from tapfall.ear.flags import CLIPPED_SHARE, heard_flags
from tapfall.ear.judge import Listening, Nothing
from tapfall.ear.muffling import Muffled, find_muffling
from tapfall.ear.presence import presence
from tapfall.ear.pulses import Pulses
from tapfall.ear.record import Record
from tapfall.ear.rules import breath_silences
from tapfall.ear.thresholds import (
    Told,
    by_rule,
    chance_above,
    diastolic_of,
    gaps_of,
    most_told,
    muffling_of,
    systolic_of,
    tell,
)
from tapfall.model import (
    REVIEW_FLAGS,
    Beat,
    Diastolic,
    Flag,
    FloatArray,
    Gap,
    Lag,
    Phase,
    Quality,
    Reading,
    Reason,
    Rhythm,
    Rule,
    Settings,
    State,
    Status,
    Threshold,
)

#: Probability of a run of Korotkoff sounds below which nothing was heard: a value
#: given to noise is worse than none (tuned on development recordings, each left out of the
#: fit in turn: of those without sounds 1 in 300 comes above, of those with pink noise at
#: 6 dB 1 in 40 lies below).
LEAST_PRESENCE = 0.75
#: The same where only sounds make the clock: whatever they are, they keep step with it
#: (tuned).
LEAST_PRESENCE_BY_SOUNDS = 0.9
#: Least contrast of sounds to the silent beats around them where only sounds make the
#: clock, whatever else speaks for them: real heart sounds that looked like Korotkoff
#: sounds came to 0.3 at most, of simulated Korotkoff sounds 1 in 60 below 1.2 (tuned on both).
LEAST_CONTRAST = 1.2
#: Sounds that are heard below this go on to zero.  By the project's definition they do below
#: 10 mmHg; but they fade on the way, the pulses that make the clock vanish from the log, and
#: nobody's sounds end between 10 and 20 (our choice).
ZERO_MMHG = 20.0
#: Coefficient of variation of expected intervals beyond which a rhythm is
#: irregular (sinus rhythm stays well below, atrial fibrillation above; common practice).
IRREGULAR_VARIATION = 0.12
#: So many early beats in one deflation make a rhythm irregular, however even the others are:
#: one or two happen to anybody (our choice).
MANY_EARLY = 3
#: The upper end of the band of the signal-to-noise ratio (the project's definition: 25 Hz, where
#: the front end cuts, to 250 Hz; what hisses above it hides no Korotkoff sound).
BAND_HZ = 250.0
#: Signal-to-noise ratio below which the weak first and last sounds are surely hidden: of 21
#: readings that could be given from 100 recordings simulated at 0 dB 20 were wrong.  No value is
#: given (tuned: 18 of those lie below, and none of 500 with noise of other kinds at 4 to 6 dB).
MASKED_DB = 2.0


def unreadable(
    reason: Reason, settings: Settings, flags: tuple[Flag, ...] = (), quality: Quality | None = None
) -> Reading:
    """A reading that says why it holds no value.

    Parameters
    ----------
    reason
        Why.
    settings
        What the user chose.
    flags, quality
        What was noticed all the same.

    Returns
    -------
    Reading
        Status ``unreadable``, every threshold undetermined for that reason.
    """
    missing = Threshold(state=State.UNDETERMINED, reason=reason)
    return Reading(
        status=Status.UNREADABLE,
        reasons=(reason,),
        systolic=missing,
        diastolic=Diastolic(state=State.UNDETERMINED, reason=reason, rule=Rule(settings.diastolic)),
        first_silence=missing,
        muffling=missing,
        manometer_mmhg=settings.manometer_mmhg,
        flags=flags,
        quality=quality or Quality(),
    )


def why_nothing(nothing: Nothing) -> Reason:
    """Whether silence, or a sound that comes with every beat whatever the cuff does."""
    return Reason.UNCHANGED_BY_CUFF if nothing.unchanged else Reason.NO_SOUNDS


def _sounds_everywhere(listening: Listening) -> bool:
    """Whether a clock made of sounds finds them above and below those that were heard, too."""
    return listening.contrast_nats is not None and listening.contrast_nats < LEAST_CONTRAST


def _breath_dependent(told: Told) -> list[float]:
    """Pressures of silences that come and go with the breath, near a threshold."""
    ruled = told.ruled
    alternating = (ruled.alternating_first | ruled.alternating_last).mean() >= 0.5
    if alternating or (ruled.first < 0).any():
        return []
    first, last = int(np.median(ruled.first)), int(np.median(ruled.last))
    sounds = told.listening.evidence.log_odds[told.beats] > 0
    silences = breath_silences(sounds, told.cuff_mmhg, told.onset_s, first, last)
    return [float(told.cuff_mmhg[begin]) for begin in silences]


def _typical_s(interval_s: FloatArray) -> float:
    """Typical interval: in bigeminy neither the short nor the long one, but their mean."""
    if interval_s.size < 2:
        return float(np.median(interval_s))
    return float(np.median(0.5 * (interval_s[1:] + interval_s[:-1])))


def _rhythm(told: Told, listening: Listening) -> Rhythm:
    """Regular, irregular or alternating, from intervals of expected beats."""
    ruled = told.ruled
    if (ruled.alternating_first | ruled.alternating_last).mean() >= 0.5:
        return Rhythm.ALTERNATING
    times = listening.expected.reference_s
    if not listening.anchored:
        times = listening.onset_s[listening.story.heard > 0.5]
    interval = np.diff(times)
    if interval.size < 5:
        return Rhythm.UNKNOWN
    interval = interval[interval < 1.7 * _typical_s(interval)]
    # Beat to beat, so that breathing and drift do not count.
    change = np.abs(np.diff(interval))
    uneven = float(np.mean(change)) / float(np.mean(interval)) > IRREGULAR_VARIATION
    early = listening.anchored and listening.onset_s.size - told.beats.size >= MANY_EARLY
    return Rhythm.IRREGULAR if uneven or early else Rhythm.REGULAR


@lru_cache(maxsize=8)
def _low_pass(rate_hz: float) -> FloatArray:
    """What keeps of the sound the band that its signal-to-noise ratio is defined in."""
    return np.asarray(signal.butter(4, BAND_HZ, fs=rate_hz, output="sos"))


def _quality(record: Record, deflation: Deflation, listening: Listening, told: Told) -> Quality:
    """Levels over the deflation; the ratio in the band of Korotkoff sounds."""
    white = listening.white
    onset = listening.onset_s[listening.story.heard > 0.5]
    sound, start_s = record.between(
        white.start_s, white.start_s + white.samples.size / record.rate_hz
    )
    size = round(0.06 * record.rate_hz)
    low = signal.sosfilt(_low_pass(record.rate_hz), sound)
    total = np.concatenate([[0.0], np.cumsum(low**2)])
    energy = (total[size:] - total[:-size]) / size
    noise = float(np.median(energy[:: max(1, size // 2)])) + 1e-16
    ratio = None
    if onset.size:
        index = np.clip(
            np.rint((onset - 0.01 - start_s) * record.rate_hz).astype(np.intp), 0, energy.size - 1
        )
        loud = float(np.quantile(energy[index], 0.9))
        ratio = round(10 * float(np.log10(max(loud - noise, 1e-16) / noise)), 1)
    first = max(0, round((white.start_s - record.start_s) * record.rate_hz))
    clipped = record.clipped[first : first + white.samples.size]
    step = np.abs(np.diff(told.cuff_mmhg))
    return Quality(
        signal_to_noise_db=ratio,
        peak_dbfs=round(20 * float(np.log10(np.abs(sound).max() + 1e-9)), 1),
        clipped_share=round(float(clipped.mean()) if clipped.size else 0.0, 5),
        deflation_mmhg_per_s=round(deflation.rate_mmhg_per_s, 2),
        deflation_mmhg_per_beat=round(float(np.median(step)), 2) if step.size else None,
        log_rate_hz=round(deflation.log_rate_hz, 2),
    )


def compose(
    record: Record,
    deflation: Deflation,
    pulses: Pulses,
    listening: Listening,
    settings: Settings,
    noticed: tuple[Flag, ...],
) -> Reading:
    """Compose the reading of one deflation.

    Parameters
    ----------
    record, deflation, pulses, listening
        What was recorded, what the log showed, what was heard.
    settings
        What the user chose.
    noticed
        Flags raised before listening.

    Returns
    -------
    Reading
        With status, reasons and flags.
    """
    lag_error_s = listening.lag.error_s if listening.lag.clear else 0.8
    told = tell(listening, deflation, lag_error_s)
    quality = _quality(record, deflation, listening, told)
    told = replace(
        told,
        signal_to_noise_db=quality.signal_to_noise_db,
        clipped_share=quality.clipped_share,
        sounds_above=chance_above(told, pulses),
    )
    flags = list(noticed)
    if quality.clipped_share >= CLIPPED_SHARE:
        flags.append(Flag.AUDIO_CLIPPED)
    ruled = told.ruled
    present = presence(listening)
    from_top = not ruled.systolic_seen.mean() >= 0.5
    to_end = not ruled.diastolic_seen.mean() >= 0.5
    needed = LEAST_PRESENCE if listening.anchored else LEAST_PRESENCE_BY_SOUNDS
    if _sounds_everywhere(listening) or present < needed or (ruled.first < 0).mean() > 0.5:
        return unreadable(why_nothing(listening.nothing), settings, tuple(flags), quality)
    last_sound = int(np.median(ruled.last[ruled.last >= 0]))
    to_zero = float(told.cuff_mmhg[last_sound]) < ZERO_MMHG
    ratio = quality.signal_to_noise_db
    if ratio is not None and ratio < MASKED_DB:
        return unreadable(Reason.NOISE_HIDES, settings, (*flags, Flag.NOISY), quality)
    if from_top and to_end and not to_zero:
        return unreadable(Reason.UNCHANGED_BY_CUFF, settings, tuple(flags), quality)
    systolic = systolic_of(told, present)
    last, silence = diastolic_of(told, present)
    breath = _breath_dependent(told)
    gaps = tuple(
        gap
        for gap in gaps_of(told, present)
        if not any(gap.lower_mmhg <= at <= gap.upper_mmhg for at in breath)
    )
    sounds = np.flatnonzero(most_told(told))
    found = character(record, told.onset_s)
    muffled = find_muffling(found, sounds, told.cuff_mmhg[sounds])
    if muffled is not None and float(told.cuff_mmhg[sounds[muffled.index]]) < ZERO_MMHG:
        muffled = None  # sounds that fade on their way to zero; nobody's diastolic lies there
    muffling = muffling_of(told, sounds, muffled)
    diastolic = by_rule(settings.diastolic, last, silence, muffling, to_zero)
    if to_zero:
        silence = Threshold(state=State.NOT_REACHED, reason=Reason.SOUNDS_TO_END)
    flags += heard_flags(told, pulses, systolic, diastolic, gaps, quality, to_zero)
    rhythm = _rhythm(told, listening)
    if rhythm is Rhythm.ALTERNATING:
        flags.append(Flag.ALTERNATING)
    elif rhythm is Rhythm.IRREGULAR:
        flags.append(Flag.IRREGULAR_RHYTHM)
    if breath and rhythm is not Rhythm.ALTERNATING:
        flags.append(Flag.BREATH_DEPENDENT_SOUNDS)
    ordered = tuple(flag for flag in Flag if flag in set(flags))
    reasons = tuple(dict.fromkeys(t.reason for t in (systolic, diastolic) if t.reason is not None))
    states = {systolic.state, diastolic.state}
    if states == {State.UNDETERMINED}:
        status = Status.UNREADABLE
    elif states == {State.OBSERVED} and not REVIEW_FLAGS.intersection(ordered):
        status = Status.OK
    else:
        status = Status.REVIEW
    interval = np.diff(told.onset_s if not listening.anchored else listening.expected.reference_s)
    lag = listening.lag
    return Reading(
        status=status,
        reasons=reasons,
        systolic=systolic,
        diastolic=diastolic,
        first_silence=silence,
        muffling=muffling,
        gaps=gaps,
        pulse_per_min=round(60.0 / _typical_s(interval), 1),
        rhythm=rhythm,
        beats=_beats(listening, told, found, sounds, muffled, gaps, present),
        lag=Lag(
            seconds=round(lag.seconds, 3),
            low_s=round(lag.seconds - 2 * lag_error_s, 3),
            high_s=round(lag.seconds + 2 * lag_error_s, 3),
            drift_ppm=None,
            estimated=settings.lag_s is None,
        ),
        manometer_mmhg=settings.manometer_mmhg,
        flags=ordered,
        quality=quality,
    )


def _beats(
    listening: Listening,
    told: Told,
    found: Character,
    sounds: np.ndarray,
    muffled: Muffled | None,
    gaps: tuple[Gap, ...],
    present: float,
) -> tuple[Beat, ...]:
    """Every beat of the deflation with its phase, ectopic ones included."""
    phases = dict.fromkeys(told.beats.tolist(), Phase.SILENT)
    named = name_phases(found, sounds, None if muffled is None else muffled.index)
    for sound, phase in zip(told.beats[sounds].tolist(), named, strict=True):
        phases[sound] = phase
    beats: list[Beat] = []
    last = Phase.SILENT
    for i in range(listening.onset_s.size):
        heard = float(listening.story.heard[i]) * present
        cuff = float(listening.cuff_mmhg[i])
        phase = phases.get(i, last if heard >= 0.5 else Phase.SILENT)
        if phase is Phase.SILENT and any(g.lower_mmhg < cuff < g.upper_mmhg for g in gaps):
            phase = Phase.GAP
        elif phase is not Phase.SILENT:
            last = phase
        beats.append(
            Beat(
                time_s=round(float(listening.onset_s[i]), 3),
                cuff_mmhg=verdict.rounded(cuff),
                heard=round(heard, 4),
                phase=phase,
            )
        )
    return tuple(beats)
