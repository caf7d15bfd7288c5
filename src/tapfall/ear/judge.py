"""From a record to what was heard at each beat: listen, learn, listen again.

The first round finds the loud beats and learns their waveform, noise and
delay; the later ones listen with them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.ear import beats as clocks
from tapfall.ear import lag as lags
from tapfall.ear.cuff import Deflation
from tapfall.ear.evidence import (
    Evidence,
    Expectation,
    Noise,
    learn_noise,
    split_energy,
    weigh_beats,
)
from tapfall.ear.phases import Story, decode
from tapfall.ear.pulses import Pulses
from tapfall.ear.record import Record
from tapfall.ear.template import FOLDS, LEAD_S, RANK, Template, cut, learn_template
from tapfall.ear.track import follow_track, steady_clock
from tapfall.ear.whiten import White, whiten
from tapfall.model import FloatArray

#: Rounds of decoding and learning.
ROUNDS = 3
#: Spread of the delay in the first round, before a track is known.
FIRST_SPREAD_S = 0.025
#: Fixed sounds (heart sounds) are looked for in this stretch around the pulse.
FIXED_FROM_S, FIXED_TO_S = -0.35, 0.5
#: Least excess of a teacher: absolute, and against the loud beats (tuned).
TEACH_NATS, TEACH_SHARE = 0.6, 0.55
#: Beats less likely than this to sound are silent, and tell what every beat brings.
SILENT_BELOW, LEAST_SILENT = 0.15, 4
#: Subspace energy of the loudest sounds is at least this many times white noise.
LEAST_LOUD = 12.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Listening:
    """What one listening found, beat by beat; arrays have shape ``(n,)``.

    ``onset_s`` is audio time of the (possible) sound, ``cuff_mmhg`` the trend
    there; ``teach`` how well each beat can teach its waveform.
    """

    expected: Expectation
    onset_s: FloatArray
    cuff_mmhg: FloatArray
    evidence: Evidence
    story: Story
    template: Template
    white: White
    lag: lags.LagFound
    anchored: bool


def listen(
    record: Record, deflation: Deflation, pulses: Pulses, lag_s: float | None
) -> Listening | None:
    """Listen to one deflation.

    Parameters
    ----------
    record
        Sound and log of the measurement.
    deflation, pulses
        What the log showed, log time.
    lag_s
        Given lag in seconds, or ``None`` to estimate it.

    Returns
    -------
    Listening or None
        ``None`` where the sound is silent or no beats can be expected.
    """
    lag = lags.LagFound(seconds=lag_s or 0.0, error_s=0.05, clear=True)
    if lag_s is None and pulses.usable:
        wide = _white(record, deflation, 0.0, margin_s=lags.LARGEST_LAG_S + 0.6)
        if wide is None:
            return None
        lag = _find_lag(wide, deflation, pulses)
    white = _white(record, deflation, lag.seconds, margin_s=0.4)
    if white is None:
        return None
    guess = _first_guess(record, deflation, pulses, lag, white)
    if guess is None:
        return None
    expected, teach, anchored = guess
    found: Listening | None = None
    for round_ in range(ROUNDS):
        template = learn_template(white, expected.reference_s + expected.delay_s, teach)
        if template is None:
            return found
        found = _hear(deflation, white, template, expected, lag, anchored, found, min(round_, 1))
        teach, expected = _relearn(found)
        white = _whiten_again(record, deflation, found) or white
    return found


def _white(
    record: Record,
    deflation: Deflation,
    lag_s: float,
    margin_s: float,
    silent_s: FloatArray | None = None,
    loud_s: FloatArray | None = None,
) -> White | None:
    """Whitened sound around the deflation; noise is learned inside it."""
    first_s, last_s = deflation.start_s - lag_s, deflation.end_s - lag_s
    sound, start_s = record.between(first_s - margin_s, last_s + margin_s)
    inner = 0.2 if margin_s < 1.0 else lags.LARGEST_LAG_S / 2
    return whiten(
        sound, record.rate_hz, start_s, (first_s + inner, last_s - inner), silent_s, loud_s
    )


def _find_lag(wide: White, deflation: Deflation, pulses: Pulses) -> lags.LagFound:
    """Lag from beats that keep step, and from the release where it is heard."""

    def bonus(lag_s: FloatArray) -> FloatArray:
        if not deflation.released:
            return np.zeros(lag_s.size)
        near = np.array([-lags.KNEE_S, 0.0, lags.KNEE_S])
        jump = lags.release_jump(wide, (deflation.end_s - lag_s)[:, None] + near)
        return lags.JUMP_WEIGHT * np.asarray(jump.max(axis=1))

    fall_mmhg = _falls(deflation, pulses.time_s)
    return lags.find_lag(clocks.onsets(wide), pulses.time_s, fall_mmhg, bonus)


def _falls(deflation: Deflation, log_s: FloatArray) -> FloatArray:
    """Fall of the cuff before each beat, at log times."""
    pressure = deflation.pressure_mmhg(log_s)
    return np.asarray(-np.diff(pressure, prepend=pressure[:1]))


def _first_guess(
    record: Record, deflation: Deflation, pulses: Pulses, lag: lags.LagFound, white: White
) -> tuple[Expectation, FloatArray, bool] | None:
    """Expected beats before anything is learned, who may teach, and whether delays count."""
    marks = clocks.onsets(white)
    first_s, last_s = deflation.start_s - lag.seconds, deflation.end_s - lag.seconds
    if pulses.usable:
        clock = clocks.Clock(time_s=pulses.time_s - lag.seconds, anchored=True, reach_s=0.0)
        earliest_s, latest_s = clocks.EARLIEST_S, clocks.LATEST_S
        fixed_from_s, fixed_to_s = FIXED_FROM_S, FIXED_TO_S
    else:
        found = clocks.clock_from_sounds(marks, first_s, last_s)
        if found is None:
            return None
        clock = found
        earliest_s, latest_s = -clock.reach_s, clock.reach_s
        fixed_from_s, fixed_to_s = earliest_s, latest_s
    reference_s = clock.time_s
    if clock.anchored:
        marks = clocks.without_fixed(marks, reference_s, fixed_from_s, fixed_to_s)
        fall_mmhg = _falls(deflation, reference_s + lag.seconds)
        delay_s = clocks.find_path(marks, reference_s, fall_mmhg, earliest_s, latest_s).delay_s
    else:
        delay_s = np.zeros(reference_s.size)
    onset_s = reference_s + delay_s
    inside = onset_s >= max(first_s, white.start_s)
    inside &= onset_s <= min(last_s, record.end_s) - 0.02
    reference_s, delay_s = reference_s[inside], delay_s[inside]
    expected = Expectation(
        reference_s=reference_s,
        delay_s=delay_s,
        spread_s=np.full(reference_s.size, FIRST_SPREAD_S),
        slope_s_per_mmhg=0.0,
    )
    if reference_s.size < 6:
        return None
    excess = marks.at(reference_s + delay_s)
    clear = max(TEACH_NATS, TEACH_SHARE * float(np.quantile(excess, 0.85)))
    teach = np.where(excess > clear, excess, 0.0) * _loudness(white, reference_s + delay_s)
    return expected, teach, clock.anchored


def _loudness(white: White, onset_s: FloatArray) -> FloatArray:
    """Weight of a beat as a teacher by its energy, capped at its loud quarter."""
    energy = white.window_energy()
    index = np.clip(white.index(onset_s - LEAD_S), 0, energy.size - 1)
    level = np.log(energy[index] + 0.3)
    level = np.maximum(level - np.median(level), 0.0) + 0.1
    return np.asarray(np.minimum(level, float(np.quantile(level, 0.85))))


def _hear(
    deflation: Deflation,
    white: White,
    template: Template,
    expected: Expectation,
    lag: lags.LagFound,
    anchored: bool,
    before: Listening | None,
    round_: int,
) -> Listening:
    """One round: noise, levels, evidence of each beat, decoding."""
    span_s = (
        max(deflation.start_s - lag.seconds, white.start_s),
        min(deflation.end_s - lag.seconds, white.start_s + white.samples.size / white.rate_hz),
    )
    noise = learn_noise(white, expected.reference_s + expected.delay_s - LEAD_S, span_s)
    taught = cut(white, template.onset_s - LEAD_S, white.window)
    basis = template.basis[template.fold[template.teachers]]
    own = np.sum(np.einsum("nw,nrw->nr", taught, basis) ** 2, axis=1)
    loud_power = max(float(np.quantile(own, 0.8)), LEAST_LOUD * RANK)
    fixed = _every_beat(white, template, before, expected, noise)
    evidence = weigh_beats(white, template, noise, expected, loud_power, fixed, round_)
    story = decode(evidence.log_odds)
    delay_s = np.where(story.heard > 0.3, evidence.delay_s, expected.delay_s)
    onset_s = expected.reference_s + delay_s
    return Listening(
        expected=expected,
        onset_s=onset_s,
        cuff_mmhg=deflation.pressure_mmhg(onset_s + lag.seconds),
        evidence=evidence,
        story=story,
        template=template,
        white=white,
        lag=lag,
        anchored=anchored,
    )


def _every_beat(
    white: White,
    template: Template,
    before: Listening | None,
    expected: Expectation,
    noise: Noise,
) -> tuple[FloatArray, FloatArray]:
    """Energy that comes with every beat (heart sounds), at each delay searched.

    Per value, inside and outside the template's subspace, over the noise floor.
    """
    delays, _ = expected.delays()
    axis = np.arange(float(delays.min()), float(delays.max()) + 0.008, 0.008)
    windows = cut(white, expected.reference_s[:, None] + axis[None, :] - LEAD_S, white.window)
    own, rest = split_energy(windows, template.basis[FOLDS])
    silent = np.zeros(0, bool)
    if before is not None and before.onset_s.size == delays.shape[0]:
        silent = before.story.heard < SILENT_BELOW
    enough = silent.sum() >= LEAST_SILENT
    steady = float(np.median(noise.floor))
    profiles = []
    for level in (own / RANK, rest / max(white.dof - RANK, 4.0)):
        profile = np.median(level[silent], axis=0) if enough else clocks.at_both_ends(level)
        profiles.append(np.interp(delays, axis, np.maximum(profile - steady, 0.0)))
    return profiles[0], profiles[1]


def _relearn(found: Listening) -> tuple[FloatArray, Expectation]:
    """Teachers and expected beats for the next round."""
    heard = found.story.heard
    evidence = found.evidence
    strength = np.log1p(evidence.own / RANK / evidence.floor)
    teach = np.where(heard > 0.5, heard * np.minimum(strength, np.quantile(strength, 0.9)), 0.0)
    onset_s = found.expected.reference_s + evidence.delay_s
    if found.anchored:
        return teach, follow_track(found.expected, evidence.delay_s, found.cuff_mmhg, heard)
    expected = steady_clock(onset_s, heard, found.expected)
    nearest = np.abs(expected.reference_s[:, None] - onset_s[None, :])
    old = nearest.argmin(axis=1)
    same = nearest[np.arange(old.size), old] < 0.03
    return np.where(same, teach[old], 0.0), expected


def _whiten_again(record: Record, deflation: Deflation, found: Listening) -> White | None:
    """Whiten by the noise found between the beats."""
    width_s = found.white.window / found.white.rate_hz
    onset_s = np.sort(found.onset_s)
    edges = np.stack([onset_s[:-1] + width_s + 0.02, onset_s[1:] - 0.03], axis=1)
    edges = edges[edges[:, 1] > edges[:, 0]]
    loud_s = found.template.onset_s - LEAD_S
    return _white(record, deflation, found.lag.seconds, 0.4, edges, loud_s)
