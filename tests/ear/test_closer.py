"""Where the sounds make the clock, a faint sound beside it is listened for as well."""

from __future__ import annotations

import numpy as np

from tapfall.ear import taking, weighed
from tapfall.ear.closer import AROUND_OFFSETS_S, CLOSER
from tapfall.ear.delaymap import DelayMap
from tapfall.ear.evidence import MEASURES
from tapfall.ear.judge import Listening
from tapfall.ear.onsets import NOTHING, STEP_S
from tapfall.model import CuffLog, Recording
from tests.calibrate.gather import watching
from tests.ear.made import line, rounded_to, tap

RATE_HZ, INTERVAL_S, HASTE_S = 2000.0, 0.82, 0.06
FAINT = (0.06, 0.07)


def recording(faint: float, seed: int) -> tuple[Recording, float]:
    """Clear taps at even intervals, after two faint ones that come too soon; the pressure there."""
    rng = np.random.default_rng(seed)
    log_s, trend_mmhg = line([(0, 0), (3, 0), (9, 160), (10, 160), (54, 50), (55, 0), (60, 0)])
    beat_s = np.arange(10.3, 54.0, INTERVAL_S)
    cuff_mmhg = np.interp(beat_s, log_s, trend_mmhg)
    sounding = np.flatnonzero((cuff_mmhg < 128) & (cuff_mmhg > 82))
    beat_s[sounding[:2]] -= HASTE_S, HASTE_S / 2
    time_s = np.arange(round(60 * RATE_HZ)) / RATE_HZ
    samples = 0.008 * rng.standard_normal(time_s.size)
    for number, at_s in enumerate(beat_s[sounding].tolist()):
        near = slice(round((at_s - 0.1) * RATE_HZ), round((at_s + 0.1) * RATE_HZ))
        samples[near] += 0.2 * (faint if number < 2 else 1.0) * tap(time_s[near], at_s + 0.02)
    slow_s = np.arange(60.0)
    slow_mmhg = rounded_to(np.interp(slow_s, log_s, trend_mmhg), 2.0)
    log = CuffLog(time_s=slow_s, pressure_mmhg=slow_mmhg)
    first_mmhg = float(np.interp(beat_s[sounding[0]], log_s, trend_mmhg))
    return Recording(samples=samples, rate_hz=RATE_HZ, cuff=log), first_mmhg


def listening(of: Recording) -> Listening:
    """What is heard in the end."""
    seen: list[tuple[tuple[Listening, ...], object]] = []
    with watching(weighed, "tell", seen):
        taking.take_reading(of)
    return seen[-1][0][0]


def hears(found: Listening, first_mmhg: float) -> bool:
    """Whether the first beat that is heard is the first one; a beat is 2 mmHg."""
    heard_mmhg = found.cuff_mmhg[np.flatnonzero(found.story.heard > 0.5)[0]]
    return abs(float(heard_mmhg) - first_mmhg) < 1.0


def test_a_faint_sound_beside_the_clock_is_heard_more_often() -> None:
    plain, closer = [], []
    for faint in FAINT:
        for seed in range(16):
            made, first_mmhg = recording(faint, seed)
            found = listening(made)
            assert found.before is not None
            plain.append(hears(found.before, first_mmhg))
            closer.append(hears(found, first_mmhg))
    assert sum(closer) >= sum(plain) + 3
    assert sum(closer) > 0.4 * len(closer)


def test_measures_of_the_evidence_keep_their_places() -> None:
    made, _ = recording(FAINT[1], 1)
    found = listening(made)
    assert found.evidence.measures.shape[1] == len(CLOSER)
    assert CLOSER[: len(MEASURES) - 1] == MEASURES[:-1]
    assert found.before is not None
    assert found.before.evidence.measures.shape[1] == len(MEASURES)


def test_the_map_is_read_to_either_side() -> None:
    odds = np.full((2, 81), NOTHING)
    odds[0, 40], odds[1, 65] = 3.0, 4.0
    chart = DelayMap(log_odds=odds, delay_s=-40 * STEP_S + STEP_S * np.arange(81))
    around = chart.around(np.zeros(2), AROUND_OFFSETS_S)
    assert around.shape == (2, AROUND_OFFSETS_S.size)
    places_s = AROUND_OFFSETS_S[around.argmax(axis=1)]
    assert np.abs(places_s - [0.0, 25 * STEP_S]).max() <= 0.01 + STEP_S
    assert (around.max(axis=1) >= [3.0, 4.0]).all()
