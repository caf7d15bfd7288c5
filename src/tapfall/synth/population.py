"""People, cuffs and rooms drawn from stated ranges.

Where no source stands beside a range it is our choice: wide enough that a
reader cannot learn a value by heart.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from tapfall.synth.scenario import Cuff, Noise, Person, Room, Scenario, Sensor, Sound
from tapfall.synth.streams import stream

#: Evenly drawn fields: smallest and largest value.
PERSON_RANGES = {
    "heart_rate_per_min": (50.0, 110.0),
    "interval_breath_share": (0.005, 0.06),
    "interval_sd_share": (0.005, 0.035),
    "fibrillation_share": (0.17, 0.34),
    "ectopic_coupling": (0.5, 0.76),
    "ectopic_pair_share": (1.82, 2.02),
    "filling_gain": (0.4, 1.1),
    "breath_per_min": (10.0, 22.0),
    "breath_swing_mmhg": (1.0, 7.0),
    "slow_swing_mmhg": (0.5, 4.0),
    "beat_sd_mmhg": (0.3, 1.2),
    "upstroke_s": (0.08, 0.2),
    "upstroke_shape": (0.0, 1.0),
    "notch_share": (0.03, 0.25),
}
CUFF_RANGES = {
    "rest_before_s": (3.0, 8.0),
    "rest_after_s": (6.0, 9.0),
    "inflation_mmhg_per_s": (12.0, 40.0),
    "stroke_mmhg": (8.0, 25.0),
    "hold_s": (0.5, 3.0),
    "deflation_mmhg_per_s": (2.0, 3.5),
    "deflation_curve": (0.0, 0.4),
    "wobble_share": (0.03, 0.3),
    "release_mmhg_per_s": (40.0, 150.0),
    "pulse_centre_share": (0.37, 0.53),
    "pulse_floor_share": (0.02, 0.15),
    "pulse_offset_s": (-0.01, 0.01),
    "bumps_per_min": (0.0, 3.0),
    "bump_mmhg": (0.5, 4.0),
    "zero_offset_mmhg": (-1.0, 1.0),
    "gain_error_share": (-0.01, 0.01),
    "noise_sd_mmhg": (0.05, 0.2),
    "drift_ppm": (-60.0, 60.0),
}
SOUND_RANGES = {
    "peak_dbfs": (-38.0, -10.0),  # 28 dB from person to person: Celler 2017
    "first_db": (-20.0, -10.0),
    "second_db": (-8.0, -1.0),
    "last_db": (-20.0, -10.0),
    "muffled_db": (-9.0, -3.0),
    "loudest_share": (0.45, 0.7),
    "edge_mmhg": (0.2, 1.2),
    "level_sd_db": (0.7, 2.5),
    "breath_db": (0.3, 2.5),
    "low_hz": (36.0, 55.0),
    "high_hz": (100.0, 190.0),
    "tap_s": (0.008, 0.022),
    "spread": (0.08, 0.25),
    "crisp_share": (0.1, 0.5),
    "muffle_share": (0.3, 0.55),
    "murmur_db": (-14.0, 0.0),
    "murmur_low_hz": (70.0, 130.0),
    "murmur_high_hz": (250.0, 800.0),
    "murmur_s": (0.06, 0.15),
    "thump_db": (-10.0, 6.0),
    "thump_hz": (4.5, 7.5),
}
ROOM_RANGES = {
    "inflation_noise_db": (-20.0, 3.0),
    "inflation_noise_offset_s": (-1.0, 1.0),
    "release_noise_db": (-26.0, -6.0),
    "s1_before_s": (0.0, 0.18),
    "s2_after_s": (0.1, 0.28),
    "s2_db": (-9.0, 3.0),
    "s1_slope_db": (6.5, 7.5),  # Sakai 1971
    "heart_breath_db": (0.5, 4.0),
}
LOG_RATES_HZ = (20.0, 25.0, 50.0, 50.0, 100.0, 125.0, 200.0)
ROOM_KINDS = ("breath", "hum", "white", "valve_hiss", "knocks", "friction", "speech")


def _draw(rng: np.random.Generator, ranges: dict[str, tuple[float, float]]) -> dict[str, Any]:
    return {name: round(float(rng.uniform(low, high)), 5) for name, (low, high) in ranges.items()}


def _normal(rng: np.random.Generator, mean: float, sd: float, low: float, high: float) -> float:
    return round(float(np.clip(rng.normal(mean, sd), low, high)), 3)


def mix(rng: np.random.Generator, kinds: tuple[str, ...], snr_db: float) -> tuple[Noise, ...]:
    """Share one signal-to-noise ratio among several kinds of noise.

    Parameters
    ----------
    rng
        Draws the shares.
    kinds
        Kinds of noise, without files.
    snr_db
        The ratio of all of them together, in dB.

    Returns
    -------
    tuple of Noise
        One per kind; their powers add up to the ratio.
    """
    shares = rng.dirichlet(np.ones(len(kinds)) * 2)
    tone_hz = float(rng.choice([50.0, 60.0]))
    return tuple(
        Noise(
            kind=kind,
            snr_db=round(float(min(snr_db - 10 * np.log10(max(share, 1e-4)), 89.0)), 3),
            tone_hz=tone_hz,
        )
        for kind, share in zip(kinds, shares, strict=True)
    )


def beat_step_mmhg(scenario: Scenario) -> float:
    """Fall of the cuff from beat to beat, mmHg: deflation rate times beat interval.

    Examples
    --------
    >>> beat_step_mmhg(Scenario(person=Person(heart_rate_per_min=75.0)))
    2.0
    """
    return scenario.cuff.deflation_mmhg_per_s * 60 / scenario.person.heart_rate_per_min


def sample(
    seed: int, *, delay_s: tuple[float, float] = (0.0, 0.06), reach_beats: float = 5.0
) -> Scenario:
    """Draw an ordinary measurement of a person from the population.

    Parameters
    ----------
    seed
        Whole number; also the scenario's seed.
    delay_s
        Range of the delay from pulse to sound, seconds.
    reach_beats
        At least so many beats of silence above systolic and below diastolic.

    Returns
    -------
    Scenario
        Systolic 90-200, diastolic 50-110 mmHg, heart rate 50-110 per minute,
        inflated 20-45 mmHg above systolic, listened to 12-35 mmHg below
        diastolic, room noise of several kinds at 14-26 dB.

    Examples
    --------
    >>> sample(5) == sample(5)
    True
    >>> 90 <= sample(5).person.systolic_mmhg <= 200
    True
    """
    rng = stream(seed, "population")
    systolic = _normal(rng, 132, 24, 90, 200)
    diastolic = float(np.clip(systolic - _normal(rng, 48, 13, 26, 95), 50, 110))
    diastolic = round(min(diastolic, systolic - 24), 3)
    person = Person(systolic_mmhg=systolic, diastolic_mmhg=diastolic, **_draw(rng, PERSON_RANGES))
    values = _draw(rng, CUFF_RANGES)
    step = values["deflation_mmhg_per_s"] * 60 / person.heart_rate_per_min
    above = max(float(rng.uniform(20, 45)), reach_beats * step)
    below = max(float(rng.uniform(12, 35)), reach_beats * step)
    half = _normal(rng, 57, 11, 30, 90)  # Liu 2014
    cuff = Cuff(
        **values,
        inflation=str(rng.choice(["bulb", "pump"])),
        top_mmhg=round(systolic + above, 3),
        end_mmhg=round(max(diastolic - below, 15.0), 3),
        pulse_mmhg=_normal(rng, 3.0, 0.8, 1.2, 5.5),  # Liu 2014
        pulse_width_50_mmhg=half,
        pulse_width_30_mmhg=round(half * _normal(rng, 1.56, 0.08, 1.4, 1.75), 3),
        log_rate_hz=float(rng.choice(LOG_RATES_HZ)),
        rounding_mmhg=float(rng.choice([0.0, 0.1, 0.1, 0.1, 0.25])),
        dropouts_per_min=1.0 if rng.random() < 0.1 else 0.0,
        dropout_s=round(float(rng.uniform(0.3, 1.5)), 3),
    )
    sound = Sound(
        **_draw(rng, SOUND_RANGES),
        delay_s=round(float(rng.uniform(*delay_s)), 5),
        muffling_mmhg=_normal(rng, 6.3, 2.6, 1.5, 14),  # Hammond 1995, 25 years
    )
    sensor = Sensor(
        response=str(rng.choice(["bell", "diaphragm", "electronic"])),
        gain_swing_db=float(rng.choice([0.0, 0.0, 0.0, 6.0])),
        bits=16,
    )
    others = rng.choice(len(ROOM_KINDS), int(rng.integers(1, 4)), replace=False)
    kinds = ("pink", *(ROOM_KINDS[int(i)] for i in others))
    noises = mix(rng, kinds, float(rng.uniform(14, 26)))
    heart = Noise(kind="heart", snr_db=round(float(rng.uniform(14, 40)), 3))
    room = Room(noises=(*noises, heart), **_draw(rng, ROOM_RANGES))
    return Scenario(
        seed=seed,
        name=f"person-{seed}",
        person=person,
        cuff=cuff,
        sound=sound,
        sensor=sensor,
        room=room,
    )


def with_noise(scenario: Scenario, *noises: Noise) -> Scenario:
    """Replace the room's noises, keeping its conducted heart sounds."""
    heart = tuple(noise for noise in scenario.room.noises if noise.kind == "heart")
    kept = () if any(noise.kind == "heart" for noise in noises) else heart
    return replace(scenario, room=replace(scenario.room, noises=(*noises, *kept)))
