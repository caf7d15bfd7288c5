"""The order of rows and groups depends on their names alone, not on which cells are empty."""

from __future__ import annotations

from pathlib import Path

from tapfall.study import run
from tapfall.study.agreement import agreement, read_table, table_of
from tests.study.made import HEADER, Counting, rows_of, study_of, write_manifest

OBSERVED = tuple(f"observer_{n}_{what}_mmHg" for n in (1, 2) for what in ("systolic", "diastolic"))
COMPARED = (
    ("observers", "tapfall"),
    ("observer_1", "tapfall"),
    ("observer_2", "tapfall"),
    ("observer_1", "observer_2"),
)


def test_rows_stand_in_one_order_whatever_is_empty(tmp_path: Path, made: Path) -> None:
    study_of(tmp_path, made, 3)
    header = (*HEADER, *OBSERVED, "condition", "device")
    first = ("r0", "p0", "r0.wav", "r0.csv", "", "", "", "80", "noisy", "")
    second = ("r1", "p1", "r1.wav", "r1.csv", "", "82", "118", "", "loud", "b")
    third = ("r2", "p2", "r2.wav", "r2.csv", "118", "80", "118", "80", "noisy", "a")
    write_manifest(tmp_path / "m.csv", header, first, second, third)
    out = tmp_path / "out"
    run(tmp_path / "m.csv", out, executor=Counting())
    found = [(row["measure"], row["reference"], row["estimate"], row["condition"])
             for row in rows_of(out / "errors.csv")]  # fmt: skip
    wanted = [
        (measure, *names, condition)
        for measure in ("systolic", "diastolic")
        for names in COMPARED
        for condition in ("(all)", "(by all three)", "loud", "noisy")
    ]
    assert found == [one for one in wanted if one in found]
    assert len(found) > 20
    for name in ("pairs.csv", "observers.csv"):
        rows = rows_of(out / name)
        assert rows == sorted(rows, key=lambda row: row["measure"] != "systolic")
    assert list(
        dict.fromkeys((row["who"], row["measure"]) for row in rows_of(out / "digits.csv"))
    ) == [
        (who, measure)
        for measure in ("systolic", "diastolic")
        for who in ("observer_1", "observer_2", "tapfall")
    ]
    devices = [row["class"] for row in rows_of(out / "breakdown.csv") if row["by"] == "device"]
    assert devices == ["a", "b", "a", "b", "not told"]
    groups = agreement(read_table(out / "pairs.csv")).groups
    assert [(one.measure, one.condition) for one in groups] == [
        (measure, condition)
        for measure in ("systolic", "diastolic")
        for condition in (None, "loud", "noisy")
    ]


def test_groups_stand_in_one_order() -> None:
    rows = ["b,mean,90", ",diastolic,80", "b,systolic,120", "a,systolic,120", ",systolic,120"]
    lines = [f"{row},{row.rpartition(',')[2]}" for row in rows]
    table = table_of("t", "\n".join(["condition,measure,reference,estimate", *lines]).encode())
    assert [(one.measure, one.condition) for one in agreement(table).groups] == [
        ("systolic", None),
        ("systolic", "a"),
        ("systolic", "b"),
        ("systolic", "(none)"),
        ("diastolic", None),
        ("mean", None),
    ]
