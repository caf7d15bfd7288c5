"""``tapfall written``: pressures as they were written down."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tapfall.cli import main

Output = pytest.CaptureFixture[str]


def write(path: Path, text: str) -> str:
    path.write_text(text)
    return str(path)


def test_zeros_are_seen_and_a_careful_observer_is_not_accused(
    tmp_path: Path, capsys: Output
) -> None:
    zeros = [110 + 10 * (n % 7) for n in range(100)]
    fair = [70 + (2 * n * 7) % 40 for n in range(100)]
    rows = "\n".join(f"{a};{b}" for a, b in zip(zeros, fair, strict=True))
    path = write(tmp_path / "v.csv", f"systolic_mmHg;diastolic_mmHg\n{rows}\n")
    assert main(["written", path, "--json", str(tmp_path / "v.json")]) == 0
    said = capsys.readouterr().out
    assert max(map(len, said.splitlines())) <= 80
    found = json.loads((tmp_path / "v.json").read_text())["measures"]
    states = {
        measure: {one["check"]: one["state"] for one in found[measure]["findings"]}
        for measure in ("systolic", "diastolic")
    }
    assert states["systolic"]["even digits"] == "look"
    assert states["diastolic"]["even digits"] == "ok"
    assert found["systolic"]["values"] == 100
    assert "not a medical device" in said
    high, low = (" ".join(part.split()) for part in said.split("diastolic: 100 values"))
    assert "even digits: have a look. 100 of 100 even values end in zero" in high
    assert "systolic readings end in zero" in high
    assert "systolic readings end in zero" not in low
    # 14 values each at 130, 140 and 150.
    assert "1.00 times as many as the ranges beside it lead to expect" in high


def test_json_alone_stands_on_standard_output(tmp_path: Path, capsys: Output) -> None:
    path = write(tmp_path / "v.csv", "note,systolic_mmHg\na,120\nb,\nc,134\n")
    assert main(["written", path, "--json", "-"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["measures"]["systolic"]["values"] == 2


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "found 0 bytes"),
        ("a,b\n1,2\n", "line 1: found 'a,b'"),
        ("systolic_mmHg\n", "found no values"),
        ("systolic_mmHg\n120.5\n", "line 2: systolic: found '120.5'"),
        ("systolic_mmHg\n900\n", "line 2: systolic: found '900'"),
        ("systolic_mmHg\n=1+1\n", "line 2: systolic: found '=1+1'"),
        ("systolic_mmHg,b\n120\n", "line 2: found 1 cell; allowed 2"),
        ("systolic_mmHg,systolic_mmHg\n1,2\n", "line 1: found"),
        ("\n\nSys,b\n1,2\n", "line 3: found 'Sys,b'"),
        ("\n \n", "found only empty lines; allowed pressures"),
    ],
)
def test_faults_are_one_line(tmp_path: Path, text: str, told: str, capsys: Output) -> None:
    path = write(tmp_path / "v.csv", text)
    assert main(["written", path]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert told in said.err


def test_empty_lines_above_the_header_are_passed_over(tmp_path: Path, capsys: Output) -> None:
    path = write(tmp_path / "v.csv", "\nsystolic_mmHg;diastolic_mmHg\n120;80\n134;86\n")
    assert main(["written", path, "--json", "-"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert [record["measures"][one]["values"] for one in ("systolic", "diastolic")] == [2, 2]


def test_swapped_values_are_refused(tmp_path: Path, capsys: Output) -> None:
    path = write(tmp_path / "v.csv", "systolic_mmHg,diastolic_mmHg\n120,80\n80,120\n,90\n90,90\n")
    assert main(["written", path]) == 2
    assert capsys.readouterr().err == (
        f"tapfall: {path}: line 3: found 80/120; allowed a diastolic below its systolic\n"
        "  line 5: found 90/90; allowed a diastolic below its systolic\n"
    )
