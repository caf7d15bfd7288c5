"""What the fits learn from has the shapes and the truth they need."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tapfall.ear import Listener, live
from tapfall.ear.calibration import CALIBRATION
from tapfall.ear.closer import CLOSER
from tapfall.ear.confidence import CONFIDENCE
from tapfall.ear.early import EARLY
from tapfall.ear.ends import ENDS
from tapfall.ear.evidence import MEASURES
from tapfall.ear.late import LATE
from tapfall.ear.network import run_layers
from tapfall.ear.presence import PRESENCE
from tapfall.ear.starting import MOST_SOUNDS
from tests.accuracy.groups import draw
from tests.calibrate import small, stored
from tests.calibrate.ends import begun
from tests.calibrate.gather import (
    WIDE,
    ended,
    heard,
    risen,
    scanned,
    simulated_and_known,
    watching,
    widened,
)
from tests.calibrate.starts import judged_at, started, starting


def test_measures_come_with_their_truth() -> None:
    row = heard(("ordinary", 3), False)
    assert row is not None
    for measures, noisy, sure in row["rounds"]:
        assert measures.shape == (noisy.size, len(MEASURES))
        assert noisy.dtype == sure.dtype == bool
        assert 0 < noisy.sum() < noisy.size
    assert row["presence"].shape == (len(PRESENCE),)
    assert {kind: one.shape for kind, one in row["sure"].items()} == {
        "systolic": (len(CONFIDENCE),),
        "diastolic": (len(CONFIDENCE),),
    }


def test_a_closer_listening_comes_with_its_truth_where_there_is_one() -> None:
    row, other = heard(("coarse_log", 3), False), heard(("ordinary", 3), False)
    assert row is not None and other is not None and "closer" not in other
    ((measures, noisy, sure),) = row["closer"]
    assert measures.shape == (noisy.size, len(CLOSER))
    assert sure.dtype == bool
    assert 0 < noisy.sum() < noisy.size
    assert [one[0].shape[1] for one in row["rounds"]] == [len(MEASURES)] * 2


def test_levels_come_with_pulses_and_truth() -> None:
    chart = scanned(("ordinary", 3), False)
    assert chart is not None
    end_s = chart["start_s"] + 0.004 * chart["level"].shape[0]
    known = chart["known"]
    assert chart["start_s"] < known.time_s[0] < known.time_s[-1] < end_s
    assert chart["pulse_s"] is not None
    away_s = np.abs(known.time_s[:, None] - chart["pulse_s"][None, :]).min(axis=1)
    assert np.median(away_s) < 0.25


def test_wide_sounds_are_valid_scenarios_and_differ() -> None:
    scenario = draw("ordinary", 6)
    wide = widened(scenario, 6)
    assert wide == widened(scenario, 6) != scenario
    for name, (low, high) in WIDE.items():
        if getattr(wide.sound, name) != getattr(scenario.sound, name):
            assert low <= getattr(wide.sound, name) <= high


def test_a_network_learns_what_can_be_told() -> None:
    rng = np.random.default_rng(4)
    measures = rng.standard_normal((400, 2))
    there = (measures[:, 0] > 0).astype(float)
    fitted = small.fit_weights(measures, there, seed=1, units=3)
    odds = small.Weights(**fitted).value(measures)
    assert np.mean((odds > 0) == (there > 0)) > 0.97


def test_only_what_changed_is_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("calibration.json", "layers.npz"):
        (tmp_path / name).write_bytes((stored.EAR / name).read_bytes())
    monkeypatch.setattr(stored, "EAR", tmp_path)
    before = json.loads((tmp_path / "calibration.json").read_text())
    stored.write_numbers(widening_mmhg={"systolic": 1.0, "diastolic": 2.0})
    after = json.loads((tmp_path / "calibration.json").read_text())
    assert after.pop("widening_mmhg") == {"systolic": 1.0, "diastolic": 2.0}
    before.pop("widening_mmhg")
    assert after == before
    layer = {"kernel": np.ones((1, 1, 12, 1)), "bias": np.zeros(1), "dilation": (1, 1)}
    stored.write_layers("pulses", [layer])
    with (
        np.load(tmp_path / "layers.npz") as kept,
        np.load(
            Path(__file__).resolve().parents[2] / "src" / "tapfall" / "ear" / "layers.npz"
        ) as old,
    ):
        assert kept["pulses"].tolist() == [1.0] * 12 + [0.0]
        assert kept["pulses_shapes"].tolist() == [[1, 1, 12, 1, 1, 1]]
        assert set(kept.files) == set(old.files)
        for name in old.files:
            if not name.startswith("pulses"):
                assert np.array_equal(kept[name], old[name])


def test_rises_of_a_log_come_with_their_truth() -> None:
    row = risen(("ordinary", 5), True)
    assert row is not None
    assert row["values"].shape == (1, row["time_s"].size, 4)
    inside = (row["rise_s"] > row["span_s"][0]) & (row["rise_s"] < row["span_s"][1])
    assert inside.sum() > 10
    odds = rise_odds_at(row)
    assert np.median(odds) > 0


def rise_odds_at(row: dict[str, Any]) -> np.ndarray:
    """What the shipped network says near each true rise."""
    odds = run_layers(row["values"], CALIBRATION.layers["rises"])[0]
    rises = row["rise_s"][(row["rise_s"] > row["span_s"][0]) & (row["rise_s"] < row["span_s"][1])]
    near = np.abs(row["time_s"][None, :] - rises[:, None]) < 0.08
    return np.array([odds[one].max() for one in near])


def test_sounds_come_with_whether_they_are_muffled() -> None:
    row = heard(("to_zero", 5), False)
    assert row is not None
    measures, muffled, sure = row["muffling"]
    assert measures.shape[0] == muffled.size == sure.size
    assert 0 < muffled.sum() < muffled.size
    assert not muffled[0]
    assert muffled[-1]


def test_a_gap_above_is_known() -> None:
    rows = [heard((group, 3), False) for group in ("into_gap", "ordinary")]
    assert [row["above"][1] for row in rows if row is not None] == [True, False]


def test_early_systolics_and_late_diastolics_come_with_whether_they_were_kept() -> None:
    for look, names in ((started, EARLY), (ended, LATE)):
        values = look(("ordinary", 5), False)["values"]
        assert values and all(measures.shape == (len(names),) for measures, _ in values)
        assert values[-1][1]


def test_starts_come_with_which_of_their_beats_sound() -> None:
    rows = [starting(("quiet_room", seed), False) for seed in (5, 6)]
    rounds = [one for row in rows for one in row["rounds"]]
    assert rounds
    for measures, sounds, sure in rounds:
        assert measures.shape == (sounds.size, len(MEASURES)) and sure[sounds].all()
        assert not sounds[0] and sounds.sum() <= MOST_SOUNDS + 2
    # Cut short where the sounds begin: some of them end with a sound.
    assert any(sounds[-1] for _, sounds, _ in rounds)


def test_a_cut_is_judged_as_the_listener_judges_it() -> None:
    simulation, _ = simulated_and_known(("ordinary", 5), False)
    recording = simulation.recording
    told: list[Any] = []
    listener = Listener(rate_hz=recording.rate_hz)
    with watching(live, "hear", told):
        listener.push_cuff(recording.cuff.time_s, recording.cuff.pressure_mmhg)
        listener.push_audio(recording.samples)
    looks = [(arguments[3], arguments[1].reading) for arguments, _ in told][:20:4]
    judged = list(judged_at(recording, [at_s for at_s, _ in looks]))
    assert [one.reading for _, one in judged] == [reading for _, reading in looks]


def test_a_promise_is_fitted_and_its_first_break_counted(
    capsys: pytest.CaptureFixture[str],
) -> None:
    rng = np.random.default_rng(2)
    rows, clock = [], LATE.index("coarse_log")
    for seed in range(240):
        kept = seed % 5 > 0
        measures = rng.normal(2.0 if kept else -2.0, 0.5, (6, len(LATE)))
        measures[:, clock] = 0.0
        rows.append({"seed": seed, "values": [(one, kept) for one in measures]})
    net = small.Weights(**small.promise(rows, "late"))
    assert net.chance(np.full(len(LATE), 2.0)) > 0.9 > 0.1 > net.chance(np.full(len(LATE), -2.0))
    told = capsys.readouterr().out
    assert "1440 provisional values, 0.800 kept" in told
    assert "settled from 0.95 on: 0.800 of recordings, after 0 judgements, broken 0.0000" in told


def test_ends_come_with_a_right_beat_that_some_story_names() -> None:
    # Of this seed the recording is read whole and cut short.
    row = begun(("gap", 8), False)
    assert [len(row["choices"][kind]) for kind in ("first_sound", "last_sound")] == [2, 1]
    for choices in row["choices"].values():
        for one in choices:
            assert one.measures.shape == (one.share.size, len(ENDS))
            assert one.same.any()
            assert (one.near | ~one.same).all()
            assert (one.share[one.near] > 0).all()
    whole, short = row["choices"]["first_sound"]
    assert short.share.size < whole.share.size


def test_where_sounds_go_on_to_zero_the_last_is_one_of_the_lowest() -> None:
    row = begun(("to_zero", 18), False)
    assert row["choices"]["first_sound"]
    for one in row["choices"]["last_sound"]:
        assert np.flatnonzero(one.near)[0] > 0.85 * one.share.size
    assert row["choices"]["last_sound"]
