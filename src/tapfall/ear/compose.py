"""Put a reading together: values, rhythm, flags, status, beats with their phases."""

from __future__ import annotations

import numpy as np

from tapfall.ear import verdict
from tapfall.ear.character import name_phases
from tapfall.ear.flags import CLIPPED_SHARE, heard_flags, in_order, rhythm_flags
from tapfall.ear.judge import Listening, Nothing
from tapfall.ear.pulses import Pulses
from tapfall.ear.record import Record
from tapfall.ear.rhythm import IRREGULAR_VARIATION, typical_s
from tapfall.ear.told import Told
from tapfall.ear.values import Values, find_values
from tapfall.ear.weighed import Weighed
from tapfall.model import (
    REVIEW_FLAGS,
    Beat,
    Diastolic,
    Flag,
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
#: From here on there are likelier sounds than none: that none were found would be wrong to say.
LIKELY_PRESENCE = 0.5
#: Fewest sounds that are a run (our choice).
LEAST_SOUNDS = 4
#: Least contrast of sounds to the silent beats around them where only sounds make the
#: clock, whatever else speaks for them: of 35 real recordings of heart sounds one comes to 2.2, all
#: others to 1.4 at most, of simulated Korotkoff sounds in 6 dB of noise 1 in 60 lies below 2.
LEAST_CONTRAST = 2.0
#: So many early beats in one deflation make a rhythm irregular, however even the others are:
#: one or two happen to anybody (our choice).
MANY_EARLY = 3
#: Signal-to-noise ratio below which the weak first and last sounds are surely hidden: of 204
#: values that could be given from 400 recordings simulated at 0 dB 153 were wrong.  No value is
#: given (tuned: 143 of those lie below, and 2 of 741 recordings with noises other than hum at 4 to
#: 8 dB).
MASKED_DB = 2.8


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
    """Too few beats, silence, or a sound that comes with every beat whatever the cuff does."""
    if nothing.few_beats:
        return Reason.TOO_FEW_BEATS
    return Reason.UNCHANGED_BY_CUFF if nothing.unchanged else Reason.NO_SOUNDS


def _sounds_everywhere(listening: Listening) -> bool:
    """Whether a clock made of sounds finds them above and below those that were heard, too."""
    return listening.contrast_nats is not None and listening.contrast_nats < LEAST_CONTRAST


def _refusal(weighed: Weighed) -> Reason | None:
    """Why no value can be told; what is promised already needs no more sounds to be told."""
    listening = weighed.listening
    if _sounds_everywhere(listening) or (weighed.told.ruled.first < 0).mean() > 0.5:
        return why_nothing(listening.nothing)
    needed = LEAST_PRESENCE if listening.anchored else LEAST_PRESENCE_BY_SOUNDS
    if weighed.promise >= needed:
        return None
    if weighed.present < needed:
        why = why_nothing(listening.nothing)
        likely = weighed.present >= LIKELY_PRESENCE and why is Reason.NO_SOUNDS
        return Reason.DOUBTFUL_SOUNDS if likely else why
    if (listening.story.heard > 0.5).sum() < LEAST_SOUNDS:
        return Reason.TOO_FEW_SOUNDS
    return Reason.NOISE_HIDES if weighed.told.hidden(MASKED_DB) else None


def _rhythm(told: Told) -> Rhythm:
    """Regular, irregular or alternating, from intervals of expected beats."""
    if told.alternating:
        return Rhythm.ALTERNATING
    uneven, listening = told.uneven, told.listening
    if uneven is None:
        return Rhythm.UNKNOWN
    early = listening.anchored and listening.onset_s.size - told.beats.size >= MANY_EARLY
    return Rhythm.IRREGULAR if uneven > IRREGULAR_VARIATION or early else Rhythm.REGULAR


def compose(
    record: Record,
    pulses: Pulses,
    weighed: Weighed,
    settings: Settings,
    noticed: tuple[Flag, ...],
) -> Reading:
    """Compose the reading of one deflation.

    Parameters
    ----------
    record, pulses, weighed
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
    told, quality, listening = weighed.told, weighed.quality, weighed.listening
    flags = set(noticed)
    if quality.clipped_share >= CLIPPED_SHARE:
        flags.add(Flag.AUDIO_CLIPPED)
    if told.lost_s:
        flags.add(Flag.AUDIO_DROPOUT)
    refusal = _refusal(weighed)
    if refusal is not None:
        noisy = {Flag.NOISY} if refusal is Reason.NOISE_HIDES else set()
        return unreadable(refusal, settings, in_order(flags | noisy), quality)
    # What will hold at the end is there, however little of it has been heard so far.
    present = max(weighed.present, weighed.promise)
    values = find_values(record, told, present, Rule(settings.diastolic))
    if _from_top_to_end(told) and not values.to_zero:
        return unreadable(Reason.UNCHANGED_BY_CUFF, settings, in_order(flags), quality)
    rhythm = _rhythm(told)
    flags |= heard_flags(told, pulses, values, quality) | rhythm_flags(rhythm, values.breath)
    ends = (values.systolic, values.diastolic)
    interval = np.diff(told.onset_s if not listening.anchored else listening.expected.reference_s)
    return Reading(
        status=_status(ends, flags),
        reasons=tuple(dict.fromkeys(one.reason for one in ends if one.reason is not None)),
        systolic=values.systolic,
        diastolic=values.diastolic,
        first_silence=values.first_silence,
        muffling=values.muffling,
        gaps=values.gaps,
        pulse_per_min=round(60.0 / typical_s(interval), 1),
        rhythm=rhythm,
        beats=_beats(told, values, present),
        lag=_lag(listening, estimated=settings.lag_s is None),
        manometer_mmhg=settings.manometer_mmhg,
        flags=in_order(flags),
        quality=quality,
    )


def _from_top_to_end(told: Told) -> bool:
    """Whether the sounds neither begin nor end within the deflation."""
    ruled = told.ruled
    return bool(ruled.systolic_seen.mean() < 0.5 and ruled.diastolic_seen.mean() < 0.5)


def _status(ends: tuple[Threshold, Threshold], flags: set[Flag]) -> Status:
    """What both thresholds and the flags make of a reading."""
    states = {one.state for one in ends}
    if states == {State.UNDETERMINED}:
        return Status.UNREADABLE
    return Status.OK if states == {State.OBSERVED} and not REVIEW_FLAGS & flags else Status.REVIEW


def _lag(listening: Listening, *, estimated: bool) -> Lag:
    """The lag of a listening as it is told."""
    lag = listening.lag
    return Lag(
        seconds=round(lag.seconds, 3),
        low_s=round(lag.seconds - 2 * lag.doubt_s, 3),
        high_s=round(lag.seconds + 2 * lag.doubt_s, 3),
        drift_ppm=None,
        estimated=estimated,
    )


def _beats(told: Told, values: Values, present: float) -> tuple[Beat, ...]:
    """Every beat of the deflation with its phase, ectopic ones included."""
    listening, sounds, muffled = told.listening, values.sounds, values.muffled
    phases = dict.fromkeys(told.beats.tolist(), Phase.SILENT)
    named = name_phases(values.found, sounds, None if muffled is None else muffled.index)
    for sound, phase in zip(told.beats[sounds].tolist(), named, strict=True):
        phases[sound] = phase
    beats: list[Beat] = []
    last = Phase.SILENT
    for i in range(listening.onset_s.size):
        heard = float(listening.story.heard[i]) * present
        cuff = float(listening.cuff_mmhg[i])
        phase = phases.get(i, last if heard >= 0.5 else Phase.SILENT)
        if phase is Phase.SILENT and any(g.lower_mmhg < cuff < g.upper_mmhg for g in values.gaps):
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
