"""The heart: when the pulse reaches the cuff, and each beat's own pressures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.second import files
from tests.second.kinds import UNEVEN
from tests.second.person import Person
from tests.second.waves import BoolArray, FloatArray, slow_curve

#: Most intervals of one recording.
MOST = 260
#: Spread of the logarithm of made intervals in fibrillation (our choice).
UNEVEN_SPREAD = 0.22


@dataclass(frozen=True, slots=True, kw_only=True)
class Beats:
    """Every beat of a recording, arrays of one length.

    ``foot_s`` is the foot of the pulse at the cuff; ``breath`` runs from -1 to 1;
    ``weak`` marks the weaker beats of alternans, ``early`` the ectopic ones; a beat is
    ``expected`` unless the interval before it is under 80 % of the local median.
    """

    foot_s: FloatArray
    interval_s: FloatArray
    systolic_mmhg: FloatArray
    diastolic_mmhg: FloatArray
    breath: FloatArray
    weak: BoolArray
    early: BoolArray
    expected: BoolArray


def draw_beats(rng: np.random.Generator, kind: str, person: Person, end_s: float) -> Beats:
    """Draw the beats up to shortly before the end of the recording."""
    interval_s = _intervals_s(rng, kind, person).copy()
    early = np.zeros(len(interval_s), bool)
    if kind == "ectopic":
        _come_early(rng, interval_s, early)
    foot_s = rng.uniform(0, 0.8) + np.concatenate([[0], np.cumsum(interval_s)])
    count = int(np.searchsorted(foot_s, end_s - 0.3))
    foot_s = foot_s[:count]
    usual_s = np.median(interval_s)
    before_s = np.concatenate([[usual_s], interval_s])[:count]
    breath = np.sin(2 * np.pi * person.breath.rate_hz * foot_s + person.breath.phase_rad)
    diastolic_mmhg, systolic_mmhg = _pressures(rng, kind, person, before_s, usual_s, breath)
    weak = np.zeros(count, bool)
    if person.alternans_mmhg:
        weak = np.arange(count) % 2 == rng.integers(2)
        systolic_mmhg = systolic_mmhg - person.alternans_mmhg * weak
        diastolic_mmhg = diastolic_mmhg + rng.uniform(-1, 1.5) * weak
    return Beats(
        foot_s=foot_s,
        interval_s=np.append(np.diff(foot_s), usual_s),
        systolic_mmhg=systolic_mmhg,
        diastolic_mmhg=diastolic_mmhg,
        breath=breath,
        weak=weak,
        early=early[:count],
        expected=_expected(before_s),
    )


def _intervals_s(rng: np.random.Generator, kind: str, person: Person) -> FloatArray:
    """Real intervals, in sinus rhythm scaled to the person's rate, or made ones."""
    mean_s = 60 / person.heart_rate_per_min
    if kind == "af" and not files.there(files.FIBRILLATION):
        return mean_s * np.clip(np.exp(UNEVEN_SPREAD * rng.standard_normal(MOST)), 0.5, 1.9)
    if kind == "af":
        real_s = files.intervals_s(files.FIBRILLATION)
        real_s = real_s[np.isfinite(real_s) & (real_s > 0.25) & (real_s < 2.5)]
        start = rng.integers(0, len(real_s))
        return np.roll(real_s, -start) * rng.uniform(0.85, 1.25)
    if rng.random() < 0.7 and files.there(*files.SINUS):
        real_s = files.intervals_s(files.SINUS[rng.integers(2)])
        real_s = real_s[np.isfinite(real_s)]
        start = rng.integers(0, len(real_s) - MOST)
        real_s = real_s[start : start + MOST]
        usual_s = np.median(real_s)
        # early beats only where the kind asks for them
        real_s = usual_s + np.clip(real_s - usual_s, -0.12 * usual_s, 0.14 * usual_s)
        return real_s / usual_s * 60 / person.heart_rate_per_min
    time_s = np.arange(MOST) * 60 / person.heart_rate_per_min
    phase_rad = 2 * np.pi * person.breath.rate_hz * time_s + person.breath.phase_rad + 1
    return mean_s * (
        1
        + rng.uniform(0.005, 0.04) * np.sin(phase_rad)
        + rng.uniform(0.005, 0.02) * slow_curve(rng, MOST, 5, 1)
        + 0.006 * rng.standard_normal(MOST)
    )


def _come_early(rng: np.random.Generator, interval_s: FloatArray, early: BoolArray) -> None:
    """Make every 6th to 14th beat early, in place, most with a pause after it."""
    at = 4 + int(rng.integers(6, 15))
    while at < len(interval_s) - 2:
        share = rng.uniform(0.58, 0.74)
        if rng.random() < 0.7:
            interval_s[at + 1] = interval_s[at] * (2 - share)
        interval_s[at] *= share
        early[at + 1] = True
        at += int(rng.integers(6, 15))


def _pressures(
    rng: np.random.Generator,
    kind: str,
    person: Person,
    before_s: FloatArray,
    usual_s: float,
    breath: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Diastolic and systolic of each beat, in mmHg.

    After a long interval the diastolic is lower and the pulse larger; breathing moves
    both, the systolic more (sizes our choice).
    """
    count = len(before_s)
    slow = slow_curve(rng, count, 12, 1)
    longer = np.clip((before_s - usual_s) / usual_s, -0.6, 0.9)
    swing_s, swing_d = person.breath.systolic_mmhg, person.breath.diastolic_mmhg
    run_off_mmhg = 14 * usual_s * longer * (1 if kind in UNEVEN else 0.5)
    diastolic_mmhg = person.diastolic_mmhg + swing_d * breath + 0.8 * slow - run_off_mmhg
    diastolic_mmhg = diastolic_mmhg + 0.3 * rng.standard_normal(count)
    filling = 0.45 if kind in UNEVEN else 0.15
    gain = 1 + filling * np.where(longer < 0, longer, 0.6 * longer)
    pulse_mmhg = (person.systolic_mmhg - person.diastolic_mmhg) * gain
    systolic_mmhg = diastolic_mmhg + pulse_mmhg + (swing_s - swing_d) * breath + 1.0 * slow
    return diastolic_mmhg, systolic_mmhg + 0.5 * rng.standard_normal(count)


def _expected(before_s: FloatArray) -> BoolArray:
    count = len(before_s)
    local_s = [np.median(before_s[max(0, at - 5) : at + 6]) for at in range(count)]
    return before_s >= 0.8 * np.array(local_s)
