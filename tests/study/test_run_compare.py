"""Readings against observers: beats, values, calibration."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from tapfall.convert import to_json
from tapfall.ear import take_reading
from tapfall.errors import InputError
from tapfall.files import load
from tapfall.model import Beat, Phase, State
from tapfall.study import read_manifest, run
from tapfall.study.agreement import agreement, read_table
from tapfall.study.compare import (
    ERROR_COLUMNS,
    Judged,
    beats_of,
    error_rows,
    reference_mmhg,
    told_by,
    values_of,
)
from tapfall.study.confidence import calibration, recalibrate, recalibrated
from tapfall.study.marks import BeatCounts, Mark, edges_of, match, read_marks
from tests.study.made import HEADER, Counting, rows_of, study_of, write_manifest


def heard(*times_s: float) -> list[Mark]:
    return [Mark(time_s=time_s, heard=True) for time_s in times_s]


def counts(one: BeatCounts) -> tuple[int, int, int]:
    return one.hits, one.false, one.missed


def test_matching_is_the_best_of_all_not_the_nearest_first() -> None:
    # Nearest first pairs 1.10 with 1.12 and leaves 1.00 and 1.22 alone.
    found = match(heard(1.00, 1.12), heard(1.10, 1.22))
    assert counts(found) == (2, 0, 0)
    assert found.onsets_s == pytest.approx((0.10, 0.10))


def test_matching_counts() -> None:
    silent = Mark(time_s=5.0, heard=False)
    assert counts(match([*heard(1.0), silent], [*heard(1.151), silent])) == (0, 1, 1)
    assert counts(match([], heard(1.0, 2.0))) == (0, 2, 0)
    assert counts(match(heard(1.0), [])) == (0, 0, 1)
    empty = match([], [])
    assert (empty.precision, empty.recall, empty.f1) == (None, None, None)


def test_shares_by_hand() -> None:
    found = match(heard(1, 2, 3, 4), heard(2.05, 3.0, 9.0))
    assert (found.precision, found.recall) == (pytest.approx(2 / 3), pytest.approx(2 / 4))
    assert found.f1 == pytest.approx(2 * (2 / 3) * (1 / 2) / (2 / 3 + 1 / 2))


def test_phases_of_matched_beats() -> None:
    one = [Mark(time_s=1.0, heard=True, phase=Phase.K1), Mark(time_s=2.0, heard=True)]
    two = [
        Mark(time_s=1.0, heard=True, phase=Phase.K2),
        Mark(time_s=2.0, heard=True, phase=Phase.K2),
    ]
    found = BeatCounts.total([match(one, two), match(two, two)])
    assert (found.phases_same, found.phases_compared) == (2, 3)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("\ntime_s\n1\n", "line 2: found the columns 'time_s'; allowed marks of beats"),
        ("time_s,heard\n1_2.5,1\n", "line 2: time_s: found '1_2.5'; allowed seconds"),
        ("time_s,heard\n\u0661\u0662,1\n", "line 2: time_s: found"),
        ("time_s;heard\n1,2,5;1\n", "line 2: time_s: found '1,2,5'"),
        ("time_s,heard\n1,maybe\n", "line 2: heard: found 'maybe'; allowed 1, yes, 0, no"),
        ("time_s,heard\n-1,1\n", "line 2: time_s: found '-1'"),
        ("time_s,heard\nnan,1\n", "line 2: time_s: found 'nan'"),
        ("time_s,heard\n1,1\n1,1\n", "line 3: time_s: found 1 after 1"),
        ("time_s,heard,phase\n1,1,K9\n", "line 2: phase: found 'K9'; allowed silent, K1"),
        ("time_s,heard\n1\n", "line 2: found 1 cell; allowed 2"),
        ("time_s,heard\n" + "1,1\n" * 2001, "found 2001 marks; allowed at most 2000"),
        ('time_s,heard\n"1\n', "found what is not CSV"),
    ],
)
def test_marks_that_cannot_be_used(tmp_path: Path, text: str, fault: str) -> None:
    (tmp_path / "m.csv").write_text(text)
    with pytest.raises(InputError) as caught:
        read_marks(tmp_path / "m.csv")
    assert fault in str(caught.value)


def test_marks(tmp_path: Path) -> None:
    (tmp_path / "m.csv").write_text("heard;phase;time_s\nyes;k1;1,5\n0;;2,25\n")
    assert read_marks(tmp_path / "m.csv") == (
        Mark(time_s=1.5, heard=True, phase=Phase.K1),
        Mark(time_s=2.25, heard=False),
    )


def test_the_reference_of_two_observers() -> None:
    assert reference_mmhg(120.0, 124.0) == 122.0
    assert reference_mmhg(120.0, 124.1) is None
    assert reference_mmhg(None, None) is None


OBSERVED = tuple(f"observer_{n}_{what}_mmHg" for n in (1, 2) for what in ("systolic", "diastolic"))


@pytest.fixture
def observed(tmp_path: Path, made: Path) -> Path:
    """Two recordings, with observers who hear what the readings say, or nearly."""
    study_of(tmp_path, made, 2)
    header = (*HEADER, *OBSERVED, "observer_1_marks", "observer_2_marks", "condition")
    rows = []
    for name in ("r0", "r1"):
        reading = take_reading(load(tmp_path / f"{name}.wav", tmp_path / f"{name}.csv"))
        assert reading.systolic.state is reading.diastolic.state is State.OBSERVED
        for observer, late_s in ((1, 0.0), (2, 0.04)):
            lines = ["time_s,heard,phase"] + [
                f"{beat.time_s + late_s},{int(beat.heard >= 0.5)},{beat.phase}"
                for beat in reading.beats
            ]
            (tmp_path / f"{name}-{observer}.csv").write_text("\n".join(lines) + "\n")
        high, low = reading.systolic.mmhg or 0.0, reading.diastolic.mmhg or 0.0
        values = (f"{high + 1:.4f}", f"{low:.4f}", f"{high + 3:.4f}", f"{low - 5:.4f}")
        marks = (f"{name}-1.csv", f"{name}-2.csv")
        rows.append((name, "p1", f"{name}.wav", f"{name}.csv", *values, *marks, "quiet"))
    return write_manifest(tmp_path / "observed.csv", header, *rows)


def test_a_study_against_its_observers(observed: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    study = run(observed, out, executor=Counting())
    errors = {
        (row["reference"], row["estimate"], row["condition"], row["measure"]): row
        for row in rows_of(out / "errors.csv")
    }
    whole = errors["observers", "tapfall", "(all)", "systolic"]
    assert (whole["pairs"], whole["mean_mmHg"], whole["share_within_4_mmHg"]) == (
        "2",
        "-2.0",
        "1.0",
    )
    step = float(rows_of(out / "results.csv")[0]["deflation_mmHg_per_beat"])
    assert float(whole["mean_beats"]) == pytest.approx(-2.0 / step, rel=0.2)
    assert errors["observer_1", "observer_2", "quiet", "diastolic"]["mean_mmHg"] == "-5.0"
    # The observers are 5 mmHg apart: no reference, and each by himself.
    assert ("observers", "tapfall", "(all)", "diastolic") not in errors
    assert study.tables.observers_apart == 2
    beats = {(row["reference"], row["estimate"]): row for row in rows_of(out / "beats.csv")}
    own, other = beats["observer_1", "tapfall"], beats["observer_2", "tapfall"]
    assert (own["f1"], own["recordings"], own["onset_mean_s"]) == ("1.0", "2", "0.0")
    assert own["phases_same"] == own["phases_compared"] == own["hits"]
    assert (other["f1"], other["onset_mean_s"]) == ("1.0", "-0.04")
    assert beats["observer_1", "observer_2"]["onset_mean_s"] == "0.04"
    # Everybody heard the same beats, and the first as the last at the same pressure.
    for row in beats.values():
        assert (row["edges_compared"], row["first_mean_beats"], row["last_mean_mmHg"]) == (
            "2",
            "0.0",
            "0.0",
        )
    three = [one for one in errors if one[2] == "(by all three)" and one[3] == "systolic"]
    assert {one[:2] for one in three} == {
        ("observers", "tapfall"),
        ("observer_1", "tapfall"),
        ("observer_2", "tapfall"),
        ("observer_1", "observer_2"),
    }
    assert {errors[one]["pairs"] for one in three} == {"2"}


def test_agree_reads_the_pairs(observed: Path, tmp_path: Path) -> None:
    run(observed, tmp_path / "out", executor=Counting())
    table = read_table(tmp_path / "out" / "pairs.csv")
    assert [(row.subject, row.condition, row.measure, row.apart) for row in table.rows] == [
        *[("p1", "quiet", "systolic", False)] * 2,
        *[("p1", "quiet", "diastolic", True)] * 2,
    ]
    assert all(row.confidence is not None for row in table.rows)
    group = agreement(table).groups[1]
    assert (group.measure, group.counts.observers_apart, group.counts.paired) == ("diastolic", 2, 0)
    for row in table.rows[:2]:
        assert (row.estimate_mmhg or 0.0) - (row.reference_mmhg or 0.0) == pytest.approx(-2.0)
    other = read_table(tmp_path / "out" / "observers.csv")
    assert len(other.rows) == 4
    assert all(row.simulated for row in (*table.rows, *other.rows))  # as the sound files say


def test_a_recording_that_failed_counts_as_no_value(observed: Path, tmp_path: Path) -> None:
    run(observed, tmp_path / "out", executor=Counting())
    (tmp_path / "r1.wav").write_bytes(b"no sound")
    run(observed, tmp_path / "out", executor=Counting())
    table = read_table(tmp_path / "out" / "pairs.csv")
    assert [row.estimate_mmhg is None for row in table.rows[:2]] == [False, True]
    # Of what was not read nothing is known.
    assert [row.simulated for row in table.rows[:2]] == [True, False]
    whole = rows_of(tmp_path / "out" / "errors.csv")[0]
    assert (whole["pairs"], whole["no_value"]) == ("1", "1")


def test_bounds_are_bounds(observed: Path) -> None:
    entry = read_manifest(observed).entries[0]
    folder = observed.parent
    record = to_json(take_reading(load(folder / "r0.wav", folder / "r0.csv")))
    record["systolic"] |= {"state": "not_reached", "mmHg": None, "low_mmHg": 110.0}
    record["diastolic"] |= {"state": "not_reached", "mmHg": None, "high_mmHg": 70.0}
    found = values_of(entry, told_by(record))
    own = [one for one in found if one.estimate_name == "tapfall"]
    assert {(one.measure, one.estimate, one.error_mmhg) for one in own} == {
        ("systolic", ">=110.00", None),
        ("diastolic", "<=70.00", None),
    }
    assert beats_of(entry, None, (None, tuple(heard(1.0)))) == []


def test_all_three_are_compared_where_all_gave_a_number(observed: Path) -> None:
    entry = read_manifest(observed).entries[0]
    assert {one.by_all for one in values_of(entry, None)} == {False}
    rows = error_rows(values_of(entry, None))
    assert "(by all three)" not in {row[2] for row in rows}


def test_a_bound_below_zero_is_one_of_zero(observed: Path) -> None:
    entry = read_manifest(observed).entries[0]
    folder = observed.parent
    record = to_json(take_reading(load(folder / "r0.wav", folder / "r0.csv")))
    record["diastolic"] |= {"state": "not_reached", "mmHg": None, "high_mmHg": -1.3}
    found = [one for one in values_of(entry, told_by(record)) if one.measure == "diastolic"]
    assert {one.estimate for one in found if one.estimate_name == "tapfall"} == {"<=0.00"}


def test_edges_by_hand() -> None:
    clock = heard(*range(10, 20))
    cuff = [150.0 - 3.0 * n for n in range(10)]
    found = edges_of(heard(12, 13, 14, 15), heard(11.05, 12, 16.9), clock, cuff)
    assert found is not None
    assert (found.first_beats, found.first_mmhg) == (-1, 3.0)
    assert (found.last_beats, found.last_mmhg) == (2, -6.0)
    assert edges_of(heard(12), [], clock, cuff) is None
    assert edges_of(heard(12), heard(8.0), clock, cuff) is None
    assert edges_of(heard(12), heard(12), clock[:1], cuff[:1]) is None


def test_a_difference_of_exactly_4_is_within_4() -> None:
    # Decimals are no exact numbers: 128.3 - 124.3 is a little more than 4.
    assert 128.3 - 124.3 > 4.0
    assert reference_mmhg(124.3, 128.3) == pytest.approx(126.3)
    (row,) = error_rows([judged("p1", 0.9, 128.3 - 124.3)])
    assert dict(zip(ERROR_COLUMNS, row, strict=True))["share_within_4_mmHg"] == 1.0


def test_beats_become_marks() -> None:
    beat = Beat(time_s=1.0, cuff_mmhg=120.0, heard=0.5, phase=Phase.K1)
    record = {
        "systolic": to_json(judged_threshold()),
        "diastolic": to_json(judged_threshold()) | {"rule": "last_sound", "k5_mmHg": None},
        "quality": {"deflation_mmHg_per_beat": None},
        "beats": [to_json(beat)],
    }
    assert told_by(record).marks == (Mark(time_s=1.0, heard=True, phase=Phase.K1),)


def judged_threshold() -> object:
    from tapfall.model import Threshold

    return Threshold(state=State.UNDETERMINED)


def judged(subject: str, confidence: float, error_mmhg: float, split: str | None = None) -> Judged:
    return Judged(
        reference_name="observers",
        estimate_name="tapfall",
        subject=subject,
        condition="",
        split=split,
        measure="systolic",
        reference_mmhg=120.0,
        estimate="120",
        error_mmhg=error_mmhg,
        step_mmhg=None,
        confidence=confidence,
    )


def test_errors_by_hand() -> None:
    (row,) = error_rows([judged("p1", 0.9, error) for error in (-1.0, 0.0, 7.0)])
    found = dict(zip(ERROR_COLUMNS, row, strict=True))
    assert (found["pairs"], found["mean_mmHg"], found["share_within_4_mmHg"]) == (3, 2.0, 0.6667)
    assert found["sd_mmHg"] == pytest.approx(math.sqrt((9 + 4 + 25) / 2), abs=1e-4)
    assert found["mean_beats"] is None


def test_calibration_by_hand() -> None:
    values = [judged("p1", 0.8, 0.0), judged("p2", 0.8, 9.0), judged("p2", 1.0, 4.0)]
    found = calibration(values)
    assert found is not None
    assert (found.values, found.subjects) == (3, 2)
    assert found.brier_score == pytest.approx((0.04 + 0.64 + 0.0) / 3)
    assert [(one.low_share, one.values, one.right_share) for one in found.bins] == [
        (0.8, 2, 0.5),
        (0.98, 1, 1.0),
    ]
    # Exact bounds of 1 in 2 and of 1 in 1 (tables of Clopper and Pearson).
    assert found.bins[0].right_low_share == pytest.approx(0.0126, abs=1e-4)
    assert found.bins[0].right_high_share == pytest.approx(0.9874, abs=1e-4)
    assert found.bins[1].right_low_share == pytest.approx(0.025, abs=1e-9)
    assert calibration([]) is None


def drawn(power: float, split: Sequence[str], per_person: int = 10) -> list[Judged]:
    """Values whose confidence has the log odds of the truth, times a power."""
    rng = np.random.default_rng(5)
    found = []
    for person in range(160):
        for _ in range(per_person):
            true = rng.uniform(0.55, 0.97)
            odds = math.log(true / (1 - true)) * power
            error = 0.0 if rng.random() < true else 10.0
            subject = f"p{person}"
            sure = 1 / (1 + math.exp(-odds))
            found.append(judged(subject, sure, error, split[person % len(split)]))
    return found


def test_recalibration_undoes_what_was_done() -> None:
    found = recalibrate(drawn(2.0, ("fit", "check")))
    assert found is not None
    assert found.gain == pytest.approx(0.5, abs=0.1)
    assert found.offset == pytest.approx(0.0, abs=0.2)
    assert (found.fit_subjects, found.fit_values) == (80, 800)
    assert found.before is not None
    assert found.after is not None
    assert found.before.subjects == 80
    assert found.after.log_loss < found.before.log_loss - 0.01


def test_recalibration_leaves_alone_what_is_right() -> None:
    found = recalibrate(drawn(1.0, ("fit", "check"), per_person=60))
    assert found is not None
    # Three standard errors: 1 / sqrt(4800 values x 0.16 x 0.7, the variance of the log odds).
    assert found.gain == pytest.approx(1.0, abs=0.13)
    sure = np.array([0.6, 0.9])
    assert recalibrated(sure, found.gain, found.offset) == pytest.approx(sure, abs=0.03)


def test_recalibration_needs_people_and_splits_them() -> None:
    assert recalibrate(drawn(1.0, ("check",))) is None
    with pytest.raises(InputError, match="found the subject 'p1' in both splits"):
        recalibrate([judged("p1", 0.9, 0.0, split) for split in ("fit", "check")] * 20)
