"""Changes to the log of a simulated recording, and to its clock."""

from __future__ import annotations

import numpy as np

from tapfall.synth.scenario import Scenario
from tests.accuracy.people import with_cuff
from tests.accuracy.splits import Split


def coarse(scenario: Scenario, _: np.random.Generator, __: Split) -> Scenario:
    return with_cuff(scenario, log_rate_hz=1.0, rounding_mmhg=2.0)


def slow_log(scenario: Scenario, rng: np.random.Generator, _: Split) -> Scenario:
    rate_hz = round(float(np.exp(rng.uniform(np.log(7.0), np.log(15.0)))), 2)
    return with_cuff(
        scenario, log_rate_hz=rate_hz, rounding_mmhg=float(rng.choice([0.1, 0.1, 0.5, 1.0]))
    )


def lag(scenario: Scenario, rng: np.random.Generator, _: Split) -> Scenario:
    return with_cuff(scenario, lag_s=round(rng.uniform(-1.5, 1.5), 4))


def plain(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    """A quick log that shows no pulse: a gauge that was read off, or a sensor that is damped."""
    return with_cuff(
        scenario,
        pulse_mmhg=0.0,
        log_rate_hz=float(rng.choice((8.0, 10.0, 12.5, 20.0, 25.0, 50.0, 100.0))),
        rounding_mmhg=float(rng.choice((0.1, 0.25, 0.5, 1.0, 2.0))),
        noise_sd_mmhg=float(rng.choice((0.0, 0.0, 0.05, 0.1, 0.2))),
    )


def damped(scenario: Scenario, rng: np.random.Generator) -> Scenario:
    """A manometer that follows the cuff within a twentieth to half a second (our choice)."""
    damping_s = float(np.exp(rng.uniform(np.log(0.05), np.log(0.5))))
    return with_cuff(scenario, damping_s=round(damping_s, 4))
