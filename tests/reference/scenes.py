"""Clean simulated measurements that the tests of this folder share."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from tapfall.ear import take_reading
from tapfall.model import CuffLog, Reading
from tapfall.synth import (
    Cuff,
    Noise,
    Person,
    Room,
    Scenario,
    Sensor,
    Simulation,
    Sound,
    simulate,
)

RATE_HZ = 4000.0


def steady_person(heart_rate_per_min: float = 70.0) -> Person:
    """A person whose pressures and intervals hardly change from beat to beat."""
    return Person(
        systolic_mmhg=122.0,
        diastolic_mmhg=76.0,
        heart_rate_per_min=heart_rate_per_min,
        interval_breath_share=0.01,
        interval_sd_share=0.01,
        breath_swing_mmhg=0.0,
        slow_swing_mmhg=0.0,
        beat_sd_mmhg=0.0,
    )


@lru_cache(maxsize=64)
def clean(
    seed: int,
    heart_rate_per_min: float = 70.0,
    deflation_mmhg_per_s: float = 3.0,
) -> Simulation:
    """Sounds of nearly one loudness, 45 dB above a little pink noise."""
    return simulate(
        Scenario(
            seed=seed,
            person=steady_person(heart_rate_per_min),
            cuff=Cuff(
                rest_before_s=2.0,
                rest_after_s=3.0,
                top_mmhg=150.0,
                end_mmhg=52.0,
                deflation_mmhg_per_s=deflation_mmhg_per_s,
                wobble_share=0.02,
            ),
            sound=Sound(
                first_db=-5.0, second_db=-3.0, last_db=-5.0, muffled_db=-4.0, level_sd_db=0.5
            ),
            sensor=Sensor(rate_hz=RATE_HZ),
            room=Room(
                noises=(Noise(kind="pink", snr_db=45.0),),
                inflation_noise_db=-40.0,
                release_noise_db=-40.0,
            ),
        )
    )


@lru_cache(maxsize=64)
def clean_reading(
    seed: int,
    heart_rate_per_min: float = 70.0,
    deflation_mmhg_per_s: float = 3.0,
) -> Reading:
    """Its reading."""
    return take_reading(clean(seed, heart_rate_per_min, deflation_mmhg_per_s).recording)


def mean_mmhg(log: CuffLog, time_s: float, width_s: float) -> float:
    """Cuff pressure at a time by a straight line through one beat's rows on each side.

    Over whole beats the pulses cancel; the line follows the fall.
    """
    near = np.abs(log.time_s - time_s) <= width_s
    fit = np.polynomial.Polynomial.fit(log.time_s[near] - time_s, log.pressure_mmhg[near], 1)
    return float(fit(0.0))
