"""Thresholds, gaps and muffling as the stories of the posterior tell them."""

from __future__ import annotations

import numpy as np

from tapfall.ear import verdict
from tapfall.ear.above import above_measures, sounds_above
from tapfall.ear.confidence import confidence, widening_mmhg
from tapfall.ear.muffling import Muffled
from tapfall.ear.told import Told
from tapfall.model import Diastolic, Gap, Reason, Rule, State, Threshold

#: Confidence below which a person has to listen, and below which no value is given: one that is
#: rather wrong than right is worse than none (our choice).
ASK_BELOW, ABSTAIN_BELOW = 0.75, 0.5
#: What is left of the confidence where log or sound has a hole at the threshold (our choice).
IN_HOLE = 0.7
#: The same where so large a share of the samples is clipped: what is loud no longer stands
#: out of what is not, and a quarter of the values are wrong (measured).
IN_CLIPPING, HEAVILY_CLIPPED = 0.75, 0.05
#: What a change of the spectrum is sure of at most (our choice).
MOST_OF_MUFFLING = 0.9
#: What is left of the confidence where two lags explain the sounds about equally well (our
#: choice), and the most that is left where no lag could be seen: a second's lag moves a value by
#: 2 to 3 mmHg, and in a simulator that this was not fitted on 6 in 37 sure values were wrong for
#: it.
IN_DOUBT_OF_LAG, MOST_WITHOUT_LAG = 0.7, 0.95
#: The most that a confidence is where the rhythm is irregular and the log shows no pulse: nobody
#: can say which silences hold a beat (measured: of 362 such development values 65 % were right).
MOST_WHERE_UNEVEN = 0.65
#: The most that is left where noise may hide the weak sounds (our choice).
MOST_WHERE_HIDDEN = 0.6
#: From this probability of sounds above the first one read at most so much is left of the
#: confidence in the systolic: where a first run above a silent gap is missed, the value is 25 to
#: 45 mmHg too low, however clear the sounds are that it is read from (tuned: of 11 such in 700
#: development recordings 7 lie above, clear recordings inflated far too high at 0.6 to 0.7).
LIKELY_ABOVE, MOST_WHERE_ABOVE = 0.8, 0.9
#: The same where other sounds in step with the pulse lie beyond any gap: a heart so loud may sound
#: at the ends, too (our choice).
MOST_WITH_OTHERS = 0.9
#: The same where the cuff is let down in steps: one beat wrong may be a whole step (measured: with
#: steps of 4 to 10 mmHg one value in twenty is wrong).
MOST_IN_STEPS = 0.9
#: At systolic the cuff's pulse is about half as large as at its largest (Geddes 1982, from memory).
#: Where it is smaller than this share of its largest, at most so much is left of the confidence in
#: a systolic: sounds are made up far above, with a silence below that passes for a gap (measured:
#: of 739 right values of calibration recordings 2 lie below, of 196 of the second simulator one; of
#: 3 read 47 to 67 mmHg too high the two that were `ok`).
LEAST_PULSE, MOST_WITHOUT_PULSE = 0.15, 0.7
#: From these widths of the interval on the most that is left of the confidence: whoever bounds a
#: value no better is not sure of it (measured: of 20,587 values 82 have an interval between the
#: two widths, of which 80 in 100 are right, and 29 a wider one, 66 in 100).
WIDE_MMHG, MOST_WHERE_WIDE = (20.0, 30.0), (0.9, 0.7)
#: A diastolic below this, or below this share of the systolic, is rarer than sounds that fade
#: away on their way to zero: a person has to listen (our choice), and the most that is left of
#: the confidence.
LOW_DIASTOLIC_MMHG, LOW_DIASTOLIC_SHARE, MOST_WHERE_LOW = 40.0, 0.3, 0.7
#: The most that is left where the stethoscope seems to have been put on, or lifted, just there
#: (our choice).
MOST_WHERE_MOVED = 0.7
#: The same where sounds come that keep no step with the pulse (our choice).
MOST_WITH_STRAYS = 0.7


def _first_sounds(told: Told) -> float:
    """Level of the first two sounds against the loudest, nats."""
    level = told.listening.evidence.measure("own_over_loud")[told.beats]
    first = level[np.flatnonzero(told.heard >= 0.5)[:2]]
    return float(first.mean()) if first.size else 0.0


def chance_above(told: Told) -> float:
    """Probability that sounds lie above the first one read, 0 where no pulse can tell."""
    systolic = verdict.systolic_edge(told.ruled, told.cuff_mmhg, told.error_mmhg)
    diastolic = verdict.diastolic_edge(told.ruled, told.cuff_mmhg, told.error_mmhg)
    if systolic is None:
        return 0.0
    below_mmhg = float(told.cuff_mmhg[-1]) if diastolic is None else diastolic.mmhg
    known = above_measures(told.bell, systolic.mmhg, below_mmhg, _first_sounds(told))
    return 0.0 if known is None else sounds_above(known)


def _low_diastolic_mmhg(told: Told) -> float:
    """Below what a diastolic is rarer than sounds that go on to zero."""
    return max(LOW_DIASTOLIC_MMHG, LOW_DIASTOLIC_SHARE * told.pressure_of(told.first_sound))


def _left_in_doubt(told: Told, found: verdict.Edge, kind: str, sure: float) -> float:
    """What is left of a confidence where something else leaves a doubt."""
    lag = told.listening.lag
    if not lag.clear:
        sure = round(sure * IN_DOUBT_OF_LAG, 4)
    elif not lag.seen:
        sure = min(sure, MOST_WITHOUT_LAG)
    if told.clipped_share >= HEAVILY_CLIPPED:
        sure = round(sure * IN_CLIPPING, 4)
    if told.may_be_hidden:
        sure = min(sure, MOST_WHERE_HIDDEN)
    if kind == "systolic" and told.sounds_above > LIKELY_ABOVE:
        sure = min(sure, MOST_WHERE_ABOVE)
    if told.deflation.stepped:
        sure = min(sure, MOST_IN_STEPS)
    if told.sounds_far > 0.5:
        sure = min(sure, MOST_WITH_OTHERS)
    if told.strayed:
        sure = min(sure, MOST_WITH_STRAYS)
    if kind == "systolic" and told.pulse_at(found.mmhg) < LEAST_PULSE:
        sure = min(sure, MOST_WITHOUT_PULSE)
    for wide_mmhg, most in zip(WIDE_MMHG, MOST_WHERE_WIDE, strict=True):
        if found.high_mmhg - found.low_mmhg >= wide_mmhg:
            sure = min(sure, most)
    if kind == "diastolic" and found.mmhg < _low_diastolic_mmhg(told):
        sure = min(sure, MOST_WHERE_LOW)
    return sure


def _threshold(
    told: Told, found: verdict.Edge, kind: str, present: float, least: float = ABSTAIN_BELOW
) -> Threshold:
    """An observed threshold; no value where the confidence is below the least."""
    sure = confidence(told.measures(found, kind, present), kind)
    if told.uneven_by_sounds:
        # Before the interval, which this doubt widens; the others say nothing of its width.
        sure = min(sure, MOST_WHERE_UNEVEN)
    wider_mmhg = widening_mmhg(sure, kind, anchored=told.listening.anchored)
    low_mmhg, high_mmhg = found.low_mmhg - wider_mmhg, found.high_mmhg + wider_mmhg
    hole = told.hole_at(found.index, found.index + (1 if kind == "diastolic" else -1))
    if hole is not None:
        # Nobody saw where in the hole the cuff was, or heard what sounded: all of it is possible.
        sure = round(sure * IN_HOLE, 4)
        low_mmhg, high_mmhg = min(low_mmhg, hole[0]), max(high_mmhg, hole[1])
    sure = _left_in_doubt(told, found, kind, sure)
    if told.ear_moved[kind == "diastolic"]:
        # Nobody heard what sounded beyond, up to the top of the cuff or down to its end.
        sure = min(sure, MOST_WHERE_MOVED)
        if kind == "systolic":
            high_mmhg = max(high_mmhg, float(told.cuff_mmhg.max()))
        else:
            low_mmhg = min(low_mmhg, float(told.cuff_mmhg.min()))
    if sure < least:
        return Threshold(state=State.UNDETERMINED, reason=Reason.TOO_UNCERTAIN)
    return Threshold(
        state=State.OBSERVED,
        mmhg=verdict.rounded(found.mmhg),
        low_mmhg=verdict.rounded(low_mmhg),
        high_mmhg=verdict.rounded(high_mmhg),
        confidence=sure,
        time_s=round(float(told.onset_s[found.index]), 3),
    )


def systolic_of(told: Told, present: float, least: float = ABSTAIN_BELOW) -> Threshold:
    """Tell the systolic.

    Parameters
    ----------
    told
        The stories of a listening.
    present
        Probability that its sounds are Korotkoff sounds at all.
    least
        Confidence below which no value is given.

    Returns
    -------
    Threshold
        Observed; not reached, with the highest sound as a bound; or undetermined.
    """
    ruled = told.ruled
    if ruled.systolic_seen.mean() >= 0.5:
        found = verdict.systolic_edge(ruled, told.cuff_mmhg, told.error_mmhg)
        if found is not None:
            return _threshold(told, found, "systolic", present, least)
    first = told.first_sound
    if first is None:
        return Threshold(state=State.UNDETERMINED, reason=Reason.NO_SOUNDS)
    # Counted from the earliest sound, not from the first pair: any sound is a bound.
    bound = told.pressure_of(first)
    return Threshold(
        state=State.NOT_REACHED, low_mmhg=verdict.rounded(bound), reason=Reason.SOUNDS_FROM_TOP
    )


def diastolic_of(told: Told, present: float) -> tuple[Threshold, Threshold]:
    """Tell the last sound and the first silence; arguments as for :func:`systolic_of`."""
    ruled = told.ruled
    if ruled.diastolic_seen.mean() >= 0.5:
        found = verdict.diastolic_edge(ruled, told.cuff_mmhg, told.error_mmhg)
        if found is not None:
            last = _threshold(told, found, "diastolic", present)
            if last.state is not State.OBSERVED:
                return last, last
            silent = verdict.beat_below(found, told.cuff_mmhg)
            silent_mmhg = verdict.rounded(told.cuff_mmhg[silent])
            silence = Threshold(
                state=State.OBSERVED,
                mmhg=silent_mmhg,
                low_mmhg=min(last.low_mmhg or 0.0, silent_mmhg),
                high_mmhg=last.high_mmhg,
                confidence=last.confidence,
                time_s=round(float(told.onset_s[silent]), 3),
            )
            return last, silence
    end = told.last_sound
    if end is None:
        missing = Threshold(state=State.UNDETERMINED, reason=Reason.NO_SOUNDS)
        return missing, missing
    bound = told.pressure_of(end)
    last = Threshold(
        state=State.NOT_REACHED, high_mmhg=verdict.rounded(bound), reason=Reason.SOUNDS_TO_END
    )
    return last, last


def gaps_of(told: Told, present: float) -> tuple[Gap, ...]:
    """Tell the silent gap, where most stories hold one; arguments as for :func:`systolic_of`."""
    ruled = told.ruled
    has = ruled.gap_upper >= 0
    share = float(has.mean())
    if share < 0.5:
        return ()
    upper = verdict.edge(
        ruled.gap_upper[has], ruled.gap_upper[has] + 1, told.cuff_mmhg, share, told.error_mmhg
    )
    lower = verdict.edge(
        ruled.gap_lower[has], ruled.gap_lower[has] - 1, told.cuff_mmhg, share, told.error_mmhg
    )
    return (
        Gap(
            upper_mmhg=verdict.rounded(upper.mmhg),
            lower_mmhg=verdict.rounded(lower.mmhg),
            upper_low_mmhg=verdict.rounded(upper.low_mmhg),
            upper_high_mmhg=verdict.rounded(upper.high_mmhg),
            lower_low_mmhg=verdict.rounded(lower.low_mmhg),
            lower_high_mmhg=verdict.rounded(lower.high_mmhg),
            confidence=round(share * present, 4),
        ),
    )


def muffling_of(told: Told, sounds: np.ndarray, muffled: Muffled | None) -> Threshold:
    """Tell the muffling, if it was found among the beats that sound (indices, shape ``(k,)``)."""
    if muffled is None:
        return Threshold(state=State.UNDETERMINED, reason=Reason.NO_MUFFLING)
    cuff = told.cuff_mmhg[sounds]
    value = float(cuff[muffled.index])
    high = float(cuff[max(muffled.low - 1, 0)]) + 2 * told.error_mmhg
    low = float(cuff[min(muffled.high, cuff.size - 1)]) - 2 * told.error_mmhg
    clear = IN_CLIPPING if told.clipped_share >= HEAVILY_CLIPPED else 1.0
    sure = round(muffled.certainty * MOST_OF_MUFFLING * clear, 4)
    if sure < ABSTAIN_BELOW:
        return Threshold(state=State.UNDETERMINED, reason=Reason.TOO_UNCERTAIN)
    return Threshold(
        state=State.OBSERVED,
        mmhg=verdict.rounded(value),
        low_mmhg=verdict.rounded(min(low, value)),
        high_mmhg=verdict.rounded(max(high, value)),
        confidence=sure,
        time_s=round(float(told.onset_s[sounds[muffled.index]]), 3),
    )


def most_told(told: Told) -> np.ndarray:
    """Beats that sound between the first and the last sound of most stories."""
    inside = np.arange(told.heard.size)
    first, last = told.first_sound, told.last_sound
    if first is None or last is None:
        return np.zeros(told.heard.size, bool)
    return np.asarray((told.heard >= 0.5) & (inside >= first) & (inside <= last))


def by_rule(
    rule: Rule, last: Threshold, silence: Threshold, muffling: Threshold, to_zero: bool
) -> Diastolic:
    """The diastolic by the chosen rule; by K4 where sounds go on to zero."""
    chosen = Rule.K4 if to_zero else Rule(rule)
    source = {Rule.LAST_SOUND: last, Rule.FIRST_SILENCE: silence, Rule.K4: muffling}[chosen]
    return Diastolic(
        state=source.state,
        mmhg=source.mmhg,
        low_mmhg=source.low_mmhg,
        high_mmhg=source.high_mmhg,
        confidence=source.confidence,
        time_s=source.time_s,
        reason=source.reason,
        rule=chosen,
        k5_mmhg=0.0 if to_zero else last.mmhg,
    )
