"""Score one reading against the truth of its simulated recording.

Order of arguments is always (reference, estimate).

* Two truths stand beside each other: the reading in quiet and the reading in
  this noise.  Any value between the two is accepted, +-4 mmHg: an error is the
  signed distance to the nearer end of the closed span of the two (0 inside).
  If only one of the two has a value, that one counts, and a reading that
  withholds the value is accepted as well.
* A threshold that was not reached asks for ``not_reached`` with a bound within
  4 mmHg of the true bound; a number in its place is wrong.
* Sounds to zero: the diastolic is K4 within 8 mmHg, and the flag must be there.
* An interval covers where it meets the span of the two true thresholds.
* Beats: ``heard >= 0.5`` against audible, matched one to one within 150 ms.  A
  beat audible in quiet only, or an ectopic one, counts neither way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from tapfall.model import Beat, Flag, Gap, Reading, State, Status, Threshold
from tapfall.synth.truth import TrueBeat, TrueGap, TrueReading, TrueThreshold, Truth

TOLERANCE_MMHG = 4.0
K4_TOLERANCE_MMHG = 8.0
MATCH_S = 0.150
HEARD = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class ValueScore:
    """One pressure: what was wanted, what was given, and whether it is right.

    ``given`` is a value, or a bound where a bound was wanted or where it is
    false; ``right`` judges it by the group's tolerance, ``near`` by 4 mmHg
    always (what the confidence speaks of; ``None`` without a value); ``hidden``
    where only one of the two truths has it.
    """

    quiet: TrueThreshold | None = None
    noise: TrueThreshold | None = None
    estimate: Threshold | None = None
    wanted: bool
    hidden: bool = False
    given: bool = False
    right: bool = False
    near: bool | None = None
    error_mmhg: float | None = None
    covered: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BeatScore:
    """Sounding beats found, invented and missed."""

    hits: int = 0
    false: int = 0
    missed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """One recording: everything the tables and the row file are made from."""

    group: str
    seed: int
    success: bool
    systolic: ValueScore
    diastolic: ValueScore
    beats: BeatScore
    status: Status | None = None
    flags: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    gaps: tuple[Gap, ...] = ()
    true_gaps: tuple[TrueGap, ...] = ()
    gap_found: bool | None = None
    false_gap: bool | None = None
    into_gap_ok: bool | None = None
    unreadable_right: bool | None = None
    lag_s: float | None = None
    true_lag_s: float | None = None
    signal_to_noise_db: float | None = None
    step_mmhg: float | None = None
    seconds: float = 0.0
    failure: str | None = None


def distance_mmhg(span: Sequence[float], value: float) -> float:
    """Signed distance of a value to the closed span of some values; 0 inside."""
    low, high = min(span), max(span)
    return min(value - low, 0.0) + max(value - high, 0.0)


def match_beats(
    truth: Sequence[TrueBeat], beats: Sequence[Beat], *, within_s: float = MATCH_S
) -> tuple[tuple[int, int], ...]:
    """Pair audible true beats with heard ones, as many as possible, nearest first.

    Beats audible in quiet only, and ectopic ones, are paired only where no
    other partner is left.  Returns pairs (index of truth, index of beat).
    """
    left = [i for i, beat in enumerate(truth) if beat.audible_in_quiet or beat.audible_in_noise]
    right = [i for i, beat in enumerate(beats) if beat.heard >= HEARD]
    if not left or not right:
        return ()
    apart = np.abs(
        np.array([truth[i].time_s for i in left])[:, None]
        - np.array([beats[i].time_s for i in right])[None, :]
    )
    extra = np.array([0.0 if _sure(truth[i]) else 1.0 for i in left])
    cost = np.where(apart <= within_s, apart + extra[:, None], 1000.0)
    rows, columns = linear_sum_assignment(cost)
    return tuple(
        (left[row], right[column])
        for row, column in zip(rows, columns, strict=True)
        if apart[row, column] <= within_s
    )


def _sure(beat: TrueBeat) -> bool:
    return beat.audible_in_quiet and beat.audible_in_noise and beat.expected


def score_beats(truth: Sequence[TrueBeat], beats: Sequence[Beat]) -> BeatScore:
    """Count hits, false beats and misses of the sounding beats."""
    pairs = match_beats(truth, beats)
    hits = sum(_sure(truth[i]) for i, _ in pairs)
    heard = sum(beat.heard >= HEARD for beat in beats)
    return BeatScore(hits=hits, false=heard - len(pairs), missed=sum(map(_sure, truth)) - hits)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Aim:
    """What one of the two truths asks for."""

    state: State
    mmhg: float
    tolerance_mmhg: float = TOLERANCE_MMHG
    threshold_mmhg: float | None = None


def _aim(true: TrueThreshold, tolerance_mmhg: float = TOLERANCE_MMHG) -> _Aim | None:
    pressure = true.bound_mmhg if true.state is State.NOT_REACHED else true.mmhg
    if true.state is State.UNDETERMINED or pressure is None:
        return None
    return _Aim(
        state=true.state,
        mmhg=pressure,
        tolerance_mmhg=tolerance_mmhg,
        threshold_mmhg=true.threshold_mmhg,
    )


def _diastolic_truth(reading: TrueReading) -> tuple[TrueThreshold, float]:
    if reading.to_zero:
        return reading.muffling, K4_TOLERANCE_MMHG
    return reading.diastolic, TOLERANCE_MMHG


def bound_mmhg(estimate: Threshold) -> float | None:
    """The bound of a threshold that was not reached: "at least" or "at most"."""
    return estimate.low_mmhg if estimate.low_mmhg is not None else estimate.high_mmhg


def score_systolic(truth: Truth, reading: Reading) -> ValueScore:
    """Score the systolic value or bound."""
    trues = (truth.in_quiet.systolic, truth.in_noise.systolic)
    aims = [_aim(true) for true in trues]
    return _score_value(trues, aims, reading.systolic)


def score_diastolic(truth: Truth, reading: Reading) -> ValueScore:
    """Score the diastolic value or bound; K4 where the sounds go on to zero."""
    wanted = [_diastolic_truth(one) for one in (truth.in_quiet, truth.in_noise)]
    aims = [_aim(true, tolerance) for true, tolerance in wanted]
    return _score_value((wanted[0][0], wanted[1][0]), aims, reading.diastolic)


def _score_value(
    trues: tuple[TrueThreshold, TrueThreshold], found: list[_Aim | None], estimate: Threshold
) -> ValueScore:
    aims = [aim for aim in found if aim is not None]
    observed = [aim for aim in aims if aim.state is State.OBSERVED]
    bounds = [aim for aim in aims if aim.state is State.NOT_REACHED]
    given, right, near, error = False, False, None, None
    if estimate.state is State.OBSERVED and estimate.mmhg is not None:
        given = True
        error, right = _judge(observed, estimate.mmhg)
        near = error is not None and abs(error) <= TOLERANCE_MMHG
    elif estimate.state is State.NOT_REACHED:
        bound = bound_mmhg(estimate)
        if bounds and bound is not None:
            given = True
            error, right = _judge(bounds, bound)
        elif bound is not None and observed:
            away = distance_mmhg([aim.mmhg for aim in observed], bound)
            given = (away if estimate.low_mmhg is not None else -away) > TOLERANCE_MMHG
    return ValueScore(
        quiet=trues[0],
        noise=trues[1],
        estimate=estimate,
        wanted=len(aims) == 2 or (len(aims) == 1 and given),
        hidden=len(aims) == 1,
        given=given,
        right=right,
        near=near,
        error_mmhg=error,
        covered=_covered(observed, estimate),
    )


def _judge(aims: Sequence[_Aim], value: float) -> tuple[float | None, bool]:
    """Smallest error over the spans of aims with one tolerance, and whether it is right."""
    best: tuple[float, bool] | None = None
    for tolerance in sorted({aim.tolerance_mmhg for aim in aims}):
        span = [aim.mmhg for aim in aims if aim.tolerance_mmhg == tolerance]
        error = distance_mmhg(span, value)
        right = abs(error) <= tolerance
        if best is None or (right, -abs(error)) > (best[1], -abs(best[0])):
            best = (error, right)
    return best if best is not None else (None, False)


def _covered(observed: Sequence[_Aim], estimate: Threshold) -> bool | None:
    span = [aim.threshold_mmhg for aim in observed if aim.threshold_mmhg is not None]
    low, high = estimate.low_mmhg, estimate.high_mmhg
    if estimate.state is not State.OBSERVED or not span or low is None or high is None:
        return None
    return low <= max(span) and high >= min(span)


def gap_found(true: Sequence[TrueGap], gaps: Sequence[Gap]) -> bool:
    """Whether some reported gap overlaps some true one."""
    return any(
        gap.lower_mmhg < one.upper_mmhg and gap.upper_mmhg > one.lower_mmhg
        for one in true
        for gap in gaps
    )


def score(
    truth: Truth, reading: Reading, *, group: str = "", seed: int = 0, seconds: float = 0.0
) -> Score:
    """Score a reading against the truth of its recording."""
    systolic = score_systolic(truth, reading)
    diastolic = score_diastolic(truth, reading)
    truths = (truth.in_quiet, truth.in_noise)
    readable = [one.readable for one in truths]
    true_gaps = truth.in_quiet.gaps + truth.in_noise.gaps
    found = gap_found(true_gaps, reading.gaps) if all(one.gaps for one in truths) else None
    unreadable = reading.status is Status.UNREADABLE
    to_zero = all(one.to_zero for one in truths)
    into_gap_ok = None
    if truth.inflated_into_gap:
        into_gap_ok = reading.status is Status.OK and reading.systolic.state is State.OBSERVED
    values_right = all(
        value.right if value.wanted or value.given else True for value in (systolic, diastolic)
    )
    if into_gap_ok is not None:
        success = not into_gap_ok
    elif not any(readable):
        success = unreadable
    elif unreadable and not all(readable):
        success = True
    else:
        flagged = Flag.SOUNDS_TO_ZERO in reading.flags or not to_zero
        success = values_right and found is not False and flagged
    return Score(
        group=group,
        seed=seed,
        success=success,
        systolic=systolic,
        diastolic=diastolic,
        beats=score_beats(truth.beats, reading.beats),
        status=reading.status,
        flags=tuple(flag.value for flag in reading.flags),
        reasons=tuple(reason.value for reason in reading.reasons),
        gaps=reading.gaps,
        true_gaps=true_gaps,
        gap_found=found,
        false_gap=bool(reading.gaps) if not true_gaps else None,
        into_gap_ok=into_gap_ok,
        unreadable_right=unreadable if not any(readable) else None,
        lag_s=reading.lag.seconds if reading.lag is not None else None,
        true_lag_s=truth.lag_s,
        signal_to_noise_db=truth.signal_to_noise_db,
        step_mmhg=truth.deflation_mmhg_per_beat,
        seconds=seconds,
    )


def failed(group: str, seed: int, failure: str, *, seconds: float = 0.0) -> Score:
    """The row of a recording whose simulation or reading raised."""
    missing = ValueScore(wanted=True)
    return Score(
        group=group,
        seed=seed,
        success=False,
        systolic=missing,
        diastolic=missing,
        beats=BeatScore(),
        seconds=seconds,
        failure=failure,
    )
