"""The rules of scoring, on truths and readings made by hand."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest

from tapfall.model import (
    Beat,
    Diastolic,
    Flag,
    Gap,
    Phase,
    Reading,
    Reason,
    Rhythm,
    Rule,
    State,
    Status,
    Threshold,
)
from tapfall.synth.truth import TrueBeat, TrueGap, TrueReading, TrueThreshold, Truth
from tests.accuracy import __main__ as main_module
from tests.accuracy.results import Share, calibration, results, share
from tests.accuracy.rows import save_rows, side_by_side
from tests.accuracy.scoring import (
    Score,
    distance_mmhg,
    failed,
    gap_found,
    match_beats,
    score,
    score_beats,
)
from tests.accuracy.table import failures, table

NOTHING = Threshold(state=State.UNDETERMINED)
NO_TRUTH = TrueThreshold(state=State.UNDETERMINED)


def seen(mmhg: float, threshold: float | None = None) -> TrueThreshold:
    return TrueThreshold(state=State.OBSERVED, mmhg=mmhg, threshold_mmhg=threshold)


def bound(mmhg: float) -> TrueThreshold:
    return TrueThreshold(state=State.NOT_REACHED, bound_mmhg=mmhg)


def true_reading(systolic=None, diastolic=None, **other) -> TrueReading:
    return TrueReading(
        systolic=systolic or seen(128.0, 129.0),
        diastolic=diastolic or seen(82.0, 81.0),
        first_silence=NO_TRUTH,
        muffling=other.pop("muffling", NO_TRUTH),
        **other,
    )


def true_beat(time_s: float, heard: str = "both", *, expected: bool = True) -> TrueBeat:
    return TrueBeat(
        time_s=time_s,
        foot_s=time_s - 0.1,
        cuff_mmhg=100.0,
        systolic_mmhg=129.0,
        diastolic_mmhg=81.0,
        audible_in_quiet=heard in ("both", "quiet"),
        audible_in_noise=heard == "both",
        phase=Phase.K2,
        expected=expected,
    )


def truth(quiet=None, noise=None, beats=(), **other) -> Truth:
    quiet = quiet or true_reading()
    return Truth(
        beats=tuple(beats),
        in_quiet=quiet,
        in_noise=noise or quiet,
        rhythm=Rhythm.REGULAR,
        lag_s=0.0,
        drift_ppm=0.0,
        signal_to_noise_db=12.0,
        deflation_mmhg_per_s=2.5,
        deflation_mmhg_per_beat=2.0,
        **other,
    )


def value(mmhg: float, confidence: float = 0.9, half: float = 2.0) -> Threshold:
    return Threshold(
        state=State.OBSERVED,
        mmhg=mmhg,
        low_mmhg=mmhg - half,
        high_mmhg=mmhg + half,
        confidence=confidence,
    )


def low_value(mmhg: float, confidence: float = 0.9, **other) -> Diastolic:
    return Diastolic(
        state=State.OBSERVED,
        mmhg=mmhg,
        low_mmhg=mmhg - 2.0,
        high_mmhg=mmhg + 2.0,
        confidence=confidence,
        **other,
    )


def reading(systolic=None, diastolic=None, **other) -> Reading:
    return Reading(
        status=other.pop("status", Status.OK),
        systolic=systolic or value(128.0),
        diastolic=diastolic or low_value(82.0),
        first_silence=NOTHING,
        muffling=NOTHING,
        **other,
    )


UNREADABLE = reading(
    systolic=NOTHING,
    diastolic=Diastolic(state=State.UNDETERMINED),
    status=Status.UNREADABLE,
    reasons=(Reason.NO_SOUNDS,),
)


def gap(upper: float, lower: float) -> Gap:
    return Gap(
        upper_mmhg=upper,
        lower_mmhg=lower,
        upper_low_mmhg=upper - 1,
        upper_high_mmhg=upper + 1,
        lower_low_mmhg=lower - 1,
        lower_high_mmhg=lower + 1,
        confidence=0.9,
    )


def test_distance_is_signed_and_zero_inside_the_span() -> None:
    assert distance_mmhg([128, 124], 126.0) == 0.0
    assert distance_mmhg([128, 124], 130.5) == 2.5
    assert distance_mmhg([128, 124], 120.0) == -4.0


@pytest.mark.parametrize(
    ("mmhg", "error", "right"),
    [(128.0, 0.0, True), (122.0, 0.0, True), (132.0, 4.0, True), (132.1, 4.1, False),
     (116.0, -4.0, True), (115.5, -4.5, False)],
)  # fmt: skip
def test_any_value_between_quiet_and_noise_is_accepted(mmhg, error, right) -> None:
    both = truth(true_reading(seen(128.0)), true_reading(seen(120.0)))
    one = score(both, reading(value(mmhg))).systolic
    assert one.wanted
    assert one.given
    assert one.error_mmhg == pytest.approx(error)
    assert one.right is right
    assert one.near is right


def test_a_value_in_one_truth_only_counts_but_may_be_withheld() -> None:
    half = truth(true_reading(), true_reading(NO_TRUTH))
    given = score(half, reading(value(135.0))).systolic
    assert (given.wanted, given.given, given.right) == (True, True, False)
    withheld = score(half, reading(NOTHING))
    assert not withheld.systolic.wanted
    assert withheld.success
    assert results([withheld])[0].hidden == Share(some=1, all=2)


def test_abstention_is_wanted_and_not_given() -> None:
    one = score(truth(), reading(NOTHING))
    assert (one.systolic.wanted, one.systolic.given, one.systolic.right) == (True, False, False)
    assert not one.success
    assert results([one])[0].systolic.abstained == Share(some=1, all=1)


def test_a_value_without_a_truth_is_wrong_though_not_wanted() -> None:
    one = score(truth(true_reading(NO_TRUTH)), reading(value(128.0)))
    assert (one.systolic.wanted, one.systolic.given) == (False, True)
    assert one.systolic.near is False
    assert not one.success


@pytest.mark.parametrize(("low", "right"), [(146.0, True), (154.0, True), (155.0, False)])
def test_not_reached_asks_for_the_bound(low, right) -> None:
    at_least = Threshold(state=State.NOT_REACHED, low_mmhg=low, reason=Reason.SOUNDS_FROM_TOP)
    one = score(truth(true_reading(bound(150.0))), reading(at_least, status=Status.REVIEW))
    assert one.systolic.right is right
    assert one.success is right
    assert one.systolic.near is None


def test_a_number_in_place_of_a_bound_is_wrong() -> None:
    one = score(truth(true_reading(diastolic=bound(70.0))), reading(diastolic=low_value(70.0)))
    assert (one.diastolic.given, one.diastolic.right) == (True, False)
    assert not one.success


@pytest.mark.parametrize(("low", "given"), [(110.0, False), (131.0, False), (140.0, True)])
def test_a_bound_in_place_of_a_value_is_wrong_where_it_is_false(low, given) -> None:
    at_least = Threshold(state=State.NOT_REACHED, low_mmhg=low)
    one = score(truth(), reading(at_least)).systolic
    assert (one.wanted, one.given, one.right) == (True, given, False)


def test_a_diastolic_bound_is_false_where_it_lies_below() -> None:
    for high, given in ((90.0, False), (70.0, True)):
        at_most = Diastolic(state=State.NOT_REACHED, high_mmhg=high)
        assert score(truth(), reading(diastolic=at_most)).diastolic.given is given


@pytest.mark.parametrize(
    ("mmhg", "covered"), [(128.0, True), (126.9, False), (131.0, True), (131.1, False)]
)
def test_the_interval_has_to_hold_the_threshold_not_the_beat(mmhg, covered) -> None:
    assert score(truth(), reading(value(mmhg))).systolic.covered is covered


def test_an_interval_between_two_thresholds_covers() -> None:
    both = truth(true_reading(seen(128.0, 130.0)), true_reading(seen(110.0, 112.0)))
    assert score(both, reading(value(120.0))).systolic.covered is True


def test_to_zero_wants_k4_within_8_and_the_flag() -> None:
    to_zero = truth(true_reading(diastolic=NO_TRUTH, muffling=seen(74.0), to_zero=True))
    k4 = low_value(81.0, rule=Rule.K4, k5_mmhg=0.0)
    flagged = score(to_zero, reading(diastolic=k4, flags=(Flag.SOUNDS_TO_ZERO,)))
    assert flagged.success
    assert flagged.diastolic.right
    assert flagged.diastolic.near is False
    assert not score(to_zero, reading(diastolic=k4)).success
    far = low_value(82.5, rule=Rule.K4, k5_mmhg=0.0)
    assert not score(to_zero, reading(diastolic=far, flags=(Flag.SOUNDS_TO_ZERO,))).success


def test_no_sounds_wants_unreadable() -> None:
    none = truth(true_reading(NO_TRUTH, NO_TRUTH, readable=False))
    right, wrong = score(none, UNREADABLE), score(none, reading())
    assert right.success
    assert right.unreadable_right
    assert not wrong.success
    assert wrong.unreadable_right is False
    assert score(truth(), UNREADABLE).unreadable_right is None
    assert not score(truth(), UNREADABLE).success


def test_inflated_into_a_gap_must_not_be_ok() -> None:
    into = truth(inflated_into_gap=True)
    assert score(into, reading()).into_gap_ok is True
    assert not score(into, reading()).success
    assert score(into, reading(status=Status.REVIEW)).success
    assert score(truth(), reading()).into_gap_ok is None


def test_a_gap_has_to_be_found_where_it_is() -> None:
    holes = (TrueGap(upper_mmhg=120.0, lower_mmhg=104.0, silent_beats=7),)
    with_gap = truth(true_reading(gaps=holes))
    assert score(with_gap, reading(gaps=(gap(118.0, 102.0),))).success
    elsewhere = score(with_gap, reading(gaps=(gap(100.0, 92.0),)))
    assert elsewhere.gap_found is False
    assert not elsewhere.success
    assert results([elsewhere])[0].right_with_gap == Share(some=1, all=1)
    assert elsewhere.false_gap is None
    for gaps, false in (((gap(100.0, 92.0),), True), ((), False)):
        assert score(truth(), reading(gaps=gaps)).false_gap is false
    in_quiet_only = truth(true_reading(gaps=holes), true_reading())
    assert score(in_quiet_only, reading()).success
    assert gap_found(holes, (gap(104.0, 90.0),)) is False


def heard(*times_s: float) -> tuple[Beat, ...]:
    return tuple(
        Beat(time_s=time_s, cuff_mmhg=100.0, heard=0.9, phase=Phase.K2) for time_s in times_s
    )


def test_beats_match_one_to_one_within_150_ms() -> None:
    true = [true_beat(1.0), true_beat(1.2), true_beat(2.0)]
    found = score_beats(true, heard(1.1, 1.3, 2.16))
    assert (found.hits, found.false, found.missed) == (2, 1, 1)
    assert match_beats(true, heard(1.1, 1.3, 2.16)) == ((0, 0), (1, 1))


def test_beats_match_as_many_as_possible_before_the_nearest() -> None:
    # Nearest first would pair 1.14 with 1.10 and leave 1.00 alone.
    assert match_beats([true_beat(1.0), true_beat(1.14)], heard(1.1, 1.28)) == ((0, 0), (1, 1))


def test_beats_audible_in_quiet_only_and_ectopic_ones_count_neither_way() -> None:
    true = [true_beat(1.0, "quiet"), true_beat(2.0, expected=False), true_beat(3.0, "none")]
    found = score_beats(true, heard(1.0, 2.0, 3.0))
    assert (found.hits, found.false, found.missed) == (0, 1, 0)
    assert score_beats(true, ()).missed == 0


def test_beats_below_one_half_are_not_heard() -> None:
    faint = tuple(replace(beat, heard=0.49) for beat in heard(1.0))
    found = score_beats([true_beat(1.0)], faint)
    assert (found.hits, found.false, found.missed) == (0, 0, 1)


def test_share_has_exact_bounds() -> None:
    # Clopper-Pearson for 0 of 30: 1 - 0.025 ** (1 / 30).
    low, high = share([False] * 30).bounds
    assert low == 0.0
    assert high == pytest.approx(1 - 0.025 ** (1 / 30))
    assert Share(some=0, all=0).value is None


def test_calibration_by_tenths() -> None:
    rows = [
        score(truth(), reading(value(128.0 + (10.0 if i < wrong else 0.0), confidence)))
        for confidence, count, wrong in ((0.75, 4, 2), (0.98, 5, 1))
        for i in range(count)
    ]
    found = calibration([row.systolic for row in rows])
    assert [tenth.low for tenth in found.tenths] == [0.7, 0.9]
    assert found.tenths[0].wrong == Share(some=2, all=4)
    assert found.sure_wrong == Share(some=1, all=5)
    assert found.expected_error == pytest.approx((4 * 0.25 + 5 * 0.18) / 9)


def test_confidence_on_the_edge_falls_into_the_upper_tenth() -> None:
    rows = [score(truth(), reading(value(128.0, c))) for c in (0.3, 0.7, 1.0)]
    found = calibration([row.systolic for row in rows])
    assert [tenth.low for tenth in found.tenths] == [0.3, 0.7, 0.9]


def some_rows() -> list[Score]:
    return [
        score(truth(), reading(value(130.0)), group="a", seed=0),
        score(truth(), reading(value(140.0)), group="a", seed=1),
        score(truth(inflated_into_gap=True), reading(), group="b", seed=0),
        failed("b", 1, "Traceback\nValueError: boom\n"),
    ]


def test_results_sum_up_groups_and_all() -> None:
    a, b, everything = results(some_rows())
    assert (a.group, b.group, everything.group) == ("a", "b", "all")
    assert a.success == Share(some=1, all=2)
    assert a.systolic.bias_mmhg == pytest.approx(7.0)
    assert a.systolic.sd_mmhg == pytest.approx(50**0.5)
    assert (b.failures, b.success, b.into_gap_ok) == (1, Share(some=0, all=2), share([True]))
    assert everything.recordings == 4
    assert everything.step_mmhg == 2.0


def test_table_fits_110_columns_and_shows_every_group() -> None:
    text = table(results(some_rows()))
    assert max(map(len, text.splitlines())) <= 110
    lines = text.splitlines()
    assert lines[0] == "recordings in each group: 2"
    assert lines[4].startswith("a                      50 1-99")
    assert "b: inflated into a gap, yet ok with a value (target <= 2 %) 1/1 = 100 %" in text
    assert failures(some_rows()).startswith("\nFAILED b seed 1\nTraceback")


def test_rows_are_saved_flat(tmp_path: Path) -> None:
    path = tmp_path / "rows.csv"
    save_rows(some_rows(), path)
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["success"] for row in rows] == ["1", "0", "0", "0"]
    assert (rows[1]["systolic_quiet"], rows[1]["systolic_read"]) == ("128.0", "140.0")
    assert rows[1]["systolic_error"] == "12.0"
    assert rows[3]["failure"].endswith("boom")
    assert [item.name for item in tmp_path.iterdir()] == ["rows.csv"]


def test_side_by_side_marks_invented_and_missed_beats() -> None:
    true = truth(beats=[true_beat(1.0), true_beat(2.0, "none"), true_beat(3.0)])
    beats = (
        *heard(2.01),
        Beat(time_s=1.02, cuff_mmhg=100.0, heard=0.1, phase=Phase.SILENT),
        *heard(9.0),
    )
    text = side_by_side(true, reading(beats=beats), group="a", seed=7)
    marked = [line.rsplit("<-- ", 1)[1] for line in text.splitlines() if "<-- " in line]
    assert marked == ["missed", "invented", "no beat", "no such beat"]
    assert "a 7: right, status ok" in text


def test_seeds_stay_inside_their_split() -> None:
    assert main_module.seeds("calibration", None, 3) == range(10_000, 10_003)
    assert main_module.seeds("development", 9_998, 2) == range(9_998, 10_000)
    with pytest.raises(SystemExit, match="leave the closing split: 20000 to 29999 are allowed"):
        main_module.seeds("closing", 19_999, 2)


def test_json_holds_shares_with_bounds() -> None:
    found = main_module.as_json(results(some_rows()))
    assert found[0]["success"]["some"] == 1
    assert found[0]["success"]["value"] == 0.5
    assert found[0]["systolic"]["right"]["low"] == pytest.approx(0.0126, abs=1e-4)
