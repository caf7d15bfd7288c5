"""Logs of many waves, and what is learned from them of a manometer that lags."""

from __future__ import annotations

import numpy as np
import pytest

from tapfall.ear.network import Weights
from tapfall.synth.scenario import Person
from tests.calibrate.damping import fit_damping, marked
from tests.calibrate.waves import draw_upstroke_s, draw_wave


@pytest.mark.parametrize("seed", range(8))
def test_a_drawn_wave_rises_to_its_top_and_comes_back_to_its_foot(seed: int) -> None:
    rng = np.random.default_rng(seed)
    wave, person = draw_wave(rng), Person(upstroke_s=0.15)
    time_s, foot_s = np.arange(0.0, 3.0, 0.002), np.arange(0.0, 5.0)
    height = wave.train(time_s, foot_s, person)
    rising = (time_s % 1.0 > 0) & (time_s % 1.0 < 0.15)
    assert (np.diff(height)[rising[:-1] & rising[1:]] >= 0).all()
    assert height[np.isclose(time_s, 1.15)] == pytest.approx(1.0, abs=0.02)
    assert height[np.isclose(time_s, 1.0)] == pytest.approx(0.0, abs=0.02)
    half_s = 1 + wave.half * 0.15
    assert np.interp(half_s, time_s, height) == pytest.approx(0.5, abs=0.02)


def test_the_upstroke_of_a_racing_heart_is_a_part_of_its_beat() -> None:
    rng = np.random.default_rng(0)
    person = Person(heart_rate_per_min=180.0)
    assert max(draw_upstroke_s(rng, person) for _ in range(100)) < 0.12


def test_marks_of_logs_that_are_not_damped_lie_on_the_upstroke() -> None:
    rows = [marked(("ordinary", seed), wide=False) for seed in range(3000, 3012)]
    plain = [row for row in rows if row and row["damping_s"] == 0]
    assert len(plain) >= 5
    assert max(abs(row["late_s"]) for row in plain) < 0.02
    assert all(row["wave"].shape == (47,) for row in plain)


def test_the_fit_learns_what_the_shape_says() -> None:
    rng = np.random.default_rng(4)
    late = rng.uniform(0.0, 0.12, 300)
    wave = np.outer(late / 0.12, np.sin(np.arange(47))) + 0.05 * rng.standard_normal((300, 47))
    rows = [
        {"wave": one, "late_s": s, "scatter_s": 0.01} for one, s in zip(wave, late, strict=True)
    ]
    rows += [{"wave": wave[0], "late_s": 9.0, "scatter_s": 0.1}]  # scattered marks teach nothing
    fitted = Weights(**fit_damping(rows))
    assert np.sqrt(np.mean((fitted.value(wave) - late) ** 2)) < 0.01
