"""Simulated rhythms against real beat series (excerpts in ``data``)."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tapfall.model import Rhythm
from tapfall.synth import Person, Scenario, Sensor, simulate
from tapfall.synth.population import PERSON_RANGES
from tapfall.synth.rhythm import SHORTEST_S, Beats, beats_of, breath_of, local_median

DATA = Path(__file__).parent / "data"


def real(name: str) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Intervals in seconds of a real series, and which beats are early ones."""
    with (DATA / f"{name}.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    early = np.array([row["symbol"] not in ("N", "d") for row in rows])
    return np.array([float(row["interval_s"]) for row in rows]), early


def simulated(person: Person, seed: int, duration_s: float = 240.0) -> Beats:
    return beats_of(person, breath_of(person, seed), duration_s, seed)


def spread(interval_s: NDArray[np.float64]) -> tuple[float, float, float]:
    """Variation, beat-to-beat variation, and correlation of neighbours."""
    mean = interval_s.mean()
    steps = np.diff(interval_s)
    neighbours = np.corrcoef(interval_s[:-1], interval_s[1:])[0, 1]
    return float(interval_s.std() / mean), float(np.sqrt(np.mean(steps**2)) / mean), neighbours


def test_sinus_varies_as_a_real_heart() -> None:
    variation, step, neighbours = spread(real("sinus")[0])
    found = np.array([spread(simulated(Person(), seed).before_s) for seed in range(6)])
    assert found[:, 0].mean() == pytest.approx(variation, rel=0.5)
    assert found[:, 1].mean() == pytest.approx(step, rel=0.5)
    assert neighbours > 0.4
    assert found[:, 2].mean() > 0.4


def test_fibrillation_varies_as_a_real_heart() -> None:
    variation, step, neighbours = spread(real("fibrillation")[0])
    low, high = PERSON_RANGES["fibrillation_share"]
    assert low < variation < high + 0.02
    person = Person(rhythm="atrial_fibrillation", fibrillation_share=variation)
    found = np.array([spread(simulated(person, seed).before_s) for seed in range(6)])
    assert found[:, 0].mean() == pytest.approx(variation, rel=0.15)
    assert found[:, 1].mean() == pytest.approx(step, rel=0.2)
    assert abs(neighbours) < 0.15
    assert abs(found[:, 2].mean()) < 0.15


def test_ectopic_beats_come_and_pause_as_real_ones() -> None:
    interval_s, early = real("ectopic")
    at = np.flatnonzero(early)
    before = interval_s[at] / local_median(interval_s)[at]
    pair = before + interval_s[at + 1] / local_median(interval_s)[at]
    for values, name in ((before, "ectopic_coupling"), (pair, "ectopic_pair_share")):
        low, high = PERSON_RANGES[name]
        assert low < np.median(values) < high
    person = Person(
        rhythm="ectopics",
        ectopics_per_min=6.0,
        ectopic_coupling=float(np.median(before)),
        ectopic_pair_share=float(np.median(pair)),
        interval_breath_share=0.0,
        interval_sd_share=0.0,
    )
    beats = simulated(person, 2)
    found = np.flatnonzero(~beats.expected)
    found = found[found < beats.before_s.size - 1]
    assert 10 < found.size < 40
    share = beats.before_s / beats.median_s
    assert np.median(share[found]) == pytest.approx(np.median(before), abs=0.03)
    assert np.median(share[found] + share[found + 1]) == pytest.approx(np.median(pair), abs=0.03)


def test_real_early_beats_are_not_expected_ones() -> None:
    interval_s, early = real("ectopic")
    unexpected = interval_s < 0.8 * local_median(interval_s)
    assert unexpected[early].all()
    assert unexpected[~early].mean() < 0.01


def test_bigeminy_is_every_second_beat() -> None:
    beats = simulated(Person(rhythm="bigeminy", interval_sd_share=0.0), 3)
    inner = beats.expected[5:-5]
    assert np.array_equal(inner[2:], inner[:-2])
    assert inner.mean() == pytest.approx(0.5, abs=0.02)


def test_a_series_is_kept_to_the_interval() -> None:
    interval_s, _ = real("fibrillation")
    person = Person(rhythm="series", intervals_s=tuple(interval_s.tolist()))
    beats = simulated(person, 1, 60.0)
    n = beats.before_s.size
    assert np.array_equal(beats.before_s, np.maximum(interval_s[:n], SHORTEST_S))
    assert np.diff(beats.foot_s) == pytest.approx(interval_s[1:n])


@pytest.mark.parametrize("rate", [40.0, 72.0, 150.0])
def test_heart_rate_is_the_one_set(rate: float) -> None:
    beats = simulated(Person(heart_rate_per_min=rate), 4)
    assert 60 / beats.before_s.mean() == pytest.approx(rate, rel=0.03)


@pytest.mark.parametrize(
    ("person", "rhythm"),
    [
        (Person(), Rhythm.REGULAR),
        (Person(rhythm="atrial_fibrillation"), Rhythm.IRREGULAR),
        (Person(rhythm="ectopics", ectopics_per_min=9.0), Rhythm.IRREGULAR),
        (Person(rhythm="bigeminy"), Rhythm.IRREGULAR),
        (Person(alternans_mmhg=12.0), Rhythm.ALTERNATING),
        (Person(interval_breath_share=0.2), Rhythm.IRREGULAR),
    ],
)
def test_rhythm_is_named(person: Person, rhythm: Rhythm) -> None:
    scenario = Scenario(seed=6, person=person, sensor=Sensor(rate_hz=1000.0))
    assert simulate(scenario).truth.rhythm is rhythm


def test_alternans_makes_every_second_beat_sound_first() -> None:
    person = Person(alternans_mmhg=16.0, breath_swing_mmhg=0.0, slow_swing_mmhg=0.0)
    scenario = Scenario(seed=6, person=person, sensor=Sensor(rate_hz=1000.0))
    truth = simulate(scenario).truth
    systolic = np.array([beat.systolic_mmhg for beat in truth.beats])
    assert abs(np.median(systolic[::2]) - np.median(systolic[1::2])) == pytest.approx(16, abs=1)
    assert truth.in_quiet.alternating
    equal = simulate(replace(scenario, person=replace(person, alternans_mmhg=0.0))).truth
    assert not equal.in_quiet.alternating


def test_breath_has_its_rate() -> None:
    person = Person(breath_per_min=12.0)
    time_s = np.arange(0, 100, 0.01)
    wave = breath_of(person, 1).at(time_s)
    rises = np.count_nonzero((wave[:-1] < 0) & (wave[1:] >= 0))
    assert rises == pytest.approx(20, abs=1)
