"""Answers against the key: errors, habits, learners against each other."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tapfall.convert import to_json
from tapfall.errors import InputError, SettingError
from tapfall.lesson import (
    Answer,
    Answers,
    Habit,
    Key,
    KeyBeat,
    KeyGap,
    KeyItem,
    Mode,
    mark,
    pass_rule,
    read_answers,
)
from tapfall.lesson.answers import COLUMNS
from tapfall.lesson.errors import misses
from tapfall.lesson.habits import HabitFound, find_habits
from tapfall.lesson.likelihood import GROSS_SHARES, SCATTERS_MMHG, SHARES
from tapfall.lesson.making import shows
from tapfall.lesson.marks_page import marks_html
from tapfall.lesson.words import habit_texts, marked_text
from tapfall.model import Phase
from tests.lesson.learners import READERS, Reader, misses_gaps, muffling

RULE = pass_rule("expert-1991")


def item(
    number: int,
    rng: np.random.Generator,
    *,
    gap: bool = True,
    step: float = 2.0,
    muffled_mmhg: float = 7.0,
) -> KeyItem:
    """An item by hand: systolic 110 to 190, a beat each ``step`` mmHg."""
    high = float(rng.integers(110, 190))
    low = high - float(rng.integers(48, 70))
    gaps = (KeyGap(upper_mmhg=high - 10.0, lower_mmhg=high - 30.0),) if gap else ()
    beats = tuple(
        KeyBeat(time_s=0.8 * n, mmhg=value, audible=low <= value <= high, phase=Phase.K1)
        for n, value in enumerate(np.arange(high + 30, low - 30, -step).tolist())
    )
    made = KeyItem(
        name=f"item-{number:02d}",
        systolic_mmhg=high,
        diastolic_mmhg=low,
        k4_mmhg=low + muffled_mmhg,
        gaps=gaps,
        offset_mmhg=float(rng.integers(0, 21)),
        step_mmhg=step,
        beats=beats,
        shows=(),
    )
    return replace(made, shows=shows(made))


def items(count: int, seed: int, gaps: int = 5) -> list[KeyItem]:
    rng = np.random.default_rng(seed)
    return [
        item(
            n + 1,
            rng,
            gap=n < gaps,
            step=float(rng.uniform(2.0, 3.2)),
            muffled_mmhg=float(rng.integers(5, 13)),
        )
        for n in range(count)
    ]


def key_of(made: list[KeyItem]) -> Key:
    return Key(set_id="ab12", grade="3", seed=1, items=tuple(made))


def answers_of(made: list[KeyItem], name: str, seed: int, **others: str) -> Answers:
    rng = np.random.default_rng(seed)
    given = tuple(READERS[name].answer(one, rng, scatter_mmhg=1.0) for one in made)
    head = {"set_id": "ab12", "learner": "k-1", "saved": "2026-01-05T10:00:00Z", **others}
    return Answers(mode=Mode.EXAMINE, answers=given, **head)


# --- habits ------------------------------------------------------------------------------


def found_in(name: str, made: list[KeyItem], seed: int, **how: float) -> dict[Habit, HabitFound]:
    rng = np.random.default_rng(seed)
    answers = [READERS[name].answer(one, rng, **how) for one in made]
    return {one.habit: one for one in find_habits(made, answers)}


@pytest.mark.parametrize("scatter_mmhg", [1.0, 2.0])
@pytest.mark.parametrize("name", list(READERS))
def test_habits_are_recognised_and_nobody_is_accused(name: str, scatter_mmhg: float) -> None:
    habit = READERS[name].habit
    named = denied = accused = 0
    for seed in range(25):
        told = found_in(name, items(15, seed), 1000 + seed, scatter_mmhg=scatter_mmhg)
        named += habit is not None and told[habit].present is True
        denied += habit is not None and told[habit].present is False
        accused += any(one.present for one in told.values() if one.habit is not habit)
    # With the larger scatter one pulse cannot always be judged; it is not denied.
    if habit is not None:
        assert named >= (13 if (name, scatter_mmhg) == ("one pulse early", 2.0) else 23)
    assert denied <= 2
    assert accused <= 2


@pytest.mark.parametrize("name", ["misses gaps", "stops in gaps"])
def test_four_items_are_enough(name: str) -> None:
    habit = READERS[name].habit
    assert habit is not None
    found = [found_in(name, items(15, seed, gaps=4), seed)[habit].present for seed in range(20)]
    assert found.count(True) >= 19


def test_gross_errors_accuse_nobody() -> None:
    accused = sum(
        any(one.present for one in found_in("careful", items(15, seed), seed, gross=0.15).values())
        for seed in range(40)
    )
    assert accused <= 3


def test_two_habits_are_both_named() -> None:
    made = items(15, 5, gaps=8)
    both = Reader(
        reads=lambda item, rng: (misses_gaps(item, rng)[0], muffling(item, rng)[1]),
        step_mmhg=2.0,
    )
    rng = np.random.default_rng(6)
    told = find_habits(made, [both.answer(one, rng) for one in made])
    assert {one.habit for one in told if one.present} == {Habit.MISSED_GAP, Habit.MUFFLING}


def test_a_habit_that_cannot_show_is_not_judged() -> None:
    told = found_in("careful", items(15, 1, gaps=3), 2)
    assert told[Habit.MISSED_GAP].present is None
    assert told[Habit.MISSED_GAP].items == 3
    assert told[Habit.MISSED_GAP].evidence is None
    assert told[Habit.ROUNDS].present is False


def test_scatter_that_would_hide_a_habit_is_said() -> None:
    told = found_in("careful", items(15, 1), 2, scatter_mmhg=5.0)
    assert told[Habit.READ_LATE].present is None
    assert told[Habit.READ_LATE].items == 15
    # Nor is scatter blamed where it is a habit that changes too little.
    (text,) = habit_texts([told[Habit.READ_LATE]])
    assert text == "cannot be judged, might not show in these answers: reads a beat late"


def test_no_answers_judge_nothing() -> None:
    assert all(one.present is None and one.items == 0 for one in find_habits([], []))
    made = items(15, 1)
    nothing = [
        Answer(item=one.name, systolic_mmhg=None, diastolic_mmhg=None, marks_s=(), replays=0)
        for one in made
    ]
    assert all(one.present is None for one in find_habits(made, nothing))


def test_the_order_of_items_makes_no_difference() -> None:
    made = items(15, 4)
    rng = np.random.default_rng(5)
    answers = [READERS["misses gaps"].answer(one, rng) for one in made]
    turned = find_habits(made[::-1], answers[::-1])
    for one, other in zip(find_habits(made, answers), turned, strict=True):
        assert (one.habit, one.present, one.items) == (other.habit, other.present, other.items)


def test_evidence_is_the_bayes_factor_of_a_model_written_here() -> None:
    """One habit at one place: the same sums with the distributions of scipy."""
    made = [replace(one, shows=(Habit.MISSED_GAP,)) for one in items(4, 9, gaps=4)]
    answers = [
        Answer(item=one.name, systolic_mmhg=float(2 * round((value + one.offset_mmhg) / 2)),
               diastolic_mmhg=None, marks_s=(), replays=0)
        for one, value in zip(made, [made[0].gaps[0].lower_mmhg, made[1].gaps[0].lower_mmhg,
                                     made[2].systolic_mmhg, made[3].systolic_mmhg], strict=True)
    ]  # fmt: skip

    def read_at(place: float, read: float, sd: float, step: float) -> float:
        if read % step:
            return 0.0
        edges = stats.norm(place, sd).cdf([read - step / 2, read + step / 2])
        return float(edges[1] - edges[0])

    def usual(place: float, read: float, sd: float) -> float:
        return 0.97 * read_at(place, read, sd, 2.0) + 0.03 * read_at(place, read, sd, 1.0)

    def chance(share: float) -> float:
        total = 0.0
        for sd in SCATTERS_MMHG:
            for gross in GROSS_SHARES:
                product = 1.0
                for one, answer in zip(made, answers, strict=True):
                    read = float(answer.systolic_mmhg)
                    true = usual(one.systolic_mmhg + one.offset_mmhg, read, sd)
                    low = usual(one.gaps[0].lower_mmhg + one.offset_mmhg, read, sd)
                    wild = (0.97 * 2.0 + 0.03) / 120.0
                    product *= (1 - gross) * (share * low + (1 - share) * true) + gross * wild
                total += product
        return total

    wanted = np.mean([chance(share) for share in SHARES]) / chance(0.0)
    found = {one.habit: one for one in find_habits(made, answers)}[Habit.MISSED_GAP]
    assert found.evidence == pytest.approx(np.log10(wanted), abs=0.01)


# --- one value ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "measure", "habit"),
    [
        ("misses gaps", 0, Habit.MISSED_GAP),
        ("stops in gaps", 1, Habit.STOPPED_EARLY),
        ("K4 for K5", 1, Habit.MUFFLING),
    ],
)
def test_one_error_is_explained_and_placed(name: str, measure: int, habit: Habit) -> None:
    rng = np.random.default_rng(4)
    one = item(1, rng)
    miss = misses(one, READERS[name].answer(one, rng))[measure]
    assert miss.kind is habit
    assert miss.advice
    beats = {beat.time_s: beat.mmhg for beat in one.beats}
    assert miss.at_s is not None
    assert beats[miss.at_s] == pytest.approx(miss.true_mmhg, abs=1.0)


def test_the_dials_displacement_is_taken_off() -> None:
    one = replace(item(1, np.random.default_rng(1)), offset_mmhg=13.0)
    assert one.systolic_mmhg is not None
    said = Answer(
        item="item-01", systolic_mmhg=one.systolic_mmhg + 15.0, diastolic_mmhg=None,
        marks_s=(), replays=0,
    )  # fmt: skip
    high, low = misses(one, said)
    assert high.error_mmhg == 2.0
    assert high.right
    assert low.error_mmhg is None
    assert not low.right


def test_saying_rightly_that_nothing_can_be_told_is_right() -> None:
    one = replace(item(1, np.random.default_rng(1)), diastolic_mmhg=None)
    said = Answer(item="item-01", systolic_mmhg=100.0, diastolic_mmhg=None, marks_s=(), replays=0)
    assert misses(one, said)[1].right
    assert not misses(one, replace(said, diastolic_mmhg=80.0))[1].right


# --- learners ----------------------------------------------------------------------------


def test_errors_are_those_of_numpy() -> None:
    made = items(12, 3)
    given = answers_of(made, "careful", 7)
    marked = mark(key_of(made), [given], RULE)
    errors = np.array(
        [
            a.systolic_mmhg - one.offset_mmhg - one.systolic_mmhg  # type: ignore[operator]
            for one, a in zip(made, given.answers, strict=True)
        ]
    )
    found = marked.sessions[0].errors[0]
    assert found.mean_mmhg == pytest.approx(float(errors.mean()), abs=1e-12)
    assert found.sd_mmhg == pytest.approx(float(errors.std(ddof=1)), abs=1e-12)
    assert found.within == tuple(float(np.mean(np.abs(errors) <= b)) for b in (2, 4, 6))
    assert marked.sessions[0].passed


def test_missing_answers_are_counted_and_never_filled_in() -> None:
    made = items(10, 3)
    given = answers_of(made, "careful", 7)
    short = replace(given, answers=given.answers[:7])
    found = mark(key_of(made), [short], RULE).sessions[0]
    assert (found.errors[0].count, found.errors[0].missing) == (7, 3)
    assert found.errors[0].within[2] == pytest.approx(0.7)
    assert not found.passed


def test_sessions_stand_in_order_of_time_and_the_group_takes_the_latest() -> None:
    made = items(10, 3)
    late = answers_of(made, "careful", 7, saved="2026-01-07T09:00:00+01:00")
    early = answers_of(made, "misses gaps", 8, saved="2026-01-06T09:00:00Z")
    other = answers_of(made, "careful", 9, learner="a-2")
    marked = mark(key_of(made), [late, other, early], RULE)
    assert [one.saved[:10] for one in marked.sessions if one.learner == "k-1"] == [
        "2026-01-06",
        "2026-01-07",
    ]
    group = marked.group
    assert group.learners == 2
    assert group.errors[0].count == 20
    assert abs(group.errors[0].mean_mmhg or 9.0) < 1.5
    assert len(group.apart) == 2
    assert group.icc[0] is not None
    assert group.icc[0].value > 0.98


def test_repeatability_is_the_standard_deviation_of_one_reading() -> None:
    made = items(8, 3)
    again = [replace(one, name=f"again-{n}", same_as=one.name) for n, one in enumerate(made)]
    given = answers_of(made, "careful", 1)
    shifted = tuple(
        replace(a, item=f"again-{n}", systolic_mmhg=a.systolic_mmhg + 4.0)  # type: ignore[operator]
        for n, a in enumerate(given.answers)
    )
    both = replace(given, answers=given.answers + shifted)
    found = mark(key_of(made + again), [both], RULE).sessions[0]
    high, low = found.repeats
    assert (high.count, low.count) == (8, 8)
    assert high.sd_mmhg == pytest.approx(4.0 / np.sqrt(2.0))
    assert (high.mean_mmhg, low.sd_mmhg) == (4.0, 0.0)
    assert high.bound_mmhg == pytest.approx(1.96 * 4.0)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"set_id": "zz"}, "set_id: found 'zz'; allowed 'ab12'"),
        ({"answers": (Answer(item="nothing", systolic_mmhg=1.0, diastolic_mmhg=1.0, marks_s=(),
                             replays=0),)}, "item: found 'nothing'; allowed 'item-01', "),
    ],
)  # fmt: skip
def test_answers_to_something_else_are_refused(change: dict[str, object], told: str) -> None:
    made = items(5, 3)
    given = replace(answers_of(made, "careful", 7), **change)  # type: ignore[arg-type]
    with pytest.raises(InputError, match=told):
        mark(key_of(made), [given], RULE)


def test_a_session_that_stands_twice_is_refused() -> None:
    made = items(5, 3)
    given = answers_of(made, "careful", 7)
    with pytest.raises(InputError, match="twice; allowed once"):
        mark(key_of(made), [given, given], RULE)


@pytest.mark.parametrize("text", ["", "4", "4:101", "0:50", "best", "4:50;"])
def test_a_rule_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(SettingError, match="--pass: found"):
        pass_rule(text)


# --- files -------------------------------------------------------------------------------


def test_both_forms_of_answers_say_the_same(tmp_path: Path) -> None:
    made = items(4, 3)
    given = answers_of(made, "careful", 7)
    given = replace(
        given,
        answers=(
            replace(given.answers[0], marks_s=(12.5, 13.25), diastolic_mmhg=None),
            *given.answers[1:],
        ),
    )
    (tmp_path / "a.json").write_text(json.dumps(to_json(given)))
    lines = [",".join(COLUMNS)]
    for one in given.answers:
        low = "" if one.diastolic_mmhg is None else f"{one.diastolic_mmhg:g}"
        marks = " ".join(f"{mark_s:g}" for mark_s in one.marks_s)
        lines.append(
            f"ab12,k-1,{given.saved},examine,{one.item},{one.systolic_mmhg:g},{low},0,{marks}"
        )
    (tmp_path / "a.csv").write_text("\n".join(lines) + "\n")
    assert read_answers(tmp_path / "a.json") == read_answers(tmp_path / "a.csv") == given


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("ab12,k-1,2026-01-05T10:00:00Z,examine,item-01,abc,80,0,", "line 2: systolic_mmHg"),
        ("ab12,k-1,2026-01-05T10:00:00Z,examine,item-01,1e3,80,0,", "line 2: systolic_mmHg"),
        ("ab12,k-1,2026-01-05T10:00:00Z,examine,item-01,120,80,-1,", "line 2: replays"),
        ("ab12,k-1,2026-01-05T10:00:00Z,guess,item-01,120,80,0,", "mode: found 'guess'"),
        ("ab12,=1+1,2026-01-05T10:00:00Z,examine,item-01,120,80,0,", "learner: found '=1"),
        ("ab12,k-1,yesterday,examine,item-01,120,80,0,", "saved: found 'yesterday'"),
        ("ab12,k-1,2026-01-05T10:00:00Z,examine,item-01,900,80,0,", "systolic_mmHg: found '900'"),
        ("ab12,k-1,2026-01-05T10:00:00Z,examine,item-01,120", "found 6 cells; allowed 9"),
    ],
)
def test_answers_that_are_none_are_told_by_their_place(
    tmp_path: Path, line: str, told: str
) -> None:
    path = tmp_path / "a.csv"
    path.write_text(",".join(COLUMNS) + "\n" + line + "\n")
    with pytest.raises(InputError, match=told):
        read_answers(path)


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"schema": "tapfall.answers/1"}', "a,b\n"])
def test_a_file_of_something_else_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "a.json"
    path.write_text(text)
    with pytest.raises(InputError, match="allowed"):
        read_answers(path)


# --- words and pages ---------------------------------------------------------------------


def test_the_text_fits_a_terminal_and_names_the_habit() -> None:
    made = items(15, 3)
    marked = mark(key_of(made), [answers_of(made, "misses gaps", 7)], RULE)
    text = marked_text(marked)
    assert max(map(len, text.splitlines())) <= 80
    assert "misses the sounds above a silent gap: yes" in text
    assert "not a medical device" in text


def test_the_page_links_to_the_second_and_escapes_what_it_is_given(tmp_path: Path) -> None:
    made = items(15, 3)
    evil = replace(key_of(made), grade="<script>alert(1)</script>")
    marked = mark(evil, [answers_of(made, "misses gaps", 7)], RULE)
    text = marks_html(marked, tmp_path / "marks.html", tmp_path / "my set")
    assert "<script>alert" not in text
    assert 'href="my%20set/item-01.flac#t=' in text
    assert "http" not in text.replace("http-equiv", "")
