"""What marking says beyond errors and habits: causes, digits, repeats, agreement, tables."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tapfall.errors import InputError
from tapfall.files.tables import table_text
from tapfall.lesson import Answer, Answers, Habit, Key, KeyItem, Mode, mark, pass_rule
from tapfall.lesson.between import icc_of, pairs_apart, repeated
from tapfall.lesson.errors import explained, misses
from tapfall.lesson.marking import Marked
from tapfall.lesson.marks_page import MOST_PAIRS, marks_html
from tapfall.lesson.marktables import SESSION_COLUMNS, VALUE_COLUMNS, session_rows, value_rows
from tapfall.lesson.nouns import NOT_DATED
from tapfall.lesson.words import marked_text
from tests.lesson.learners import READERS, truth
from tests.lesson.test_mark import answers_of, item, items, key_of

RULE = pass_rule("expert-1991")


def off_by(made: list[KeyItem], high: float, low: float, learner: str = "k-1") -> Answers:
    """Answers that are all off by so much."""
    rng = np.random.default_rng(0)
    given = []
    for one in made:
        values = [value + one.offset_mmhg for value in truth(one, rng)]
        given.append(
            Answer(item=one.name, systolic_mmhg=values[0] + high, diastolic_mmhg=values[1] + low,
                   marks_s=(), replays=0)
        )  # fmt: skip
    return Answers(
        set_id="ab12", learner=learner, saved="2026-01-05T10:00:00Z", mode=Mode.EXAMINE,
        answers=tuple(given),
    )  # fmt: skip


def marked_class(count: int = 3) -> Marked:
    """Some learners, the first with two sessions and the habit of missing gaps."""
    made = items(15, 3)
    made += [replace(one, name=f"again-{n}", same_as=one.name) for n, one in enumerate(made[:4])]
    names = list(READERS)
    given = [
        answers_of(made, names[(3 + n) % len(names)], n, learner=f"k-{n}") for n in range(count)
    ]
    again = answers_of(made, "careful", 99, learner="K-0", saved="2026-02-05T10:00:00Z")
    return mark(key_of(made), [again, *given], RULE)


# --- causes ------------------------------------------------------------------------------


def test_causes_are_those_of_single_values() -> None:
    one = item(1, np.random.default_rng(1), muffled_mmhg=9.0)
    high, low = one.systolic_mmhg or 0.0, one.diastolic_mmhg or 0.0
    assert explained(one, "systolic", one.gaps[0].lower_mmhg + 1.0) is Habit.MISSED_GAP
    assert explained(one, "systolic", high + 9.0) is Habit.READ_PULSE
    assert explained(one, "systolic", high - 55.0) is None
    assert explained(one, "diastolic", low + 9.0) is Habit.MUFFLING
    assert explained(one, "diastolic", low + 16.0) is Habit.STOPPED_EARLY
    assert explained(one, "diastolic", one.gaps[0].upper_mmhg) is Habit.STOPPED_EARLY
    assert explained(one, "diastolic", low - 25.0) is None


def test_a_known_habit_is_the_likelier_cause() -> None:
    one = replace(item(1, np.random.default_rng(1)), offset_mmhg=0.0, systolic_mmhg=135.0, gaps=())
    silent_above = tuple(replace(beat, audible=beat.mmhg <= 135.0) for beat in one.beats)
    one = replace(one, beats=silent_above)
    assert explained(one, "systolic", 140.0) is Habit.READ_PULSE
    assert explained(one, "systolic", 140.0, [Habit.ROUNDS]) is Habit.ROUNDS
    assert explained(one, "systolic", 141.0, [Habit.ROUNDS]) is Habit.READ_PULSE


def test_what_is_near_has_no_cause_and_no_advice() -> None:
    one = item(1, np.random.default_rng(1))
    for shift in (-4.0, 0.0, 4.0):
        (answer,) = off_by([one], shift, shift).answers
        assert all(miss.right and miss.kind is None for miss in misses(one, answer))


def test_causes_are_counted_for_learner_and_group() -> None:
    made = [replace(one, gaps=(), k4_mmhg=None) for one in items(6, 3)]
    marked = mark(key_of(made), [off_by(made, -55.0, 0.0), off_by(made, 0.0, 0.0, "k-2")], RULE)
    (cause,) = marked.sessions[0].causes
    assert (cause.habit, cause.measure, cause.missing, cause.count) == (None, "systolic", False, 6)
    assert marked.sessions[1].causes == ()
    assert marked.group.causes == (cause,)


def test_a_value_where_none_can_be_told_counts_against_the_learner() -> None:
    made = items(6, 3)
    made[0] = replace(made[0], diastolic_mmhg=None)
    given = off_by([replace(made[0], diastolic_mmhg=60.0), *made[1:]], 0.0, 0.0)
    found = mark(key_of(made), [given], pass_rule("4:100")).sessions[0]
    assert (found.errors[1].count, found.errors[1].missing) == (5, 1)
    assert found.errors[1].within == pytest.approx((5 / 6,) * 3)
    assert found.passed is False
    assert [(one.missing, one.count) for one in found.causes] == [(True, 1)]


# --- rules -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rule", "shift", "passed"),
    [
        ("expert-1991", 5.0, True),
        ("expert-1991", 6.0, False),
        ("sequences-4", 2.0, True),
        ("sequences-4", 3.0, False),
        ("sequences-2", 2.0, True),
        ("4:100", 4.0, True),
        ("4:100,bias:2", 4.0, False),
        ("bias:4", 4.0, True),
    ],
)
def test_rules_hold_for_each_measure(rule: str, shift: float, passed: bool) -> None:
    made = items(10, 3)
    for high, low in ((shift, 0.0), (0.0, -shift)):
        found = mark(key_of(made), [off_by(made, high, low)], pass_rule(rule))
        assert found.sessions[0].passed is passed
        assert found.group.passed == int(passed)


@pytest.mark.parametrize(("rule", "passed"), [("bias:2", False), ("4:80,bias:2", True)])
def test_a_missing_answer_is_outside_the_bound_of_the_mean(rule: str, passed: bool) -> None:
    made = items(10, 3)
    given = off_by(made, 0.0, 0.0)
    short = replace(given, answers=given.answers[:9])
    assert mark(key_of(made), [given], pass_rule(rule)).sessions[0].passed is True
    assert mark(key_of(made), [short], pass_rule(rule)).sessions[0].passed is passed


@pytest.mark.parametrize("mode", [Mode.LEARN, Mode.PRACTISE])
def test_only_examinations_are_passed(mode: Mode) -> None:
    made = items(10, 3)
    marked = mark(key_of(made), [replace(off_by(made, 0.0, 0.0), mode=mode)], RULE)
    assert marked.sessions[0].passed is None
    assert marked.group.passed == 0
    assert "no examination" in marked_text(marked)


def test_who_passed_is_counted_over_the_latest_examinations() -> None:
    made = items(10, 3)
    right, wrong = off_by(made, 0.0, 0.0), off_by(made, 20.0, 0.0, "k-2")
    later = replace(right, saved="2026-02-05T10:00:00Z", mode=Mode.PRACTISE)
    third = replace(off_by(made, 0.0, 0.0, "k-3"), mode=Mode.LEARN)
    marked = mark(key_of(made), [right, later, wrong, third], RULE)
    assert (marked.group.learners, marked.group.examined, marked.group.passed) == (3, 2, 1)
    assert "1 of 2 who were examined passed" in marked_text(marked)
    assert "1 of 2 who were examined passed" in marks_html(marked, "m.html")


def test_nothing_is_said_of_passing_where_nobody_was_examined() -> None:
    made = items(10, 3)
    given = [replace(off_by(made, 0.0, 0.0, one), mode=Mode.PRACTISE) for one in ("k-1", "k-2")]
    marked = mark(key_of(made), given, RULE)
    assert (marked.group.examined, marked.group.passed) == (0, 0)
    assert " passed" not in marked_text(marked)
    assert "<strong></strong>" not in marks_html(marked, "m.html")
    assert " passed" not in marks_html(marked, "m.html")


# --- several sets ------------------------------------------------------------------------


def test_progress_over_sessions_on_several_sets() -> None:
    first, second = items(8, 3), items(8, 4)
    keys = key_of(first), replace(key_of(second), set_id="cd34")
    given = [
        off_by(first, -12.0, 0.0),
        replace(off_by(second, 0.0, 0.0), set_id="cd34", learner="K-1",
                saved="2026-01-09T10:00:00Z"),
    ]  # fmt: skip
    marked = mark(keys[0], given[::-1], RULE, others=keys[1:])
    assert [(one.set_id, one.learner, one.passed) for one in marked.sessions] == [
        ("ab12", "K-1", False),
        ("cd34", "K-1", True),
    ]
    assert marked.group.learners == 1
    assert marked.group.errors[0].mean_mmhg == 0.0
    assert "set cd34" in marked_text(marked)
    with pytest.raises(InputError, match="found 'cd34'; allowed 'ab12'"):
        mark(keys[0], given, RULE)
    with pytest.raises(InputError, match="two keys of the set 'ab12'"):
        mark(keys[0], given, RULE, others=(keys[0],))


def test_learners_agree_on_the_items_of_the_sets_they_share() -> None:
    first, second = items(8, 3), items(8, 4)
    other = Key(set_id="cd34", grade="3", seed=1, items=tuple(second))
    given = [
        off_by(first, 0.0, 0.0),
        off_by(first, 6.0, 1.0, "k-2"),
        replace(off_by(second, 50.0, 9.0, "k-2"), set_id="cd34", saved="2026-01-09T10:00:00Z"),
    ]
    high, low = mark(key_of(first), given, RULE, others=(other,)).group.apart
    assert (high.mean_mmhg, high.sd_mmhg, high.count) == (6.0, 0.0, 8)
    assert (high.within, high.kept) == ((0.0, 1.0), False)
    assert (low.mean_mmhg, low.within, low.kept) == (1.0, (1.0, 1.0), True)


# --- statistics against others -----------------------------------------------------------


def test_repeatability_is_that_of_an_analysis_of_variance() -> None:
    rng = np.random.default_rng(1)
    groups = [rng.normal(120, 3, 3).tolist() for _ in range(9)]
    (found,) = repeated([(groups, [])])
    # Within mean square by hand of scipy: F of a one-way analysis is between over within.
    between = 3 * np.var([np.mean(one) for one in groups], ddof=1)
    wanted = between / stats.f_oneway(*groups).statistic
    assert found.sd_mmhg**2 == pytest.approx(float(wanted))
    assert found.bound_mmhg == pytest.approx(1.96 * np.sqrt(2 * wanted))


def test_agreement_of_three_is_icc_of_their_mean_squares() -> None:
    rng = np.random.default_rng(2)
    table = rng.normal(130, 15, 12)[:, None] + rng.normal(0, 2, (12, 3)) + [0.0, 1.0, -1.5]
    read = {
        f"k-{k}": {("ab12", f"i{n}"): (float(table[n, k]), None) for n in range(12)}
        for k in range(3)
    }
    found = icc_of(read, 0)
    n, k = table.shape
    rows, columns = table.mean(axis=1), table.mean(axis=0)
    square = {
        "r": k * rows.var(ddof=1),
        "c": n * columns.var(ddof=1),
        "e": ((table - rows[:, None] - columns + table.mean()) ** 2).sum() / ((n - 1) * (k - 1)),
    }
    wanted = (square["r"] - square["e"]) / (
        square["r"] + (k - 1) * square["e"] + k * (square["c"] - square["e"]) / n
    )
    assert found is not None
    assert found.value == pytest.approx(float(wanted))
    assert icc_of(read, 1) is None
    gap = stats.ttest_rel(table[:, 1], table[:, 0])
    pair = next(one for one in pairs_apart(read) if (one.first, one.second) == ("k-0", "k-1"))
    assert pair.sd_mmhg is not None
    assert pair.mean_mmhg / (pair.sd_mmhg / np.sqrt(n)) == pytest.approx(float(gap.statistic))


def test_digits_are_those_on_the_dial() -> None:
    made = [replace(one, offset_mmhg=7.0) for one in items(13, 3)]
    found = mark(key_of(made), [answers_of(made, "rounds to 0", 1)], RULE).sessions[0].digits
    assert found.counts == (26, *([0] * 9))
    assert {one.check for one in found.findings} == {"all digits", "even digits"}
    assert next(one for one in found.findings if one.check == "even digits").state == "look"


# --- what is written ---------------------------------------------------------------------


def table(columns: tuple[str, ...], rows: object) -> list[dict[str, str]]:
    text = table_text(columns, rows)  # type: ignore[arg-type]
    return list(csv.DictReader(io.StringIO(text)))


def test_a_row_for_each_value_and_for_each_session() -> None:
    marked = marked_class()
    values = table(VALUE_COLUMNS, value_rows(marked))
    assert len(values) == 4 * 19 * 2
    sessions = table(SESSION_COLUMNS, session_rows(marked))
    assert [(one["learner"], one["session"]) for one in sessions] == [
        (sessions[0]["learner"], "1"),
        (sessions[0]["learner"], "2"),
        ("k-1", "1"),
        ("k-2", "1"),
    ]
    assert sessions[0]["missed_gap"] == "yes"
    assert sessions[1]["missed_gap"] == "no"
    for one in sessions:
        assert sum(int(one[f"digit_{digit}"]) for digit in range(10)) == 38
        assert one["systolic_repeat_sd_mmHg"]


def test_answers_that_nobody_dated_show_no_date(tmp_path: Path) -> None:
    made = items(5, 3)
    marked = mark(key_of(made), [replace(off_by(made, 0.0, 0.0), saved=NOT_DATED)], RULE)
    assert {one["saved"] for one in table(VALUE_COLUMNS, value_rows(marked))} == {""}
    assert table(SESSION_COLUMNS, session_rows(marked))[0]["saved"] == ""
    for text in (marked_text(marked), marks_html(marked, tmp_path / "m.html")):
        assert "k-1, not dated" in text
        assert "1970" not in text


def test_what_was_not_answered_has_rows_without_values() -> None:
    made = items(3, 3)
    given = off_by(made, 0.0, 0.0)
    marked = mark(key_of(made), [replace(given, answers=given.answers[:1])], RULE)
    values = table(VALUE_COLUMNS, value_rows(marked))
    assert [one["answered"] for one in values] == ["yes"] * 2 + ["no"] * 4
    assert all(not one["read_mmHg"] and not one["error_mmHg"] for one in values[2:])
    assert [one["measure"] for one in values] == ["systolic", "diastolic"] * 3


def test_cells_are_no_formulas() -> None:
    made = [replace(one, name="=cmd|' /C calc'!A0") for one in items(1, 3)]
    key = replace(key_of(made), set_id="@set")
    given = replace(off_by(made, 30.0, 0.0), set_id="@set")
    text = table_text(VALUE_COLUMNS, value_rows(mark(key, [given], RULE)))
    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    assert "'@set" in cells
    assert "'=cmd|' /C calc'!A0" in cells
    assert not any(cell[:1] in "=@" and cell for cell in cells)


def test_the_text_of_a_class_fits_a_terminal() -> None:
    text = marked_text(marked_class())
    assert max(map(len, text.splitlines())) <= 80
    assert "3 learners, 4 sessions" in text
    assert "All learners, the latest session of each" in text
    assert "sounds heard twice" in text
    assert "pairs that agree (between observers" in text


def test_a_large_class_shows_the_pairs_furthest_apart(tmp_path: Path) -> None:
    made = items(4, 3)
    given = [off_by(made, float(n), 0.0, f"k-{n:02d}") for n in range(30)]
    text = marks_html(mark(key_of(made), given, RULE), tmp_path / "m.html")
    assert "those furthest apart of 435 pairs" in text
    assert text.count(" minus k-") == MOST_PAIRS
    assert "k-29 minus k-00" in text


def test_hostile_names_reach_the_page_escaped(tmp_path: Path) -> None:
    made = [replace(one, name='"><img src=x onerror=alert(1)>') for one in items(1, 3)]
    key = replace(key_of(made), set_id="<script>alert(1)</script>", grade="{{ 7*7 }}")
    given = replace(off_by(made, 30.0, 0.0, "<b>"), set_id=key.set_id)
    text = marks_html(mark(key, [given], RULE), tmp_path / "m.html", tmp_path / 'a"b')
    for bad in ("<script>alert", "<img", "<b>", "grade 49", 'a"b'):
        assert bad not in text
    assert "&lt;script&gt;" in text
