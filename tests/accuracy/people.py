"""Changes to the person of a simulated recording, and to what follows from the person."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tapfall.synth.population import beat_step_mmhg
from tapfall.synth.scenario import Scenario
from tests.accuracy.splits import Split, intervals

#: Persons far from the middle of the population: pulse pressure, systolic pressure and heart rate,
#: drawn widely (our choice; a quarter of the systolic pressure is called narrow: common practice).
UNUSUAL_PULSE_MMHG, UNUSUAL_SYSTOLIC_MMHG = (12.0, 120.0), (65.0, 250.0)
LEAST_DIASTOLIC_MMHG, MOST_DIASTOLIC_MMHG = 30.0, 150.0
UNUSUAL_RATE_PER_MIN = (35.0, 180.0)
#: Share of the slower hearts in bigeminy, and share of cuffs let down slowly.
BIGEMINY, FASTEST_BIGEMINY_PER_MIN = 0.3, 110.0
SLOW, SLOW_MMHG_PER_S = 0.2, (0.8, 2.0)
#: The hand lets the cuff down so slowly that so many beats lie between the two pressures.
LEAST_STEPS = 5.0
#: The pressure rises for no more of a beat than this.
MOST_UPSTROKE = 0.35


def with_cuff(scenario: Scenario, **changes: object) -> Scenario:
    return replace(scenario, cuff=replace(scenario.cuff, **changes))


def with_person(scenario: Scenario, **changes: object) -> Scenario:
    return replace(scenario, person=replace(scenario.person, **changes))


def with_sound(scenario: Scenario, **changes: object) -> Scenario:
    return replace(scenario, sound=replace(scenario.sound, **changes))


def fresh_reach(scenario: Scenario, rng: np.random.Generator, reach_beats: float = 5.0) -> Scenario:
    """Choose top and end of the deflation anew after pressures or rates have changed."""
    person, step = scenario.person, beat_step_mmhg(scenario)
    above = max(rng.uniform(20, 45), reach_beats * step)
    below = max(rng.uniform(12, 35), reach_beats * step)
    return with_cuff(
        scenario,
        top_mmhg=round(person.systolic_mmhg + above, 3),
        end_mmhg=round(max(person.diastolic_mmhg - below, 12.0), 3),
    )


def with_series(
    scenario: Scenario,
    rng: np.random.Generator,
    series: tuple[float, ...],
    reach_beats: float = 5.0,
) -> Scenario:
    mean = float(np.mean(series))
    changed = with_person(
        scenario,
        rhythm="series",
        intervals_s=series,
        heart_rate_per_min=float(np.clip(60 / mean, 30, 200)),
    )
    return fresh_reach(changed, rng, reach_beats)


def alternans(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    pulse = scenario.person.systolic_mmhg - scenario.person.diastolic_mmhg
    return with_person(scenario, alternans_mmhg=round(min(rng.uniform(8, 20), 0.45 * pulse), 3))


def ectopic(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    rhythm = "bigeminy" if rng.random() < 0.15 else "ectopics"
    changed = with_person(scenario, rhythm=rhythm, ectopics_per_min=round(rng.uniform(4, 12), 2))
    return fresh_reach(changed, rng)


def room_for_gap(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    """A person whose pulse pressure has room for a gap."""
    diastolic = round(rng.uniform(62, 110), 3)
    systolic = round(min(diastolic + rng.uniform(60, 95), 205.0), 3)
    return fresh_reach(with_person(scenario, systolic_mmhg=systolic, diastolic_mmhg=diastolic), rng)


def fibrillation(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    series = intervals(rng, split.fibrillation)
    if not series:
        return fresh_reach(with_person(scenario, rhythm="atrial_fibrillation"), rng, 8.0)
    return with_series(scenario, rng, series, 8.0)


def ectopic_real(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    series = intervals(rng, split.ectopic, early=True)
    if not series:
        return ectopic(scenario, rng, split)
    return with_series(scenario, rng, series, 6.0)


def irregular(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    return with_person(
        scenario,
        interval_breath_share=round(rng.uniform(0.12, 0.22), 4),
        interval_sd_share=round(rng.uniform(0.04, 0.1), 4),
        breath_swing_mmhg=round(rng.uniform(6, 12), 3),
    )


def unusual(scenario: Scenario, rng: np.random.Generator, split: Split) -> Scenario:
    """A narrow or wide pulse pressure, a high or low one, a fast or slow heart."""
    pulse = float(np.exp(rng.uniform(*np.log(UNUSUAL_PULSE_MMHG))))
    lowest = max(UNUSUAL_SYSTOLIC_MMHG[0], LEAST_DIASTOLIC_MMHG + pulse)
    highest = min(UNUSUAL_SYSTOLIC_MMHG[1], MOST_DIASTOLIC_MMHG + pulse)
    systolic = float(rng.uniform(lowest, highest))
    rate_per_min = float(np.exp(rng.uniform(*np.log(UNUSUAL_RATE_PER_MIN))))
    fall = scenario.cuff.deflation_mmhg_per_s
    if rng.random() < SLOW:
        fall = float(rng.uniform(*SLOW_MMHG_PER_S))
    fall = min(fall, pulse / LEAST_STEPS * rate_per_min / 60)
    size_mmhg = scenario.cuff.pulse_mmhg
    if rng.random() < 0.5:  # else as large as anybody's
        size_mmhg = min(size_mmhg * float(np.clip(pulse / 48, 0.3, 2.0)), 9.0)
    paired = rng.random() < BIGEMINY and rate_per_min < FASTEST_BIGEMINY_PER_MIN
    person = with_person(
        scenario,
        systolic_mmhg=round(systolic, 3),
        diastolic_mmhg=round(systolic - pulse, 3),
        heart_rate_per_min=round(rate_per_min, 3),
        upstroke_s=round(min(scenario.person.upstroke_s, MOST_UPSTROKE * 60 / rate_per_min), 4),
        rhythm="bigeminy" if paired else "sinus",
        breath_swing_mmhg=round(min(scenario.person.breath_swing_mmhg, 0.25 * pulse), 3),
    )
    return fresh_reach(
        with_cuff(person, deflation_mmhg_per_s=round(fall, 4), pulse_mmhg=round(size_mmhg, 3)), rng
    )
