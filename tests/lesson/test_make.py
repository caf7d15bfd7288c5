"""Graded sets: what they hold, and what they do not give away."""

from __future__ import annotations

import collections
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import stats

from tapfall.errors import InputError, SettingError
from tapfall.lesson import GRADES, Mode, Order, Written, grade_of, make_items, make_set
from tapfall.lesson.digits import FARTHEST_MMHG, UNBENT_MMHG, Bend, whole_pressures
from tapfall.lesson.draw import DIASTOLIC_MMHG, SYSTOLIC_MMHG, length_s, plan
from tapfall.lesson.level import LIMIT, level_tones, limited
from tapfall.lesson.making import Made
from tapfall.lesson.nouns import COVERED_BELOW_MMHG, Habit, Sex
from tapfall.lesson.sets import read_key, read_set
from tests.lesson.leaks import course, left_mmhg


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Written:
    order = Order(
        grade=grade_of("3"), count=10, seed=11, mode=Mode.EXAMINE, random_zero=True, repeats=2
    )
    return make_set(order, tmp_path_factory.mktemp("sets") / "one")


@pytest.fixture(scope="module")
def made() -> dict[str, list[Made]]:
    return {grade.name: list(make_items(Order(grade=grade, count=8, seed=3))) for grade in GRADES}


# --- digits ------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [1, 7, 10, 30, 50])
def test_last_digits_are_shared_evenly_and_no_number_stands_twice(count: int) -> None:
    rng = np.random.Generator(np.random.PCG64(count))
    mmhg = rng.uniform(92.0, 198.0, count)
    whole = whole_pressures(mmhg, rng)
    digits = collections.Counter(value % 10 for value in whole)
    assert len(set(whole)) == count
    assert max(digits.values()) - min(digits.get(d, 0) for d in range(10)) <= 1
    assert max(abs(a - b) for a, b in zip(whole, mmhg, strict=True)) <= FARTHEST_MMHG


def test_a_rounded_digit_pays_no_more_than_any_other() -> None:
    # Ten digits, chi-square with 9 degrees of freedom: the 95 % point is 16.92.
    rng = np.random.Generator(np.random.PCG64(5))
    counts = np.zeros(10)
    for _ in range(100):
        for value in whole_pressures(rng.uniform(92.0, 198.0, 15), rng):
            counts[value % 10] += 1
    assert stats.chisquare(counts).statistic < 16.92


def test_the_bent_scale_rises_and_leaves_rest_alone() -> None:
    bend = Bend(
        systolic_mmhg=120.0, diastolic_mmhg=92.0, by_systolic_mmhg=-7.0, by_diastolic_mmhg=7.0
    )
    mmhg = np.arange(0.0, 250.0, 0.5)
    assert (np.diff(bend.at(mmhg)) > 0).all()
    assert np.array_equal(bend.at(mmhg)[mmhg <= UNBENT_MMHG], mmhg[mmhg <= UNBENT_MMHG])


def test_fifty_people_have_fifty_diastolic_pressures() -> None:
    # A set of 50 is the largest that is asked for; a range of some 60 mmHg has to hold them.
    for name in ("1", "6"):
        people = [one.person for _, one in plan(grade_of(name), 50, 4)]
        low = np.array([one.diastolic_mmhg for one in people])
        whole = whole_pressures(low, np.random.Generator(np.random.PCG64(4)))
        assert len(set(whole)) == 50
        assert collections.Counter(value % 10 for value in whole) == dict.fromkeys(range(10), 5)


def test_numbers_stand_twice_only_where_there_are_too_few() -> None:
    rng = np.random.Generator(np.random.PCG64(6))
    whole = whole_pressures(np.full(20, 80.0), rng)
    assert len(set(whole)) == 15
    assert collections.Counter(value % 10 for value in whole) == dict.fromkeys(range(10), 2)


def test_the_bent_scale_has_no_corner_at_the_answers() -> None:
    # Where the rate of the fall changed at once, a program could read both pressures off.
    bend = Bend(
        systolic_mmhg=140.0, diastolic_mmhg=90.0, by_systolic_mmhg=-4.0, by_diastolic_mmhg=4.0
    )
    rate = np.diff(bend.at(np.arange(20.0, 240.0, 0.05))) / 0.05
    assert np.abs(np.diff(rate)).max() < 0.002


# --- grades ------------------------------------------------------------------------------


def test_ratio_and_rate_get_harder_from_grade_to_grade(made: dict[str, list[Made]]) -> None:
    ratio = [np.median([one.signal_to_noise_db for one in items]) for items in made.values()]
    rate = [
        np.median([one.scenario.cuff.deflation_mmhg_per_s for one in items])
        for items in made.values()
    ]
    assert (np.diff(ratio) < 0).all()
    assert (np.diff(rate) > 0).all()
    assert rate[-1] > rate[0] + 1.0


def test_gaps_stand_in_the_grades_that_teach_them(made: dict[str, list[Made]]) -> None:
    shares = {name: np.mean([bool(one.key.gaps) for one in items]) for name, items in made.items()}
    assert shares["1"] == shares["2"] == 0.0
    assert shares["3"] == 0.25
    for items in made.values():
        for one in items:
            assert (Habit.MISSED_GAP in one.key.shows) == bool(one.key.gaps)


def test_a_set_covers_the_range_of_pressures(made: dict[str, list[Made]]) -> None:
    for items in made.values():
        high = [one.key.systolic_mmhg or 0.0 for one in items]
        assert min(high) < 120.0
        assert max(high) > 170.0


def test_women_and_men_stand_evenly_in_their_own_ranges(made: dict[str, list[Made]]) -> None:
    # Means of adults, 2015: women 122.3/76.7, men 127.0/78.7 mmHg (NCD Risk Factor
    # Collaboration, Lancet 2017; 389: 37-55).
    for ranges, apart in ((SYSTOLIC_MMHG, 127.0 - 122.3), (DIASTOLIC_MMHG, 78.7 - 76.7)):
        for woman, man in zip(ranges[Sex.FEMALE], ranges[Sex.MALE], strict=True):
            assert man - woman == pytest.approx(apart)
    for items in made.values():
        sexes = [one.key.sex for one in items]
        assert sexes.count(Sex.FEMALE) == sexes.count(Sex.MALE) == 4
    for count in (15, 50):
        wanted = [one for one, _ in plan(grade_of("2"), count, 8)]
        for sex, (low, high) in SYSTOLIC_MMHG.items():
            own = sorted(one.systolic_mmhg for one in wanted if one.sex is sex)
            assert abs(len(own) - count / 2) <= 0.5
            # One in each of as many equal steps as there are people.
            steps = [int((value - low) / (high - low) * len(own)) for value in own]
            assert steps == list(range(len(own)))


def test_a_tenth_of_the_last_grade_goes_on_to_zero() -> None:
    wanted = [one for one, _ in plan(grade_of("6"), 50, 8)]
    assert sum(one.to_zero for one in wanted) in (5, 6)
    assert sum(one.gap for one in wanted) in (32, 33)
    assert not any(one.gap and one.to_zero for one in wanted)


def test_the_key_is_what_the_beats_say(made: dict[str, list[Made]]) -> None:
    # The first of two audible beats and the last audible one, of a steady rhythm.
    for one in made["1"]:
        heard = [beat.audible for beat in one.key.beats]
        first = next(i for i in range(len(heard)) if heard[i] and heard[i + 1])
        last = len(heard) - 1 - next(i for i, a in enumerate(heard[::-1]) if a)
        assert one.key.beats[first].mmhg == pytest.approx(one.key.systolic_mmhg, abs=0.02)
        assert one.key.beats[last].mmhg == pytest.approx(one.key.diastolic_mmhg, abs=0.02)


def test_an_unknown_grade_is_refused() -> None:
    with pytest.raises(SettingError, match="grade: found '7'; allowed 1, 2, 3, 4, 5, 6"):
        grade_of("7")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"count": 0}, "count is 0"),
        ({"count": 3, "repeats": 4}, "repeats 4"),
        ({"count": 90, "repeats": 10}, "allowed at most 99"),
        ({"count": 3, "seed": -1}, "seed is -1"),
        ({"count": 3, "replays": -1}, "replays is -1"),
    ],
)
def test_an_order_that_cannot_be_kept_is_refused(change: dict[str, int], told: str) -> None:
    with pytest.raises(SettingError, match=told):
        Order(**{"grade": grade_of("1"), "seed": 1, **change})


# --- sound -------------------------------------------------------------------------------


def test_nothing_swings_further_than_the_limit(made: dict[str, list[Made]]) -> None:
    for items in made.values():
        for one in items:
            assert np.abs(one.sound).max() <= LIMIT
            assert abs(float(one.sound[0])) < 1e-3
            assert abs(float(one.sound[-1])) < 1e-3


def test_the_loud_tone_is_as_loud_as_anything_in_a_set() -> None:
    loud, faint = level_tones(4000.0)
    assert np.abs(limited(np.full(4000, 100.0), 4000.0)).max() == pytest.approx(LIMIT)
    assert np.abs(loud).max() == pytest.approx(LIMIT)
    assert np.abs(faint).max() == pytest.approx(0.02, rel=0.01)


def test_a_seed_makes_the_same_set_again() -> None:
    order = Order(grade=grade_of("5"), count=3, seed=9, random_zero=True)
    one, two = list(make_items(order)), list(make_items(order))
    assert [a.item for a in one] == [b.item for b in two]
    assert [a.key for a in one] == [b.key for b in two]
    assert all(np.allclose(a.sound, b.sound, atol=1e-6) for a, b in zip(one, two, strict=True))


# --- what is written ---------------------------------------------------------------------


def test_a_set_and_its_key_can_be_read_again(written: Written) -> None:
    assert read_set(written.folder) == written.lesson
    assert read_key(written.key_path) == written.key
    assert len(written.lesson.items) == 12
    assert sum(one.same_as is not None for one in written.key.items) == 2


def test_no_answer_stands_in_what_learners_get(written: Written) -> None:
    text = (written.folder / "set.json").read_text()
    for word in ("systolic", "diastolic", "seed", "offset", "truth", "scenario", "audible"):
        assert word not in text
    assert str(written.key.seed) not in written.lesson.set_id
    names = sorted(path.name for path in written.folder.iterdir())
    numbers = [f"item-{n:02d}.flac" for n in range(1, 13)]
    assert names == sorted(["set.json", "level.flac", "answer-sheet.pdf", *numbers])


def test_sounds_carry_no_word_but_that_they_are_simulated(written: Written) -> None:
    said = set()
    for path in written.folder.glob("item-*.flac"):
        with soundfile.SoundFile(path) as track:
            said.add(tuple(sorted(track.copy_metadata().items())))
            assert track.frames / track.samplerate == pytest.approx(
                length_s(grade_of("3")), abs=0.01
            )
    assert len(said) == 1
    assert "simulated" in str(said)


def test_files_are_equally_large_and_still_sound(written: Written) -> None:
    paths = sorted(written.folder.glob("item-*.flac"))
    assert len({path.stat().st_size for path in paths}) == 1
    assert len({item.seconds for item in written.lesson.items}) == 1
    for path in paths:
        assert np.abs(soundfile.read(path)[0]).max() > 0.01


def test_order_tells_no_pressure() -> None:
    items = list(make_items(Order(grade=grade_of("2"), count=40, seed=21)))
    high = [one.key.systolic_mmhg for one in items]
    assert stats.spearmanr(range(40), high).pvalue > 0.01


def test_a_displaced_dial_is_covered_low_and_displaced_alike_all_over(written: Written) -> None:
    for item, key in zip(written.lesson.items, written.key.items, strict=True):
        assert 0 <= key.offset_mmhg <= 20
        shown = [value for value in item.dial.mmhg if value is not None]
        assert min(shown) >= COVERED_BELOW_MMHG
        assert item.dial.mmhg[0] is None
        at = round(next(b for b in key.beats if b.audible).time_s / item.dial.step_s)
        value = item.dial.mmhg[at]
        assert value is not None
        beat = next(b for b in key.beats if b.audible)
        assert value - key.offset_mmhg == pytest.approx(beat.mmhg, abs=6.0)
    assert len({key.offset_mmhg for key in written.key.items}) > 4


def test_repeats_have_other_bytes_and_another_zero(written: Written) -> None:
    pairs = [(one.name, one.same_as) for one in written.key.items if one.same_as]
    for name, same in pairs:
        one, other = (written.folder / f"{n}.flac" for n in (name, same))
        assert one.read_bytes() != other.read_bytes()
        assert np.allclose(soundfile.read(one)[0], soundfile.read(other)[0], atol=2**-13)


def test_the_sheets_are_pdf_and_the_learners_holds_no_answer(written: Written) -> None:
    sheet = (written.folder / "answer-sheet.pdf").read_bytes()
    assert sheet.startswith(b"%PDF")
    assert written.teacher_path.read_bytes().startswith(b"%PDF")
    assert str(written.key.seed).encode() + b":" not in sheet


def test_a_folder_that_holds_something_is_refused(tmp_path: Path) -> None:
    (tmp_path / "other.txt").write_text("x")
    order = Order(grade=grade_of("1"), count=1, seed=1)
    with pytest.raises(InputError, match="holds something; allowed a new or empty one"):
        make_set(order, tmp_path)


def test_a_key_beside_the_sounds_is_refused(tmp_path: Path) -> None:
    order = Order(grade=grade_of("1"), count=1, seed=1)
    with pytest.raises(InputError, match="key in the folder of the learners"):
        make_set(order, tmp_path / "set", tmp_path / "set" / "key.json")


@pytest.mark.parametrize("name", ["set-key.json", "set-key-sheet.pdf", "other.json"])
def test_the_key_of_another_set_is_kept(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("of a set whose folder was moved away")
    key = tmp_path / name if name == "other.json" else None
    told = f"{name}: found there already; allowed another name, or removing it"
    with pytest.raises(InputError, match=told):
        make_set(Order(grade=grade_of("1"), count=1, seed=1), tmp_path / "set", key)
    assert [(one.name, one.read_text()) for one in tmp_path.iterdir()] == [
        (name, "of a set whose folder was moved away")
    ]


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ('"schema": "tapfall.lesson/9"', "schema: found 'tapfall.lesson/9'"),
        ('"file": "../secret.flac"', r"file: found '\.\./secret\.flac'"),
        ('"mode": "guess"', "mode: found 'guess'"),
    ],
)
def test_a_broken_set_is_told_by_its_field(
    written: Written, tmp_path: Path, change: str, told: str
) -> None:
    text = (written.folder / "set.json").read_text()
    field = change.split('"')[1]
    start = text.index(f'"{field}": "')
    end = text.index('"', start + len(field) + 5)
    path = tmp_path / "set.json"
    path.write_text(text[:start] + change + text[end + 1 :])
    with pytest.raises(InputError, match=told):
        read_set(tmp_path)


@pytest.mark.parametrize("name", ["2", "6"])
def test_the_course_of_the_dial_tells_no_more_than_a_guess(name: str) -> None:
    # Top, its time, release and rate, against the answers' own spread, on items not fitted.
    items = list(make_items(Order(grade=grade_of(name), count=50, seed=22)))
    known = np.array([course(one) for one in items])
    assert known[:, 0].min() > 215.0
    for answers in (
        [one.key.systolic_mmhg for one in items],
        [one.key.diastolic_mmhg for one in items],
    ):
        mmhg = np.array(answers, float)
        guess = left_mmhg(np.empty((50, 0)), mmhg)
        assert left_mmhg(known, mmhg) > 0.9 * guess
        for one in known.T:
            assert stats.spearmanr(one, mmhg).pvalue > 0.001
    assert np.std([one.key.systolic_mmhg or 0.0 for one in items]) > 25.0


def test_making_tells_how_many_recordings_are_simulated_in_order(tmp_path: Path) -> None:
    told: list[int] = []
    order = Order(grade=grade_of("1"), count=3, seed=6, repeats=1)
    made = make_set(order, tmp_path / "set", told=told.append)
    assert told == [1, 2, 3]
    assert len(made.lesson.items) == 4
