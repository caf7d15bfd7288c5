"""The pictures of where reading breaks down, and the plain alternative in them."""

from __future__ import annotations

from pathlib import Path

import pytest
from matplotlib.image import imread

from tests.accuracy.groups import GROUPS, SWEEPS, SWEPT, draw
from tests.accuracy.limits import READERS, draw_reliability, draw_sweep, outcome
from tests.accuracy.plain import falling_s, read_plain
from tests.accuracy.results import results
from tests.accuracy.scoring import score
from tests.reference.scenes import clean


def test_every_swept_value_is_a_group_of_its_own() -> None:
    assert {name for sweep in SWEEPS.values() for name in sweep} == set(SWEPT)
    assert not set(SWEPT) & set(GROUPS)
    noisy = draw("pink_-9db", 5).room.noises
    assert ("pink", -9.0) in [(one.kind, one.snr_db) for one in noisy]
    assert draw("fall_7", 5).cuff.deflation_mmhg_per_s == 7.0


@pytest.mark.parametrize("seed", [40, 41, 42])
def test_the_plain_reader_reads_clean_sounds(seed: int) -> None:
    simulation = clean(seed, 70.0, 3.0)
    reading = read_plain(simulation.recording)
    truth = simulation.truth.in_quiet
    assert reading.systolic.mmhg == pytest.approx(truth.systolic.mmhg, abs=6.0)
    assert reading.diastolic.mmhg == pytest.approx(truth.diastolic.mmhg, abs=6.0)
    first, last = falling_s(simulation.recording.cuff)
    assert 0 < first < last


def test_pictures_are_drawn(tmp_path: Path) -> None:
    simulation = clean(40, 70.0, 3.0)
    reading = read_plain(simulation.recording)
    rows = [score(simulation.truth, reading, group=name, seed=40) for name in SWEEPS["noise"]]
    each = [outcome([row]) for row in rows]
    assert all(one.right.some + one.wrong.some == 1 for one in each)
    draw_sweep("noise", dict.fromkeys(READERS, each), tmp_path / "noise.png")
    draw_reliability(results(rows)[-1].calibration, tmp_path / "reliability.png")
    for name in ("noise.png", "reliability.png"):
        height, width = imread(tmp_path / name).shape[:2]
        assert width > 500
        assert height > 400
