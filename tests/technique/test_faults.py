"""A few simulated measurements: good ones raise nothing, each fault is found."""

from __future__ import annotations

import pytest

from tapfall.ear import take_reading
from tapfall.synth import load_builtin, simulate
from tapfall.technique import check_technique
from tests.technique.faults import (
    FAULTS,
    RATE_MMHG_PER_S,
    fault_case,
    faultless,
    is_found,
    main,
    rate_error,
    run_up_case,
    take_case,
    told_obliteration,
    true_obliteration_mmhg,
)

#: Far from the seeds of the figures in DEVELOPERS.
SEED = 8000


@pytest.mark.parametrize("seed", range(SEED, SEED + 4))
def test_a_good_hand_raises_nothing(seed: int) -> None:
    case = take_case(faultless(seed))
    assert case.alarms() == set()
    error = rate_error(case)
    assert error is not None
    assert abs(error) < RATE_MMHG_PER_S
    found = told_obliteration(case)
    assert found is not None
    assert abs(found.mmhg - true_obliteration_mmhg(case)) < 12.0


@pytest.mark.parametrize("name", FAULTS)
def test_each_fault_is_found(name: str) -> None:
    assert is_found(name, fault_case(name, SEED))


def test_a_run_up_is_seen() -> None:
    case = run_up_case(SEED)
    assert case.work is not None
    assert case.work.run_up_mmhg is not None
    assert case.alarms() == set()


@pytest.mark.parametrize(
    ("name", "told"),
    [
        # 29 mmHg of silence above the first sound, and sounds down to zero.
        ("sounds_to_zero", ("ok", "29 (27 to 30), by sounds")),
        # 21 mmHg of silence, which is a gap: nothing proves it, so a person has to look.
        ("inflated_into_gap", ("look", "21 above the first sound, but -18 (-44 to 8) by pulse")),
        ("under_inflated", ("fault", "stopped at 106 mmHg with sounds already there")),
    ],
)
def test_the_inflation_of_scenarios(name: str, told: tuple[str, str]) -> None:
    recording = simulate(load_builtin(name)).recording
    findings = check_technique(recording, take_reading(recording))
    (one,) = (each for each in findings if each.check == "inflation")
    assert (one.state, one.found) == told


def test_seeds_stay_in_their_range() -> None:
    with pytest.raises(ValueError, match="development"):
        faultless(10_000)


def test_the_table(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--per-fault", "1", "--faultless", "1", "--first-seed", str(SEED)]) == 0
    text = capsys.readouterr().out
    for name in FAULTS:
        assert name in text
