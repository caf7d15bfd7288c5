"""From a table to its groups: what is counted, what is used, what is said."""

from __future__ import annotations

import json
import math

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapfall.errors import SettingError
from tapfall.model import CAUTION
from tapfall.study.agreement import agreement, agreement_record, agreement_schema, table_of
from tapfall.study.agreement.make import MOST_POINTS
from tapfall.study.agreement.record import SHIPPED
from tapfall.study.agreement.text import agreement_text

BASIC = "reference,estimate\n120,122\n130,129\n140,145\n150,\n180,>=170\n190,<=170\n,120\n"


def result(group, start: str):
    return next(one for one in group.results if one.name.startswith(start))


def numbers(group, start: str) -> dict[str, float]:
    return {one.name: one.value for one in result(group, start).numbers}


def made(text: str):
    return agreement(table_of("t", text.encode()))


def test_nothing_is_filled_in() -> None:
    (group,) = made(BASIC).groups
    counts = group.counts
    assert (counts.rows, counts.paired, counts.abstained, counts.bounded) == (7, 3, 1, 2)
    assert (counts.without_reference, counts.subjects) == (1, None)
    assert numbers(group, "Limits")["mean difference"] == pytest.approx(2.0)
    for one in group.results:
        assert (one.paired, one.abstained, one.bounded) == (3, 1, 2)
        assert one.source
    shares = numbers(group, "Share")
    assert shares["within 5 mmHg, of the pairs"] == 100.0
    # Three of six with a reference: what was not read is not within 5.
    assert shares["within 5 mmHg, of all attempts"] == 50.0
    assert "Of 2 bounded estimates 1 excludes its reference." in group.notes
    assert any("Subjects are not told" in note for note in group.notes)


def test_measures_and_conditions_are_apart() -> None:
    rows = [
        f"{ref},{ref + gap},{measure},{condition}"
        for measure, condition, gap in (
            ("systolic", "calm", 1), ("systolic", "noise", 3), ("diastolic", "calm", -2)
        )
        for ref in range(80, 170, 7)
    ]  # fmt: skip
    found = made("reference,estimate,measure,condition\n" + "\n".join(rows))
    names = [(one.measure, one.condition) for one in found.groups]
    assert names == [
        ("systolic", None),
        ("systolic", "calm"),
        ("systolic", "noise"),
        ("diastolic", None),
    ]
    means = [one.drawn.mean.value for one in found.groups]
    assert means == pytest.approx([2.0, 1.0, 3.0, -2.0])


def test_a_criterion_that_is_met_is_no_validation() -> None:
    rows = [f"{ref},{ref + gap},{n}" for n, ref in enumerate(range(100, 130)) for gap in (-1, 0, 1)]
    found = made("reference,estimate,subject\n" + "\n".join(rows))
    (group,) = found.groups
    for start in ("ISO 81060-2 criterion 1", "ISO 81060-2 criterion 2"):
        one = result(group, start)
        assert one.verdict == "criterion met on this sample"
        assert "A criterion met on this sample validates nothing." in one.notes
        assert "Not met: 85 subjects or more; found 30." in one.notes
        assert "not told" in {want.state for want in one.requirements}
    assert result(group, "ESH").verdict == "not computed"
    assert result(group, "BHS").verdict == "grade A on this sample"
    text = (
        agreement_text(found).lower().replace("validates nothing", "").replace("no validation", "")
    )
    assert "validated" not in text


def test_subjects_that_repeat_are_not_taken_for_many() -> None:
    rows = [f"{ref},{ref + gap},{n}" for n, (ref, gap) in enumerate([(100, 9), (120, -9), (90, 2)])]
    once = made("reference,estimate,subject\n" + "\n".join(rows))
    often = made("reference,estimate,subject\n" + "\n".join(rows * 50))
    spans = [one.groups[0].drawn.mean for one in (once, often)]
    assert spans[1].value == pytest.approx(spans[0].value)
    assert spans[1].high - spans[1].low == pytest.approx(spans[0].high - spans[0].low)
    icc = [numbers(one.groups[0], "ICC")["ICC"] for one in (once, often)]
    assert icc[0] == icc[1]
    assert result(often.groups[0], "ICC").used == 3
    share = result(often.groups[0], "Share").numbers[0]
    assert share.low is None


def test_kappa_uses_the_named_scheme() -> None:
    rows = [f"{ref},{ref},systolic" for ref in (110, 125, 135, 150)]
    table = table_of("t", ("reference,estimate,measure\n" + "\n".join(rows)).encode())
    (group,) = agreement(table, "esc-2024").groups
    assert result(group, "Weighted kappa").name.endswith("ESC 2024")
    assert numbers(group, "Weighted kappa")["kappa"] == pytest.approx(1.0)
    with pytest.raises(SettingError, match="scheme: found 'who'"):
        agreement(table, "who")


def test_one_subject_alone() -> None:
    (group,) = made("reference,estimate,subject\n120,121,a\n121,125,a\n122,122,a\n").groups
    assert group.results[0].name == "Limits of agreement within one subject"
    assert result(group, "ISO 81060-2 criterion 2").verdict == "not computed"


@pytest.mark.parametrize("text", ["reference,estimate\n120,\n", "reference,estimate\n120,121\n"])
def test_too_few_pairs(text: str) -> None:
    (group,) = made(text).groups
    assert group.results == ()
    assert group.drawn is None
    assert group.notes[0].startswith("Too few pairs for any statistic")


def test_the_methods_say_what_was_done_and_no_more() -> None:
    plain = made(BASIC).methods
    assert "3 pairs, 1 abstention, 2 bounded estimates, 0 rows with observers too far" in plain
    assert "analysis of variance" not in plain
    assert "Criterion 2" not in plain
    assert "risk-coverage" not in plain
    text = "reference,estimate,subject,confidence\n120,121,a,0.9\n121,125,a,0.5\n90,92,b,0.7\n"
    repeated = made(text).methods
    for part in ("analysis of variance", "Criterion 2", "risk-coverage", "2 subjects"):
        assert part in repeated


def test_zero_is_a_pressure_and_has_no_logarithm() -> None:
    (group,) = made("reference,estimate,measure\n0,2,diastolic\n10,10,diastolic\n").groups
    assert result(group, "Ratio").verdict == "not computed"


cells = st.sampled_from(["", "0", "80", "120", "120.5", ">=150", "<=60", "300"])
rows = st.tuples(cells.filter(lambda c: c[:1] not in "<>" or not c), cells, st.sampled_from("abc"))


@settings(max_examples=80, deadline=None)
@given(st.lists(rows, min_size=1, max_size=25))
def test_every_table_gives_clean_json_and_text(found: list[tuple[str, str, str]]) -> None:
    body = "".join(f"{ref},{est},{who}\n" for ref, est, who in found)
    made_of = made("reference,estimate,subject\n" + body)
    record = agreement_record(made_of, name="t.csv", sha256="00")
    text = json.dumps(record, allow_nan=False)
    assert CAUTION in text
    counts = made_of.groups[0].counts
    assert counts.rows == counts.paired + counts.abstained + counts.bounded + (
        counts.without_reference + counts.observers_apart
    )
    for one in made_of.groups[0].results:
        for number in one.numbers:
            if number.low is not None:
                assert number.low <= number.value + 1e-9 <= number.high + 2e-9
            assert number.value is None or math.isfinite(number.value)
    lines = agreement_text(made_of).splitlines()
    assert max(map(len, lines)) <= 80


def test_means_of_subjects_that_spread_fail_criterion_2_alone() -> None:
    # Means 7 above and below: SD 7.1 of ten subjects, 7.0 of the pairs; 6.95 are allowed.
    rows = [
        f"{ref},{ref + 7 * (-1) ** n},{n}" for n, ref in enumerate(range(100, 110)) for _ in "abc"
    ]
    (group,) = made("reference,estimate,subject\n" + "\n".join(rows)).groups
    assert result(group, "ISO 81060-2 criterion 1").verdict == "criterion met on this sample"
    second = result(group, "ISO 81060-2 criterion 2")
    assert second.verdict == "criterion not met on this sample"
    assert second.numbers[1].value == pytest.approx(7 * math.sqrt(10 / 9))


def test_a_mean_error_beyond_5_fails_both_criteria() -> None:
    rows = [f"{ref},{ref + 6},{n}" for n, ref in enumerate(range(100, 110))]
    (group,) = made("reference,estimate,subject\n" + "\n".join(rows)).groups
    for number in (1, 2):
        one = result(group, f"ISO 81060-2 criterion {number}")
        assert one.verdict == "criterion not met on this sample"
    assert one.numbers[2].value is None


def test_limits_of_1986_stand_beside_those_of_1999() -> None:
    (group,) = made(BASIC).groups
    first, former = group.results[:2]
    assert former.name == "Limits of agreement of 1986"
    assert "1986" in former.source
    assert former.numbers[3].value == pytest.approx(2.0 + 2.0 * numbers(group, "Limits")["SD"])
    assert first.numbers[3].value == pytest.approx(2.0 + 1.96 * numbers(group, "Limits")["SD"])
    assert group.drawn.upper.value == first.numbers[3].value


def test_last_digits_of_both_observers() -> None:
    rows = [f"{100 + 10 * (n % 8)},{101 + n % 4},{100 + n % 9}" for n in range(40)]
    found = made("reference,reference_2,estimate\n" + "\n".join(rows))
    (group,) = found.groups
    first, second = group.digits
    assert (first.who, first.counts[0], first.look) == ("observer 1", 40, True)
    assert first.score == pytest.approx(100.0)
    assert second.counts[1:5] == (10, 10, 10, 10)
    assert second.look is False
    assert numbers(group, "Last digits of the reference, observer 1")["ending in 0"] == 40
    assert "last even digits" in found.methods


def test_another_device_is_no_observer() -> None:
    table = table_of("t", BASIC.encode())
    (group,) = agreement(table, reference="device").groups
    names = [one.name for one in group.results]
    assert not [one for one in names if one.startswith(("ISO", "BHS", "ESH", "Last"))]
    assert group.digits == ()
    assert any("another device" in note for note in group.notes)
    assert "not observers" in agreement(table, reference="device").methods
    with pytest.raises(SettingError, match="reference: found 'ear'; allowed observers, device"):
        agreement(table, reference="ear")


def test_the_methods_tell_of_a_second_observer_also_where_none_is_apart() -> None:
    rows = "120,122,121\n130,130,131\n140,141,139\n"
    found = made(f"reference,reference_2,estimate\n{rows}")
    assert "the reference is the mean of both" in found.methods
    assert "the mean of both; rows" not in made(BASIC).methods


def test_many_pairs_share_points_and_none_is_lost() -> None:
    rows = [f"{100 + n % 83 + n / 1e4:.3f},{100 + n * 7 % 79 + n / 3e4:.3f}" for n in range(6000)]
    (group,) = made("reference,estimate\n" + "\n".join([*rows, "90,190"])).groups
    assert group.points_step_mmhg is not None
    assert len(group.points) <= MOST_POINTS
    assert sum(one.pairs for one in group.points) == 6001
    step = group.points_step_mmhg
    far = [one for one in group.points if one.difference_mmhg > 95.0]
    assert [(one.mean_mmhg, one.difference_mmhg) for one in far] == [
        (pytest.approx(140.0, abs=step / 2), pytest.approx(100.0, abs=step / 2))
    ]
    few = made(BASIC).groups[0]
    assert few.points_step_mmhg is None
    assert [one.pairs for one in few.points] == [1, 1, 1]


def test_the_shipped_schema_is_the_generated_one() -> None:
    jsonschema.Draft202012Validator.check_schema(agreement_schema())
    assert json.loads(SHIPPED.read_text(encoding="utf-8")) == agreement_schema()


@pytest.mark.parametrize(
    "text",
    [
        BASIC,
        "reference,estimate\n1,\n",
        "reference,estimate,subject,confidence\n120,121,a,0.9\n121,125,a,0.5\n90,92,b,0.7\n",
    ],
)
def test_records_follow_the_schema(text: str) -> None:
    record = json.loads(json.dumps(agreement_record(made(text), name="t.csv", sha256="00")))
    validator = jsonschema.Draft202012Validator(agreement_schema())
    validator.validate(record)
    for broken in ({**record, "more": 1}, {**record, "groups": [{}]}, {**record, "scheme": 3}):
        assert not validator.is_valid(broken)
