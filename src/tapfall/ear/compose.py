"""Put a reading together: thresholds, gaps, phases, rhythm, flags, status."""

from __future__ import annotations

import numpy as np

from tapfall.ear import verdict
from tapfall.ear.character import Character, character, name_phases
from tapfall.ear.flags import CLIPPED_SHARE, heard_flags
from tapfall.ear.judge import Listening, Nothing
from tapfall.ear.muffling import Muffled, find_muffling
from tapfall.ear.pulses import Pulses
from tapfall.ear.record import Record
from tapfall.ear.rhythm import IRREGULAR_VARIATION, typical_s
from tapfall.ear.rules import breath_silences
from tapfall.ear.thresholds import (
    by_rule,
    diastolic_of,
    gaps_of,
    most_told,
    muffling_of,
    systolic_of,
)
from tapfall.ear.told import Told
from tapfall.ear.weighed import Weighed
from tapfall.model import (
    REVIEW_FLAGS,
    Beat,
    Diastolic,
    Flag,
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
#: Fewest sounds that are a run (our choice).
LEAST_SOUNDS = 4
#: Least contrast of sounds to the silent beats around them where only sounds make the
#: clock, whatever else speaks for them: real heart sounds that looked like Korotkoff
#: sounds came to 0.3 at most, of simulated Korotkoff sounds 1 in 60 below 1.2 (tuned on both).
LEAST_CONTRAST = 1.2
#: Sounds that are, or may be, heard below this go on to zero.  By the project's definition they do
#: below 10 mmHg; but they fade on the way, the pulses that make the clock vanish from the log, and
#: nobody's sounds end between 10 and 20 (our choice).
ZERO_MMHG = 20.0
#: So far below the muffling nobody's sounds end: K4 and K5 lie 13 mmHg apart on average (11,525
#: youths, Freedman 2014), 6 to 12 as medians in pregnancy (Johenning 1995).  What may be heard
#: there are faint sounds on their way to zero, unless their end is as sure as this (tuned: of 10
#: recordings of 1,401 whose sounds fade unseen 7 are found; of 1,697 others 3 are taken for such,
#: one of them read wrong, the sounds of two going on to zero below the noise).
FAR_BELOW_K4_MMHG, SURE_END = 30.0, 0.97
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
    """Whether silence, or a sound that comes with every beat whatever the cuff does."""
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
    if weighed.present < needed or (listening.story.heard > 0.5).sum() < LEAST_SOUNDS:
        return why_nothing(listening.nothing)
    return Reason.NOISE_HIDES if weighed.told.hidden(MASKED_DB) else None


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


def _to_zero(told: Told, last: Threshold, muffling: Threshold) -> bool:
    """Whether the sounds go on to zero, or an end above it is not sure."""
    heard_mmhg = told.pressure_of(told.last_sound)
    if last.state is State.OBSERVED:
        heard_mmhg = min(heard_mmhg, last.low_mmhg or 0.0)
    if heard_mmhg < ZERO_MMHG:
        return True
    unsure = last.state is not State.NOT_REACHED and (last.confidence or 0.0) < SURE_END
    return unsure and (muffling.mmhg or 0.0) - heard_mmhg > FAR_BELOW_K4_MMHG


def _rhythm(told: Told) -> Rhythm:
    """Regular, irregular or alternating, from intervals of expected beats."""
    ruled = told.ruled
    if (ruled.alternating_first | ruled.alternating_last).mean() >= 0.5:
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
    flags = list(noticed)
    if quality.clipped_share >= CLIPPED_SHARE:
        flags.append(Flag.AUDIO_CLIPPED)
    ruled = told.ruled
    # What will hold at the end is there, however little of it has been heard so far.
    present = max(weighed.present, weighed.promise)
    from_top = not ruled.systolic_seen.mean() >= 0.5
    to_end = not ruled.diastolic_seen.mean() >= 0.5
    refusal = _refusal(weighed)
    if refusal is not None:
        noisy = (Flag.NOISY,) if refusal is Reason.NOISE_HIDES else ()
        return unreadable(refusal, settings, (*flags, *noisy), quality)
    last, silence = diastolic_of(told, present)
    sounds = np.flatnonzero(most_told(told))
    found = character(record, told.onset_s)
    muffled = find_muffling(found, sounds, told.cuff_mmhg[sounds])
    if muffled is not None and float(told.cuff_mmhg[sounds[muffled.index]]) < ZERO_MMHG:
        muffled = None  # sounds that fade on their way to zero; nobody's diastolic lies there
    muffling = muffling_of(told, sounds, muffled)
    to_zero = _to_zero(told, last, muffling)
    if from_top and to_end and not to_zero:
        return unreadable(Reason.UNCHANGED_BY_CUFF, settings, tuple(flags), quality)
    systolic = systolic_of(told, present)
    breath = _breath_dependent(told)
    gaps = tuple(
        gap
        for gap in gaps_of(told, present)
        if not any(gap.lower_mmhg <= at <= gap.upper_mmhg for at in breath)
    )
    diastolic = by_rule(settings.diastolic, last, silence, muffling, to_zero)
    if to_zero:
        lowest_mmhg = verdict.rounded(told.pressure_of(told.last_sound))
        silence = Threshold(
            state=State.NOT_REACHED, high_mmhg=lowest_mmhg, reason=Reason.SOUNDS_TO_END
        )
    flags += heard_flags(
        told,
        pulses,
        systolic,
        diastolic,
        gaps,
        quality,
        to_end=last.state is State.NOT_REACHED,
        to_zero=to_zero,
    )
    rhythm = _rhythm(told)
    if rhythm is Rhythm.ALTERNATING:
        flags.append(Flag.ALTERNATING)
    elif rhythm is Rhythm.IRREGULAR:
        flags.append(Flag.IRREGULAR_RHYTHM)
    if breath and rhythm not in (Rhythm.ALTERNATING, Rhythm.IRREGULAR):
        # Weak beats of an uneven rhythm come and go at any period.
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
        pulse_per_min=round(60.0 / typical_s(interval), 1),
        rhythm=rhythm,
        beats=_beats(listening, told, found, sounds, muffled, gaps, present),
        lag=Lag(
            seconds=round(lag.seconds, 3),
            low_s=round(lag.seconds - 2 * lag.doubt_s, 3),
            high_s=round(lag.seconds + 2 * lag.doubt_s, 3),
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
