"""Hand-made beats and the readings that follow, rule by rule.

Each beat is a letter: ``-`` silent, ``o`` audible, ``4`` audible and muffled,
``g`` silent in a gap, ``m`` audible in quiet but not to this listener,
``x``/``X`` an ectopic beat, silent or audible.  The first beat lies at
150 mmHg, each next one 2 mmHg below.
"""

from __future__ import annotations

import numpy as np
import pytest

from tapfall.model import Phase, State
from tapfall.synth.rules import read_beats, runs_of
from tapfall.synth.truth import TrueBeat, TrueGap, TrueReading

TOP_MMHG, STEP_MMHG = 150.0, 2.0


def beats_of(
    letters: str, *, top_mmhg: float = TOP_MMHG, own: tuple[float, float] = (999.0, -999.0)
) -> list[TrueBeat]:
    phases = {"o": Phase.K1, "X": Phase.K1, "m": Phase.K1, "4": Phase.K4, "g": Phase.GAP}
    return [
        TrueBeat(
            time_s=float(i),
            foot_s=i - 0.1,
            cuff_mmhg=top_mmhg - STEP_MMHG * i,
            systolic_mmhg=own[0],
            diastolic_mmhg=own[1],
            audible_in_quiet=letter in "oX4m",
            audible_in_noise=letter in "oX4",
            phase=phases.get(letter, Phase.SILENT),
            expected=letter not in "xX",
        )
        for i, letter in enumerate(letters)
    ]


def read(letters: str, *, top_mmhg: float = TOP_MMHG, seed: int = 1) -> TrueReading:
    beats = beats_of(letters, top_mmhg=top_mmhg)
    rng = np.random.Generator(np.random.PCG64(seed))
    return read_beats(beats, [beat.audible_in_noise for beat in beats], rng)


def at(index: int) -> float:
    return TOP_MMHG - STEP_MMHG * index


def test_first_and_last_sound() -> None:
    found = read("---oooo----")
    assert (found.systolic.state, found.systolic.mmhg) == (State.OBSERVED, at(3))
    assert (found.diastolic.state, found.diastolic.mmhg) == (State.OBSERVED, at(6))
    assert (found.first_silence.state, found.first_silence.mmhg) == (State.OBSERVED, at(7))
    assert found.readable
    assert not (found.alternating or found.isolated_sound or found.to_zero or found.gaps)


def test_threshold_lies_between_silent_and_sounding_beat() -> None:
    drawn = [read("---oooo----", seed=seed) for seed in range(200)]
    high = np.array([one.systolic.threshold_mmhg for one in drawn])
    low = np.array([one.diastolic.threshold_mmhg for one in drawn])
    assert at(3) < high.min() < at(3) + 0.1 < at(2) - 0.1 < high.max() < at(2)
    assert at(7) < low.min() < at(7) + 0.1 < at(6) - 0.1 < low.max() < at(6)
    assert np.mean(high) == pytest.approx((at(2) + at(3)) / 2, abs=0.15)


def test_threshold_is_the_crossing_where_the_cuff_crossed_the_pulse() -> None:
    beats = beats_of("---oooo----", own=(145.2, 137.3))
    heard = [beat.audible_in_quiet for beat in beats]
    found = read_beats(beats, heard, np.random.Generator(np.random.PCG64(1)))
    assert found.systolic.threshold_mmhg == pytest.approx(145.2)
    assert found.diastolic.threshold_mmhg == pytest.approx(137.3)


def test_lone_sound_above_does_not_count() -> None:
    found = read("--o---oooo----")
    assert found.systolic.mmhg == at(6)
    assert found.isolated_sound


def test_lone_sound_below_does_not_count() -> None:
    found = read("---oooo---o---")
    assert found.diastolic.mmhg == at(6)
    assert found.first_silence.mmhg == at(7)


@pytest.mark.parametrize("letters", ["-----", "--o--o---o", "", "--o-o---"])
def test_nothing_that_counts_is_unreadable(letters: str) -> None:
    found = read(letters)
    assert not found.readable
    for one in (found.systolic, found.diastolic, found.first_silence, found.muffling):
        assert (one.state, one.mmhg, one.bound_mmhg) == (State.UNDETERMINED, None, None)


def test_three_on_alternate_beats_are_systolic() -> None:
    found = read("----o-o-oooo----")
    assert found.systolic.mmhg == at(4)
    assert found.alternating
    assert not found.isolated_sound
    assert at(4) < (found.systolic.threshold_mmhg or 0.0) < at(2)


def test_two_on_alternate_beats_are_not() -> None:
    found = read("----o--o-oooo----")
    assert found.systolic.mmhg == at(9)
    assert not found.alternating
    assert found.isolated_sound


def test_alternate_beats_end_the_sounds_too() -> None:
    found = read("---oooo-o-o----")
    assert found.diastolic.mmhg == at(10)
    assert at(12) < (found.diastolic.threshold_mmhg or 0.0) < at(10)


def test_ectopic_beats_are_left_out() -> None:
    silent = read("---oxoxooo----")
    assert (silent.systolic.mmhg, silent.diastolic.mmhg) == (at(3), at(9))
    assert not silent.alternating
    sounding = read("-X--oooo--X---")
    assert (sounding.systolic.mmhg, sounding.diastolic.mmhg) == (at(4), at(7))


@pytest.mark.parametrize(
    ("letters", "state"),
    [
        ("ooo----", State.NOT_REACHED),
        ("-ooo----", State.NOT_REACHED),
        ("--ooo----", State.OBSERVED),
    ],
)
def test_systolic_needs_two_silent_beats_above(letters: str, state: State) -> None:
    found = read(letters)
    assert found.systolic.state is state
    if state is State.NOT_REACHED:
        assert found.systolic.mmhg is None
        assert found.systolic.bound_mmhg == at(letters.index("o"))


@pytest.mark.parametrize(
    ("letters", "state"),
    [
        ("--ooo", State.NOT_REACHED),
        ("--ooo--", State.NOT_REACHED),
        ("--ooo---", State.OBSERVED),
        ("--ooo--x", State.NOT_REACHED),
    ],
)
def test_diastolic_needs_three_silent_beats_below(letters: str, state: State) -> None:
    found = read(letters)
    assert found.diastolic.state is state
    if state is State.NOT_REACHED:
        assert found.diastolic.mmhg is None
        assert found.diastolic.bound_mmhg == at(4)
        assert found.first_silence == found.diastolic


def test_muffling_is_the_first_muffled_beat_after_clear_ones() -> None:
    found = read("---ooo44----")
    assert (found.muffling.state, found.muffling.mmhg) == (State.OBSERVED, at(6))
    assert at(6) < (found.muffling.threshold_mmhg or 0.0) < at(5)
    assert found.diastolic.mmhg == at(7)
    assert read("---oooo----").muffling.state is State.UNDETERMINED


def test_sounds_to_zero_make_muffling_the_diastolic() -> None:
    found = read("---ooo444", top_mmhg=25.0)
    assert found.to_zero
    assert found.diastolic == found.muffling
    assert found.diastolic.mmhg == 25.0 - 6 * STEP_MMHG
    assert found.first_silence.state is State.NOT_REACHED


def test_sounds_to_zero_without_muffling_leave_it_undetermined() -> None:
    found = read("---ooooooo---", top_mmhg=25.0)
    assert found.to_zero
    assert found.diastolic.state is State.UNDETERMINED


def test_a_gap_between_runs() -> None:
    found = read("---oooooooooggggooooooooooo----")
    assert found.gaps == (TrueGap(upper_mmhg=at(11), lower_mmhg=at(16), silent_beats=4),)
    assert (found.systolic.mmhg, found.diastolic.mmhg) == (at(3), at(26))


def test_one_missing_beat_is_no_gap() -> None:
    assert read("---ooooooooogoooooooooooo----").gaps == ()


def test_two_missing_beats_are_a_gap_even_near_a_threshold() -> None:
    (gap,) = read("---ooooggooooooooooooo----").gaps
    assert (gap.upper_mmhg, gap.lower_mmhg, gap.silent_beats) == (at(6), at(9), 2)


def test_two_missing_beats_within_four_mmhg_are_no_gap() -> None:
    beats = beats_of("---ooooooooooggooooooooooo----")
    slow = [
        TrueBeat(
            time_s=beat.time_s,
            foot_s=beat.foot_s,
            cuff_mmhg=beat.cuff_mmhg * 0.6,
            systolic_mmhg=beat.systolic_mmhg,
            diastolic_mmhg=beat.diastolic_mmhg,
            audible_in_quiet=beat.audible_in_quiet,
            audible_in_noise=beat.audible_in_noise,
            phase=beat.phase,
            expected=True,
        )
        for beat in beats
    ]
    heard = [beat.audible_in_quiet for beat in beats]
    for listed, gaps in ((beats, 1), (slow, 0)):
        found = read_beats(listed, heard, np.random.Generator(np.random.PCG64(1)))
        assert len(found.gaps) == gaps


def test_silence_that_comes_with_the_breath_near_a_threshold_is_no_gap() -> None:
    assert read("---oo--ooo--ooooooooooooo----").gaps == ()
    assert len(read("---ooooooooooo--ooooooooooo----").gaps) == 1


def test_masked_sounds_are_no_gap() -> None:
    assert read("---oooooooooommmmoooooooooo----").gaps == ()


def test_a_lone_sound_inside_does_not_split_a_gap() -> None:
    (gap,) = read("---oooooooooggggoggggooooooooooo----").gaps
    assert (gap.upper_mmhg, gap.lower_mmhg, gap.silent_beats) == (at(11), at(21), 8)


@pytest.mark.parametrize(
    ("heard", "runs"),
    [
        ("", []),
        ("o", []),
        ("oo", [(0, 1)]),
        ("-oo-ooo", [(1, 2), (4, 6)]),
        ("o-o-o", [(0, 4)]),
        ("o--o-o-o-oo", [(3, 9), (9, 10)]),
    ],
)
def test_runs(heard: str, runs: list[tuple[int, int]]) -> None:
    found = runs_of([letter == "o" for letter in heard])
    assert [(run.first, run.last) for run in found] == runs
