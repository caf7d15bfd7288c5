"""While the first sounds come they are weighed as a start, not as a whole deflation."""

from __future__ import annotations

from typing import Any

import numpy as np

from tapfall.ear import judge, take_reading
from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.starting import MOST_SOUNDS, weigh_start
from tests.calibrate.gather import simulated_and_known, sounding, watching
from tests.calibrate.starts import judged_at
from tests.ear.heard import fixture

SEEDS = range(7000, 7012)


def listened(recording: Any, times_s: list[float]) -> list[tuple[str, Any]]:
    """Every round of listening at some times, and what weighed its beats."""
    rounds: list[Any] = []
    with watching(judge, "_hear", rounds):
        list(judged_at(recording, times_s))
    return [(arguments[-1], found) for arguments, found in rounds]


def test_three_sounds_are_heard_that_a_whole_deflation_would_not_believe() -> None:
    heard: dict[str, list[bool]] = {"start": [], "whole": []}
    invented: list[bool] = []
    for seed in SEEDS:
        simulation, known = simulated_and_known(("ordinary", seed), False)
        sounds_s = known.time_s[known.noisy]
        until_s = float(sounds_s[2] + 0.7 * (sounds_s[2] - sounds_s[1])) + known.origin_s
        for kind, found in listened(simulation.recording, [until_s]):
            assert kind == "start"
            true, sure = sounding(known, found.onset_s)
            whole = CALIBRATION.evidence.log_odds(found.evidence.measures)
            heard["start"] += (found.evidence.log_odds[true] > 0).tolist()
            heard["whole"] += (whole[true] > 0).tolist()
            invented += (found.evidence.log_odds[~true & sure] > 0).tolist()
    assert np.mean(heard["start"]) > 0.8
    assert np.mean(heard["start"]) > np.mean(heard["whole"]) + 0.15
    assert np.mean(invented) < 0.03


def test_only_the_odds_are_weighed_anew() -> None:
    recording = fixture("ordinary")
    kind, found = listened(recording, [float(_sounds_s()[4])])[-1]
    again = weigh_start(found.evidence)
    assert kind == "start"
    assert np.array_equal(again.log_odds, found.evidence.log_odds)
    assert again.measures is found.evidence.measures
    assert again.delay_s is found.evidence.delay_s


def test_a_start_is_over_after_some_sounds_and_when_they_end() -> None:
    recording = fixture("ordinary")
    sounds_s = _sounds_s()
    last_kind = {
        at: listened(recording, [float(at_s)])[-1][0]
        for at, at_s in (
            ("begun", sounds_s[4]),
            ("under way", sounds_s[MOST_SOUNDS + 4]),
            ("over", sounds_s[-1] + 4.0),
        )
    }
    assert last_kind == {"begun": "start", "under way": "whole", "over": "whole"}


def test_a_whole_recording_is_never_weighed_as_a_start() -> None:
    rounds: list[Any] = []
    with watching(judge, "_hear", rounds):
        take_reading(fixture("ordinary"))
    assert {arguments[-1] for arguments, _ in rounds} == {"whole"}


def _sounds_s() -> np.ndarray:
    """When the beats of the fixture sound."""
    beats = take_reading(fixture("ordinary")).beats
    return np.array([beat.time_s for beat in beats if beat.heard > 0.5])
