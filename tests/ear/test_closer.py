"""Where the sounds make the clock, a faint sound beside it is listened for as well."""

from __future__ import annotations

import numpy as np

from tapfall.ear import taking, weighed
from tapfall.ear.closer import AROUND_OFFSETS_S, CLOSER
from tapfall.ear.delaymap import DelayMap
from tapfall.ear.evidence import MEASURES
from tapfall.ear.judge import Listening
from tapfall.ear.onsets import NOTHING, STEP_S
from tapfall.model import Recording
from tests.calibrate.gather import watching
from tests.ear.made import slow_fall_mmhg, taps_on_a_slow_log

INTERVAL_S, HASTE_S = 0.82, 0.06
FAINT = (0.06, 0.07)


def recording(faint: float, seed: int) -> tuple[Recording, float]:
    """Clear taps at even intervals, after two faint ones that come too soon; the pressure there."""
    rng = np.random.default_rng(seed)
    beat_s = np.arange(10.3, 54.0, INTERVAL_S)
    cuff_mmhg = slow_fall_mmhg(beat_s)
    sounding = np.flatnonzero((cuff_mmhg < 128) & (cuff_mmhg > 82))
    beat_s[sounding[:2]] -= HASTE_S, HASTE_S / 2
    loudness = np.where(np.arange(sounding.size) < 2, faint, 1.0)
    first_mmhg = float(slow_fall_mmhg(beat_s[sounding[0]]))
    return taps_on_a_slow_log(beat_s[sounding], loudness, rng), first_mmhg


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
