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
from tapfall.lesson.digits import UNBENT_MMHG, Bend, whole_pressures
from tapfall.lesson.making import COVERED_BELOW_MMHG, LENGTH_S, LIMIT, Made, level_tones, limited
from tapfall.lesson.nouns import Habit
from tapfall.lesson.sets import read_key, read_set


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
    assert max(abs(a - b) for a, b in zip(whole, mmhg, strict=True)) <= 25.0


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


# --- grades ------------------------------------------------------------------------------


def test_ratio_and_rate_get_harder_from_grade_to_grade(made: dict[str, list[Made]]) -> None:
    ratio = [np.median([one.signal_to_noise_db for one in items]) for items in made.values()]
    rate = [
        np.median([one.scenario.cuff.deflation_mmhg_per_s for one in items])
        for items in made.values()
    ]
    assert (np.diff(ratio) < 0).all()
    assert rate[-1] > rate[0] + 1.0


def test_gaps_stand_in_the_grades_that_teach_them(made: dict[str, list[Made]]) -> None:
    shares = {name: np.mean([bool(one.key.gaps) for one in items]) for name, items in made.items()}
    assert shares["1"] == shares["2"] == 0.0
    assert shares["3"] == 0.5
    for items in made.values():
        for one in items:
            assert (Habit.MISSED_GAP in one.key.shows) == bool(one.key.gaps)


def test_a_set_covers_the_range_of_pressures(made: dict[str, list[Made]]) -> None:
    for items in made.values():
        high = [one.key.systolic_mmhg or 0.0 for one in items]
        assert min(high) < 120.0
        assert max(high) > 170.0


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
    assert np.abs(loud).max() > 0.45
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
            assert track.frames / track.samplerate == pytest.approx(LENGTH_S, abs=0.01)
    assert len(said) == 1
    assert "simulated" in str(said)


def test_neither_size_nor_order_tells_a_pressure() -> None:
    order = Order(grade=grade_of("2"), count=40, seed=21)
    items = list(make_items(order))
    high = [one.key.systolic_mmhg for one in items]
    for told in (range(40), [one.item.seconds for one in items]):
        if len(set(told)) > 1:
            assert stats.spearmanr(list(told), high).pvalue > 0.01


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


def test_the_ends_of_the_dial_tell_little() -> None:
    # Inflating and releasing at the usual distances told systolic and diastolic within 6 mmHg.
    items = list(make_items(Order(grade=grade_of("2"), count=40, seed=22)))
    high = np.array([one.key.systolic_mmhg for one in items], float)
    low = np.array([one.key.diastolic_mmhg for one in items], float)
    top = np.array([max(v for v in one.item.dial.mmhg if v is not None) for one in items])
    end = np.array([one.key.beats[-1].mmhg for one in items])
    left = high - np.polyval(np.polyfit(top, high, 1), top)
    assert left.std() > 9.0
    assert stats.spearmanr(end, low).pvalue > 0.01
