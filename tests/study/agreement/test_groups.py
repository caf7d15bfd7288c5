"""Groups of a table: what is in each, the points and curves drawn, and the notes."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from tapfall.study.agreement import Agreement, agreement, table_of
from tapfall.study.agreement.make import POOLED
from tapfall.study.agreement.result import Group


def made(head: str, *rows: str, reference: str = "observers") -> Agreement:
    return agreement(table_of("t", "\n".join([head, *rows]).encode()), reference=reference)


def group_of(head: str, *rows: str, reference: str = "observers") -> Group:
    (group,) = made(head, *rows, reference=reference).groups
    return group


def test_two_pairs_are_the_fewest() -> None:
    one = group_of("reference,estimate", "120,121", "130,")
    assert (one.results, one.drawn) == ((), None)
    assert one.notes[0] == "Too few pairs for any statistic: 1."
    two = group_of("reference,estimate", "120,121", "130,131")
    assert two.drawn is not None
    assert not any(note.startswith("Too few") for note in two.notes)
    names = [result.name for result in two.results]
    assert names[-1] == "Last digits of the reference, observer 1"
    for start in ("Limits", "Ratio", "Share", "Does", "ICC", "Weighted", "ISO", "BHS", "ESH",
                  "Independent"):  # fmt: skip
        assert any(name.startswith(start) for name in names)


def test_one_condition_is_no_division_and_two_are() -> None:
    head = "reference,estimate,condition"
    assert [one.condition for one in made(head, "120,121,calm", "120,121,calm").groups] == [None]
    two = made(head, "120,121,calm", "120,121,").groups
    assert [one.condition for one in two] == [None, "calm", "(none)"]
    assert [one.counts.rows for one in two] == [2, 1, 1]
    assert two[0].measure == "not told"


def test_the_curve_of_shares_goes_from_0_to_30_mmhg() -> None:
    group = group_of("reference,estimate", "120,120", "120,125", "120,110", "120,151")
    assert [one.error_mmhg for one in group.shares] == [float(n) for n in range(31)]
    shares = {one.error_mmhg: one.share for one in group.shares}
    assert [shares[mmhg] for mmhg in (0, 4, 5, 9, 10, 30)] == [0.25, 0.25, 0.5, 0.5, 0.75, 0.75]
    assert group_of("reference,estimate", "120,").shares == ()


def test_coverage_is_of_all_rows_with_a_reference() -> None:
    # Two of three pairs have a confidence; 6 rows have a reference.
    group = group_of("reference,estimate,confidence", "120,121,0.9", "120,123,0.5", "120,130,",
                     "120,,0.1", "120,>=100,0.8", "120,<=130,", ",120,0.7")  # fmt: skip
    assert [(one.confidence, one.coverage) for one in group.coverage] == [
        (0.9, pytest.approx(1 / 6)),
        (0.5, pytest.approx(2 / 6)),
    ]
    assert "Confidence is given for 2 of 3 pairs only." in group.notes


@pytest.mark.parametrize(
    ("cells", "told"), [(("", ""), False), (("0.5", ""), True), (("0.5", "0.6"), False)]
)
def test_confidence_that_only_some_pairs_have_is_noted(cells: Sequence[str], told: bool) -> None:
    group = group_of("reference,estimate,confidence", *(f"120,121,{cell}" for cell in cells))
    assert any(note.startswith("Confidence is given") for note in group.notes) == told


def test_notes_are_told_where_they_hold() -> None:
    plain = group_of("reference,estimate,subject", "120,121,a", "120,121,b")
    assert plain.notes == (POOLED,)
    head = "reference,reference_2,estimate,subject"
    apart = group_of(head, "120,120,121,a", "120,120,121,b", "120,126,121,a")
    note, *rest = apart.notes
    assert rest == [POOLED]
    assert note.startswith("In 1 row the two observers are more than 4 mmHg apart")
    bounds = group_of("reference,estimate,subject", "120,121,a", "120,121,b", "120,>=121,a")
    assert bounds.notes == ("Of 1 bounded estimate 1 excludes its reference.", POOLED)
    told = group_of("reference,estimate,measure", "120,121,mean", "120,121,mean")
    assert POOLED not in told.notes
    device = group_of(
        "reference,estimate,subject", "120,121,a", "120,121,b", reference="device"
    ).notes
    assert device[1:] == (POOLED,)
    assert device[0].startswith("The reference is another device")


def grid_of(count: int, more: Sequence[str] = ()) -> Group:
    """So many pairs, each at a place of its own."""
    rows = [f"{60 + n % 100},{60 + n % 100 + n // 100 / 10:.1f}" for n in range(count)]
    return group_of("reference,estimate", *rows, *more)


def test_5000_points_are_drawn_each_by_itself() -> None:
    group = grid_of(5000)
    assert (len(group.points), group.points_step_mmhg) == (5000, None)
    assert {one.pairs for one in group.points} == {1}
    first = group.points[101]
    assert (first.mean_mmhg, first.difference_mmhg) == pytest.approx((61.05, 0.1))


def test_more_points_share_the_finest_grid_that_holds_them() -> None:
    # Levels of 60 to 159 mmHg and differences of 0 to 5 mmHg: some 200 x 11 places of 0.5 mmHg.
    group = grid_of(5001)
    assert group.points_step_mmhg == 0.5
    assert sum(one.pairs for one in group.points) == 5001
    for one in group.points:
        assert (2.0 * one.mean_mmhg, 2.0 * one.difference_mmhg) == pytest.approx(
            (round(2.0 * one.mean_mmhg), round(2.0 * one.difference_mmhg))
        )
    # The highest and the lowest pressures have places of their own.
    far = grid_of(5001, ["0,400", "400,0", "400,400", "0,0"])
    told = {(one.mean_mmhg, one.difference_mmhg): one.pairs for one in far.points}
    for place in ((200.0, 400.0), (200.0, -400.0), (400.0, 0.0), (0.0, 0.0)):
        assert told[place] == 1


def test_a_grid_of_just_5000_places_is_enough() -> None:
    # Means of 80 to 129.5 mmHg and differences of 0 to 24.5, all on the finest grid.
    places = [(80.0 + n % 100 / 2.0, n // 100 / 2.0) for n in range(5000)]
    rows = [f"{mean - gap / 2:.2f},{mean + gap / 2:.2f}" for mean, gap in [*places, places[0]]]
    group = group_of("reference,estimate", *rows)
    assert (len(group.points), group.points_step_mmhg) == (5000, 0.5)
    assert {(one.mean_mmhg, one.difference_mmhg) for one in group.points} == set(places)


@pytest.mark.parametrize(
    ("wide", "step"),
    # (34 / 0.5 + 1) squared are 4761 places, (36 / 0.5 + 1) squared 5329, and so on.
    [(34, 0.5), (36, 1.0), (69, 1.0), (72, 2.0), (138, 2.0), (142, 5.0)],
)
def test_points_that_spread_farther_share_a_coarser_grid(wide: int, step: float) -> None:
    # Means and differences over a square, one pair at each half of a mmHg.
    halves = [n / 2.0 for n in range(2 * wide + 1)]
    rows = [f"{80 + mean - gap / 2:.2f},{80 + mean + gap / 2:.2f}"
            for mean in halves for gap in halves]  # fmt: skip
    rows += rows[:300]
    group = group_of("reference,estimate", *rows)
    assert group.points_step_mmhg == step
    assert sum(one.pairs for one in group.points) == len(rows)
    assert max(one.mean_mmhg for one in group.points) == pytest.approx(80 + wide, abs=step / 2)
    assert max(one.difference_mmhg for one in group.points) == pytest.approx(wide, abs=step / 2)


def test_pairs_all_over_the_range_share_the_coarsest_grid() -> None:
    ends = [2.5 * n for n in range(161)]
    group = group_of("reference,estimate", *(f"{ref},{est}" for ref in ends for est in ends))
    assert group.points_step_mmhg == 10.0
    assert len(group.points) <= 5000
    assert sum(one.pairs for one in group.points) == 161 * 161


def test_last_digits_are_those_of_observers_who_wrote_something() -> None:
    head = "reference,reference_2,estimate"
    both = group_of(head, "120,121,120", "130,130,130")
    assert [one.who for one in both.digits] == ["observer 1", "observer 2"]
    second = group_of(head, ",121,120", ",130,130")
    assert [one.who for one in second.digits] == ["observer 2"]
    # Too few pairs: the digits are counted, and no result stands for them.
    few = group_of("reference,estimate", "120,", "131,")
    assert few.digits[0].counts[:2] == (1, 1)
    assert few.results == ()
