"""What speaks for a sound at each expected beat, and how much.

A window of whitened sound is split into its energy in the template's subspace
and the rest; both are compared with the noise around the beat and with what
comes with every beat (heart sounds).  The measures are free of scale.  Their
weights are fitted on simulated recordings by a committed script and stored in
:mod:`tapfall.ear.calibration`; the result is a log odds for each beat.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.delaymap import FALL_MMHG
from tapfall.ear.template import LEAD_S, RANK, Template, cut
from tapfall.ear.whiten import White
from tapfall.model import FloatArray

#: Steps of the delay over which a sound is looked for.
DELAY_STEP_S = 0.006
#: Noise windows looked at, at most, and their hop.
MOST_NOISE_WINDOWS, NOISE_HOP_S = 700, 0.02
#: The local floor is a median over this much either way, at this step.
FLOOR_REACH_S, FLOOR_STEP_S = 1.2, 0.4
#: Where the neighbourhood of a sound is listened to for bursts of noise.
BESIDE_S = 0.12
#: The map is read so much later than a beat is expected, s: above systolic a sound may come
#: up to a tenth of a second late.  From the second one on a sound counts as late.
CHART_OFFSETS_S: FloatArray = np.arange(-4.0, 12.0) * 0.01
LATE_FROM_S = 0.02
#: Names of the measures, in order.
MEASURES = (
    "own_over_floor",
    "rest_over_floor",
    "own_over_loud",
    "own_over_fixed",
    "rest_over_fixed",
    "delay_deviation",
    "polarity",
    "leader_over_floor",
    "before_over_floor",
    "after_over_floor",
    "loud_over_floor",
    "likeness",
    "delay_spread",
    "delay_slope",
    "charted",
    "charted_elsewhere",
    "interval",
    "fall",
    "moved",
    "signed_deviation",
    "late_s",
    "late_own_over_floor",
    "late_rest_over_floor",
    "late_leader_over_floor",
    "reference_error",
    *(f"charted_{round(1000 * offset_s):+d}_ms" for offset_s in CHART_OFFSETS_S.tolist()),
    "here",
)
#: A move off the track that counts as one.
MOVED_S = 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """Evidence at each beat; arrays of shape ``(n,)``, measures ``(n, m)``.

    ``log_odds`` is that of a sound over silence at even prior odds,
    ``delay_s`` the likeliest delay.
    """

    log_odds: FloatArray
    delay_s: FloatArray
    measures: FloatArray

    def measure(self, name: str) -> FloatArray:
        """One of :data:`MEASURES` at every beat, shape ``(n,)``.

        Not the last one, which a closer listening puts behind its own.
        """
        return np.asarray(self.measures[:, MEASURES.index(name)])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Noise:
    """Median noise energy per value, ``floor``, at audio times; both of shape ``(k,)``."""

    time_s: FloatArray
    floor: FloatArray

    def at(self, time_s: FloatArray) -> FloatArray:
        """Floor at audio times."""
        return np.interp(time_s, self.time_s, self.floor)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Learned:
    """What a recording has taught so far: its white sound, that sound's noise, its waveforms."""

    white: White
    noise: Noise
    template: Template


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Expectation:
    """Where the sound of each beat is looked for; arrays of shape ``(n,)``.

    ``slope_s_per_mmhg`` is that of the delay's track, 0 where there is none;
    ``error_s`` how far off each reference is, as a standard deviation.
    """

    reference_s: FloatArray
    delay_s: FloatArray
    spread_s: FloatArray
    slope_s_per_mmhg: float
    error_s: float = 0.0

    def delays(self) -> tuple[FloatArray, FloatArray]:
        """Delays searched, shape ``(n, k)``, and their squared deviations."""
        reach = max(DELAY_STEP_S, 2.5 * float(self.spread_s.max()))
        count = int(np.ceil(reach / DELAY_STEP_S))
        grid = np.arange(-count, count + 1) * DELAY_STEP_S
        deviation = (grid[None, :] / self.spread_s[:, None]) ** 2
        return self.delay_s[:, None] + grid[None, :], deviation


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Charted:
    """What the map of delays says of each beat, as log odds.

    ``near`` its expected delay and ``elsewhere``, shape ``(n,)``; ``along`` at
    :data:`CHART_OFFSETS_S` after it, shape ``(n, k)``.
    """

    near: FloatArray
    elsewhere: FloatArray
    along: FloatArray

    def late_s(self) -> FloatArray:
        """How late the likeliest late sound of each beat is, shape ``(n,)``."""
        late = CHART_OFFSETS_S >= LATE_FROM_S - 1e-9
        return np.asarray(CHART_OFFSETS_S[late][self.along[:, late].argmax(axis=1)])


def split_energy(windows: FloatArray, basis: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Energy inside and outside a subspace; windows ``(..., w)``, basis ``(RANK, w)``."""
    inside = np.sum((windows @ basis.T) ** 2, axis=-1)
    whole = np.einsum("...w,...w->...", windows, windows)
    return inside + 1e-9, np.maximum(whole - inside, 1e-9)


def learn_noise(white: White, busy_s: FloatArray, span_s: tuple[float, float]) -> Noise:
    """Learn the noise floor from windows between the beats.

    Parameters
    ----------
    white
        Whitened sound.
    busy_s
        Starts of windows that may hold a sound, audio time, shape ``(n,)``.
    span_s
        Audio times of the deflation.

    Returns
    -------
    Noise
        Floor per degree of freedom over time.
    """
    width_s = white.window / white.rate_hz
    hop_s = max(NOISE_HOP_S, (span_s[1] - span_s[0]) / (3 * MOST_NOISE_WINDOWS))
    starts = np.arange(span_s[0], span_s[1] - width_s, hop_s)
    busy = np.sort(busy_s)
    after = np.searchsorted(busy, starts)
    to_next = np.where(after < busy.size, busy[np.minimum(after, busy.size - 1)], np.inf) - starts
    since = starts - np.where(after > 0, busy[np.maximum(after - 1, 0)], -np.inf)
    free = (to_next > width_s + 0.01) & (since > width_s + 0.03)
    if free.sum() < 40:
        free = (to_next > 0.5 * width_s) & (since > 0.7 * width_s)
    if free.sum() < 40:
        free = np.ones(starts.size, bool)
    starts = starts[free]
    if starts.size > MOST_NOISE_WINDOWS:
        starts = starts[:: starts.size // MOST_NOISE_WINDOWS + 1]
    energy = white.energy * white.window / white.dof
    level = energy[np.clip(white.index(starts), 0, energy.size - 1)]
    centre = np.arange(starts[0], starts[-1] + FLOOR_STEP_S, FLOOR_STEP_S)
    low = np.searchsorted(starts, centre - FLOOR_REACH_S)
    high = np.searchsorted(starts, centre + FLOOR_REACH_S)
    filled = high > low
    floor = np.array(
        [
            _median(level[a:b])
            for a, b in zip(low[filled].tolist(), high[filled].tolist(), strict=True)
        ]
    )
    least = 0.5 * float(np.median(level)) + 1e-9
    return Noise(time_s=centre[filled], floor=np.maximum(floor, least))


def _median(values: FloatArray) -> float:
    """Median of a few values, without the checks that take most of numpy's time."""
    ordered, half = np.sort(values), values.size // 2
    return float(0.5 * (ordered[half] + ordered[~half]))


def weigh_beats(
    learned: Learned,
    expected: Expectation,
    loud_power: float,
    fixed: tuple[FloatArray, FloatArray],
    charted: Charted,
    fall_mmhg: FloatArray,
    moved_s: FloatArray,
) -> Evidence:
    """Weigh each beat: sound, or none.

    Parameters
    ----------
    learned
        Sound, noise and waveforms of the recording.
    expected
        Where each sound is looked for.
    loud_power
        Subspace energy of the loudest sounds.
    fixed
        Energy per value that comes with every beat (heart sounds), inside and
        outside the subspace, each of shape ``(n, k)`` on the delays searched.
    charted
        What the map of delays says.
    fall_mmhg
        Fall of the cuff before each beat, shape ``(n,)``.
    moved_s
        How much later than on the track each beat is expected, shape ``(n,)``.

    Returns
    -------
    Evidence
        Log odds and what was found at the likeliest delay.
    """
    white = learned.white
    delays, deviation = expected.delays()
    own, rest, leaders = _heard_at(learned, expected.reference_s[:, None] + delays)
    floor = learned.noise.at(expected.reference_s + expected.delay_s)
    own_noise = RANK * (floor[:, None] + fixed[0])
    rest_noise = floor[:, None] + fixed[1]
    # The likeliest delay: most sound over noise, least rest, near the track.
    score = 1.5 * np.log(own / own_noise + 1) - 0.5 * np.log(rest / rest_noise) - 0.5 * deviation
    best = np.argmax(np.where(deviation <= 2.6**2, score, -np.inf), axis=1)
    rows = np.arange(best.size)
    own, rest = own[rows, best], rest[rows, best]
    leader = leaders[rows, best]
    energy = white.energy * white.window / white.dof
    onset = expected.reference_s + delays[rows, best] - LEAD_S

    def beside(offset_s: float) -> FloatArray:
        index = np.clip(white.index(onset + offset_s), 0, energy.size - 1)
        return np.asarray(np.log(energy[index] / floor + 0.1))

    def same(value: float) -> FloatArray:
        return np.full(best.size, value)

    over_fixed = np.log(own / own_noise[rows, best] + 0.05)
    led = _signed_log(leader, floor)
    late_s = charted.late_s()
    late_onset = expected.reference_s + expected.delay_s + late_s
    measures = np.stack(
        [
            np.log(own / (RANK * floor) + 0.05),
            np.log(rest / floor + 0.05),
            np.log(own / loud_power + 1e-4),
            over_fixed,
            np.log(rest / rest_noise[rows, best] + 0.05),
            deviation[rows, best],
            leader / np.sqrt(own),
            led,
            beside(-BESIDE_S),
            beside(BESIDE_S),
            same(float(np.log(loud_power / (RANK * float(np.median(floor)))))),
            same(learned.template.likeness),
            np.log(expected.spread_s / 0.01),
            same(float(np.clip(expected.slope_s_per_mmhg * 1000.0, 0.0, 6.0))),
            charted.near,
            charted.elsewhere,
            _intervals(expected.reference_s),
            fall_mmhg / FALL_MMHG,
            moved_s / MOVED_S,
            (delays[rows, best] - expected.delay_s) / MOVED_S,
            late_s / MOVED_S,
            *over_floor(learned, late_onset, floor),
            same(expected.error_s / 0.01),
            *charted.along.T,
            same(1.0),
        ],
        axis=1,
    )
    return Evidence(
        log_odds=CALIBRATION.evidence.log_odds(measures),
        delay_s=delays[rows, best],
        measures=measures,
    )


def over_floor(
    learned: Learned, onset_s: FloatArray, floor: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Each beat's energy at one onset, inside the subspace and outside, and its leader's.

    Logs over the noise floor; onsets and all others have shape ``(n,)``.
    """
    own, rest, leader = (one[:, 0] for one in _heard_at(learned, onset_s[:, None]))
    return (
        np.asarray(np.log(own / (RANK * floor) + 0.05)),
        np.asarray(np.log(rest / floor + 0.05)),
        _signed_log(leader, floor),
    )


def _heard_at(learned: Learned, onset_s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Each beat's energy at some onsets, inside the subspace and per value outside; its leader.

    Onsets are ``(n, k)``, and so is each of the three.
    """
    white, template = learned.white, learned.template
    windows = cut(white, onset_s - LEAD_S, white.window)
    inside = np.einsum("nkw,nrw->nkr", windows, template.basis[template.fold])
    own = np.sum(inside**2, axis=2) + 1e-9
    whole = np.einsum("nkw,nkw->nk", windows, windows)
    rest = np.maximum(whole - own, 1e-3 * own + 1e-9) / max(white.dof - RANK, 4.0)
    return own, rest, inside[:, :, 0]


def _signed_log(value: FloatArray, floor: FloatArray) -> FloatArray:
    """Log of a value's energy over the floor, with the value's sign."""
    return np.asarray(np.sign(value) * np.log1p(value**2 / floor))


def _intervals(time_s: FloatArray) -> FloatArray:
    """Log of each beat's interval over the median one."""
    interval = np.diff(time_s, prepend=2 * time_s[0] - time_s[1])
    return np.asarray(np.log(np.maximum(interval, 0.05) / float(np.median(interval))))
