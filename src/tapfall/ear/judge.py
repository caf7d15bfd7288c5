"""From a record to what was heard at each beat: listen, learn, listen again.

Two rounds are enough (a trial on simulations): the first finds the loud beats
and learns their waveform, noise and delay; the second listens with them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.ear import beats as clocks
from tapfall.ear.cuff import Deflation
from tapfall.ear.evidence import Evidence, delay_grid, learn_noise, split_energy, weigh_beats
from tapfall.ear.phases import Story, decode
from tapfall.ear.pulses import Pulses
from tapfall.ear.record import Record
from tapfall.ear.template import FOLDS, LEAD_S, RANK, Template, cut, learn_template
from tapfall.ear.whiten import White, whiten
from tapfall.model import FloatArray

#: Rounds of decoding and learning.
ROUNDS = 2
#: Spread of the delay around its track: inside the sounds and per mmHg beyond (tuned).
TRACK_SPREAD_S, TRACK_SPREAD_S_PER_MMHG, WIDEST_SPREAD_S = 0.010, 0.0005, 0.035
#: Spread where the clock comes from the sounds, and growth per beat away from them.
SOUND_SPREAD_S, SOUND_SPREAD_S_PER_BEAT, WIDEST_SOUND_SPREAD_S = 0.014, 0.008, 0.060
#: How far the track of the delay goes on beyond the sounds heard so far.
TRACK_REACH_MMHG = 6.0
#: Steepest change of delay with cuff pressure: a 200-ms upstroke over 25 mmHg.
STEEPEST_S_PER_MMHG = 0.008


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Listening:
    """What one listening found, beat by beat; arrays have shape ``(n,)``.

    ``onset_s`` is audio time of the (possible) sound, ``cuff_mmhg`` the trend
    there.  ``level_db`` is the sound's level against the loudest.
    """

    reference_s: FloatArray
    onset_s: FloatArray
    cuff_mmhg: FloatArray
    evidence: Evidence
    story: Story
    template: Template
    white: White
    loud_power: float
    lag: clocks.LagFound
    from_pulse: bool


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
    lag = clocks.LagFound(seconds=lag_s or 0.0, error_s=0.1, clear=True)
    if lag_s is None and pulses.usable:
        wide = _white(record, deflation, 0.0, margin_s=clocks.LARGEST_LAG_S + 0.6)
        if wide is None:
            return None
        lag = clocks.find_lag(clocks.onsets(wide), pulses.time_s)
    white = _white(record, deflation, lag.seconds, margin_s=0.4)
    if white is None:
        return None
    marks = clocks.onsets(white)
    first_s, last_s = deflation.start_s - lag.seconds, deflation.end_s - lag.seconds
    if pulses.usable:
        reference_s = pulses.time_s - lag.seconds
        marks = clocks.without_fixed(marks, reference_s, -0.35, 0.5)
        path = clocks.find_path(marks, reference_s, clocks.EARLIEST_S, clocks.LATEST_S)
        delay_s = path.delay_s
    else:
        reference_s = clocks.clock_from_sounds(marks, first_s, last_s)
        delay_s = np.zeros(reference_s.size)
    inside = (reference_s + delay_s >= max(first_s, white.start_s)) & (
        reference_s + delay_s <= min(last_s, record.end_s) - 0.02
    )
    reference_s, delay_s = reference_s[inside], delay_s[inside]
    if reference_s.size < 6:
        return None
    found: Listening | None = None
    excess = marks.at(reference_s + delay_s)
    clear = max(0.6, 0.55 * float(np.quantile(excess, 0.85)))
    teach = np.where(excess > clear, excess, 0.0) * _loudness(white, reference_s + delay_s)
    spread_s = np.full(reference_s.size, 0.025)
    for _ in range(ROUNDS):
        template = learn_template(white, reference_s + delay_s, teach)
        if template is None:
            return found
        found = _weigh(
            record, deflation, white, template, reference_s, delay_s, spread_s, lag, pulses, found
        )
        teach, delay_s, spread_s, reference_s = _relearn(found, pulses.usable)
        white = _whiten_again(record, deflation, lag.seconds, found) or white
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
    inner = 0.2 if margin_s < 1.0 else clocks.LARGEST_LAG_S / 2
    return whiten(sound, record.rate_hz, start_s, (first_s + inner, last_s - inner), silent_s, loud_s)


def _loudness(white: White, onset_s: FloatArray) -> FloatArray:
    """Weight of a beat as a teacher by its energy, capped at its loud quarter."""
    energy = white.window_energy()
    index = np.clip(white.index(onset_s - LEAD_S), 0, energy.size - 1)
    level = np.log(energy[index] + 0.3)
    level = np.maximum(level - np.median(level), 0.0) + 0.1
    return np.minimum(level, float(np.quantile(level, 0.85)))


def _weigh(
    record: Record,
    deflation: Deflation,
    white: White,
    template: Template,
    reference_s: FloatArray,
    delay_s: FloatArray,
    spread_s: FloatArray,
    lag: clocks.LagFound,
    pulses: Pulses,
    before: Listening | None,
) -> Listening:
    """One round: noise, levels, evidence of each beat, decoding."""
    span_s = (
        max(deflation.start_s - lag.seconds, white.start_s),
        min(deflation.end_s - lag.seconds, white.start_s + white.samples.size / white.rate_hz),
    )
    busy = reference_s + delay_s - LEAD_S
    noise = learn_noise(white, template, busy, span_s)
    teacher_windows = cut(white, template.onset_s - LEAD_S, white.window)
    fold = template.fold[template.teachers]
    own = np.array(
        [
            split_energy(window, template.basis[f])
            for window, f in zip(teacher_windows, fold, strict=True)
        ]
    )
    loud_power = max(float(np.quantile(own[:, 0], 0.8)), 12.0 * RANK)
    floor = np.interp(template.onset_s, noise.time_s, noise.floor)
    over = np.maximum(own[:, 1] - white.dof * floor, 0.0)
    rest_share = float(np.clip(np.median(over / own[:, 0]), 0.02, 1.5))
    fixed = _every_beat(white, template, before, reference_s, delay_s, spread_s, noise.floor)
    evidence = weigh_beats(
        white, template, noise, reference_s, delay_s, spread_s, loud_power, rest_share, fixed
    )
    story = decode(evidence.log_ratio)
    onset_s = reference_s + np.where(story.heard > 0.3, evidence.delay_s, delay_s)
    return Listening(
        reference_s=reference_s,
        onset_s=onset_s,
        cuff_mmhg=deflation.pressure_mmhg(onset_s + lag.seconds),
        evidence=evidence,
        story=story,
        template=template,
        white=white,
        loud_power=loud_power,
        lag=lag,
        from_pulse=pulses.usable,
    )


def _every_beat(
    white: White,
    template: Template,
    before: Listening | None,
    reference_s: FloatArray,
    delay_s: FloatArray,
    spread_s: FloatArray,
    floor: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Noise that comes with every beat (heart sounds), at each delay searched.

    Returns energy per value inside and outside the template's subspace.
    """
    delays = delay_s[:, None] + delay_grid(spread_s)[None, :]
    axis = np.arange(float(delays.min()), float(delays.max()) + 0.008, 0.008)
    windows = cut(white, reference_s[:, None] + axis[None, :] - LEAD_S, white.window)
    own, rest = split_energy(windows, template.basis[FOLDS])
    silent = np.zeros(0, bool)
    if before is not None and before.reference_s.size == reference_s.size:
        silent = before.story.heard < 0.15
    steady = float(np.median(floor))
    profiles = []
    for energy, values in ((own, RANK), (rest, max(white.dof - RANK, 4.0))):
        level = energy / values
        enough = silent.sum() >= 4
        profile = np.median(level[silent], axis=0) if enough else clocks.at_both_ends(level)
        profiles.append(np.interp(delays, axis, np.maximum(profile - steady, 0.0)))
    return profiles[0], profiles[1]


def _relearn(
    found: Listening, from_pulse: bool
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Teachers, delay track, its spread and reference times for the next round."""
    heard = found.story.heard
    onset_s = found.reference_s + found.evidence.delay_s
    strength = np.log1p(found.evidence.own / RANK / np.maximum(found.evidence.floor, 1e-9))
    teach = np.where(heard > 0.5, heard * np.minimum(strength, np.quantile(strength, 0.9)), 0.0)
    if not from_pulse:
        reference_s, far = _regular_clock(onset_s, heard, found.reference_s)
        spread_s = np.minimum(
            SOUND_SPREAD_S + SOUND_SPREAD_S_PER_BEAT * far, WIDEST_SOUND_SPREAD_S
        )
        nearest = np.abs(reference_s[:, None] - onset_s[None, :])
        old = nearest.argmin(axis=1)
        same = nearest[np.arange(old.size), old] < 0.03
        return np.where(same, teach[old], 0.0), np.zeros(old.size), spread_s, reference_s
    track, spread_s = _track(found, heard)
    return teach, track, spread_s, found.reference_s


def _track(found: Listening, heard: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Smooth delay over cuff pressure, robust, and how far to trust it at each beat."""
    pressure = found.cuff_mmhg
    delay_s = found.evidence.delay_s
    weight = np.where(heard > 0.5, heard, 0.0)
    if weight.sum() < 4:
        return delay_s, np.full(delay_s.size, 0.025)
    centre = float(np.average(pressure, weights=weight))
    x = (pressure - centre) / 20.0
    robust = weight.copy()
    coefficient = np.zeros(2)
    for _ in range(4):
        design = np.stack([np.ones_like(x), x], axis=1) * robust[:, None]
        ridge = np.diag([1e-6, 0.02])
        coefficient = np.linalg.solve(
            design.T @ (design / np.maximum(robust, 1e-9)[:, None]) + ridge,
            design.T @ delay_s + ridge @ np.array([0.0, 0.03]),
        )
        coefficient[1] = np.clip(coefficient[1], 0.0, 20.0 * STEEPEST_S_PER_MMHG)
        miss = delay_s - coefficient[0] - coefficient[1] * x
        robust = weight / (1 + (miss / 0.012) ** 2)
    # Beyond the sounds the crossing has reached the top or the foot of the upstroke.
    low, high = float(pressure[weight > 0].min()), float(pressure[weight > 0].max())
    within = np.clip(pressure, low - TRACK_REACH_MMHG, high + TRACK_REACH_MMHG)
    track = coefficient[0] + coefficient[1] * (within - centre) / 20.0
    loose = weight > 0
    scatter = float(np.sqrt(np.average(np.minimum(miss[loose] ** 2, 9e-4), weights=robust[loose])))
    beyond = np.maximum(np.maximum(low - pressure, pressure - high), 0.0)
    spread_s = np.minimum(
        np.maximum(TRACK_SPREAD_S, scatter) + TRACK_SPREAD_S_PER_MMHG * beyond, WIDEST_SPREAD_S
    )
    return track, spread_s


def _regular_clock(
    onset_s: FloatArray, heard: FloatArray, reference_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Beat times that trust heard beats and run on evenly beyond them."""
    sure = np.flatnonzero(heard > 0.5)
    far = np.zeros(onset_s.size)
    if sure.size < 4:
        return reference_s, far + 3.0
    times = onset_s[sure]
    interval = np.diff(times)
    typical = float(np.median(interval))
    counts = np.maximum(np.rint(interval / typical), 1.0)
    typical = float(np.median(interval / counts))
    first, last = float(times[0]), float(times[-1])
    start, end = float(reference_s[0]), float(reference_s[-1])
    early = float(np.mean(interval[:5] / counts[:5])) * 0.5 + 0.5 * typical
    late = float(np.mean(interval[-5:] / counts[-5:])) * 0.5 + 0.5 * typical
    above = first - early * np.arange(int(max(first - start + 0.6 * early, 0) / early), 0, -1)
    below = last + late * np.arange(1, int(max(end - last + 0.6 * late, 0) / late) + 1)
    inside: list[float] = []
    distance: list[float] = []
    for k in range(times.size - 1):
        n = int(counts[k])
        for step in range(n):
            inside.append(float(times[k] + interval[k] * step / n))
            distance.append(float(min(step, n - step)))
    inside.append(last)
    distance.append(0.0)
    clock = np.concatenate([above, inside, below])
    far = np.concatenate(
        [np.arange(above.size, 0, -1.0), distance, np.arange(1.0, below.size + 1)]
    )
    return clock, far


def _whiten_again(
    record: Record, deflation: Deflation, lag_s: float, found: Listening
) -> White | None:
    """Whiten by the noise found between the beats."""
    width_s = found.white.window / found.white.rate_hz
    onset_s = np.sort(found.onset_s)
    edges = np.stack([onset_s[:-1] + width_s + 0.02, onset_s[1:] - 0.03], axis=1)
    edges = edges[edges[:, 1] > edges[:, 0]]
    loud_s = found.template.onset_s - LEAD_S
    return _white(record, deflation, lag_s, 0.4, edges, loud_s)


__all__ = ["FOLDS", "Listening", "listen"]
