"""The page of a study: what it holds stands in its files, and nothing in it is code."""

from __future__ import annotations

import csv
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from tapfall.cli import main
from tapfall.study.breakdown import ARM_BOUNDS_CM, SIGNAL_TO_NOISE_BOUNDS_DB, class_of, classes

FIXTURES = Path(__file__).parents[2] / "synth_fixtures"
EVIL = "<script>alert(1)</script>"


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study of three fixtures, two observers and a hostile condition."""
    home = tmp_path_factory.mktemp("study")
    rows = ["recording,subject,audio,cuff,condition,arm_cm,device," + ",".join(
        f"observer_{n}_{what}_mmHg" for n in (1, 2) for what in ("systolic", "diastolic")
    )]  # fmt: skip
    for number, name in enumerate(("ordinary", "weak", "fast_deflation")):
        for suffix in ("flac", "csv"):
            (home / f"{name}.{suffix}").write_bytes((FIXTURES / f"{name}.{suffix}").read_bytes())
        truth = json.loads((FIXTURES / f"{name}.truth.json").read_text())["in_noise"]
        high, low = (round(truth[what]["mmHg"]) for what in ("systolic", "diastolic"))
        device = ("$x^$", EVIL, "")[number]
        cells = (name, f"s{number}", f"{name}.flac", f"{name}.csv", EVIL, 25 + 6 * number, device)
        rows.append(",".join(map(str, (*cells, high, low, high + 2, low - 2))))
    (home / "manifest.csv").write_text("\n".join(rows) + "\n")
    given = ["study", str(home / "manifest.csv"), "-o", str(home / "results"), "--workers", "1"]
    assert main([*given, "--report", str(home / "report.html")]) == 0
    return home


class Tables(HTMLParser):
    """Cells of the tables behind each heading."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.loads: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.loads += [value or "" for name, value in attrs if name == "src"]


def read(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_a_hostile_condition_is_text(home: Path) -> None:
    page = (home / "report.html").read_text(encoding="utf-8")
    found = Tables()
    found.feed(page)
    assert "script" not in found.tags
    assert found.loads == []
    assert "&lt;script&gt;" in page


def test_every_number_of_the_tables_stands_in_their_files(home: Path) -> None:
    page = (home / "report.html").read_text(encoding="utf-8")
    for name in ("errors", "breakdown", "digits"):
        for row in read(home / "results" / f"{name}.csv"):
            for column, cell in row.items():
                if column and cell and cell.replace(".", "").replace("-", "").isdigit():
                    pressure = column.endswith(("_mmHg", "_beats")) and "share" not in column
                    places = 2 if pressure else 4
                    said = f"{float(cell):.{places}f}" if "." in cell else cell
                    assert f"<td>{said}</td>" in page, (name, column, cell)


def test_a_column_has_the_same_decimals_in_every_row(home: Path) -> None:
    page = (home / "report.html").read_text(encoding="utf-8")
    cells = re.findall(r"<td>(-?\d+\.\d+)</td>", page)
    assert {len(cell.partition(".")[2]) for cell in cells} == {2, 4}
    assert not [cell for cell in cells if cell.startswith("-") and float(cell) == 0.0]
    assert "Errors by level, arm, noise and device</h2>" in page
    assert "devices stand in the table and are not drawn" in page


def test_the_agreement_stands_in_json_beside_the_tables(home: Path) -> None:
    record = json.loads((home / "results" / "pairs-agreement.json").read_text())
    assert record["schema"] == "tapfall.agreement/1"
    assert {one["measure"] for one in record["groups"]} == {"systolic", "diastolic"}
    page = (home / "report.html").read_text(encoding="utf-8")
    assert "no validation of a method or device" in page
    assert (home / "results" / "observers-agreement.json").is_file()


def test_the_breakdown_counts_every_value_once_in_each_way(home: Path) -> None:
    rows = read(home / "results" / "breakdown.csv")
    for measure in ("systolic", "diastolic"):
        for by in ("level", "arm circumference", "signal to noise", "device"):
            part = [row for row in rows if (row["by"], row["measure"]) == (by, measure)]
            assert sum(int(row["pairs"]) + int(row["no_value"]) for row in part) == 3


def test_devices_are_told_apart_and_none_is_made_up(home: Path) -> None:
    rows = read(home / "results" / "breakdown.csv")
    found = [row["class"] for row in rows if row["by"] == "device"]
    assert found == ["$x^$", EVIL, "not told"] * 2
    assert "<td>$x^$</td>" in (home / "report.html").read_text(encoding="utf-8")


def test_digits_are_shares_of_what_was_written(home: Path) -> None:
    rows = read(home / "results" / "digits.csv")
    for who in ("observer_1", "observer_2", "tapfall"):
        part = [row for row in rows if row["who"] == who and row["measure"] == "systolic"]
        assert [int(row["digit"]) for row in part] == list(range(10))
        assert sum(int(row["values"]) for row in part) == 3


@pytest.mark.parametrize(
    ("bounds", "unit"), [(ARM_BOUNDS_CM, "cm"), (SIGNAL_TO_NOISE_BOUNDS_DB, "dB")]
)
def test_classes_are_half_open_and_in_order(bounds: tuple[float, ...], unit: str) -> None:
    named = [class_of(bound, bounds, unit) for bound in bounds]
    assert classes(bounds, unit)[1:-1] == named
    assert class_of(bounds[0] - 1e-9, bounds, unit) == classes(bounds, unit)[0]


@pytest.mark.parametrize(
    ("name", "told"),
    [("r.txt", "a name that ends in .html"), ("/no/such/place/r.html", "cannot be written")],
)
def test_a_page_that_cannot_be_written_is_told_before_any_work(
    home: Path, tmp_path: Path, name: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    given = ["study", str(home / "manifest.csv"), "-o", str(tmp_path / "r")]
    assert main([*given, "--report", name]) == 2
    assert told in capsys.readouterr().err
    assert not (tmp_path / "r").exists()
