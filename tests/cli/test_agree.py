"""``tapfall agree``, run as a user runs it."""

from __future__ import annotations

import html
import json
import re
from pathlib import Path

import pytest

from tapfall.cli import main
from tapfall.model import CAUTION

Output = pytest.CaptureFixture[str]

HEAD = "reference,estimate,subject,condition,measure,confidence\n"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with a table of pairs; its conditions try to be markup."""
    lines = [
        f"{ref + 8 * (m == 'systolic')},{ref + gap},p{n},"
        f"<script>alert({n % 2})</script>,{m},0.{gap + 3}"
        for m in ("systolic", "diastolic")
        for n, ref in enumerate(range(60, 100, 3))
        for gap in (-1, 0, 2)
    ]
    lines += ["120,,p0,=cmd(),systolic,", "190,>=180,p1,=cmd(),systolic,"]
    (tmp_path / "pairs.csv").write_text(HEAD + "\n".join(lines) + "\n")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_text(folder: Path, capsys: Output) -> None:
    assert main(["agree", "pairs.csv"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    lines = out.splitlines()
    head = "pairs   bias    SD   limits (mmHg)   ISO 1   ISO 2 BHS"
    assert lines[0] == head.rjust(80)
    assert lines[1].startswith("Systolic, all rows           42 ")
    assert "\n\nSystolic, all rows\n  44 rows: 42 paired (subjects: 14), 1 abstained," in out
    # What a protocol wants is said once for each measure, not once more for each condition.
    for measure in ("Systolic", "Diastolic"):
        part = out[out.index(f"\n{measure}, all rows\n  ") :]
        whole = part[: part.index(f"\n{measure}, <")]
        flat = " ".join(whole.split())
        assert flat.count("Of what ISO 81060-2 wants of a sample") == 1
        assert flat.count("Of what BHS 1993 wants of a sample") == 1
        assert flat.count("validates nothing") >= 4
    flat = " ".join(out.split())
    assert flat.count("Of what ISO 81060-2 wants of a sample") == 2
    assert "Sources, and what protocols want of a sample, stand with all rows" in flat
    assert max(map(len, out.splitlines())) <= 80
    assert CAUTION in " ".join(out.split())


def test_json_alone_on_standard_output(folder: Path, capsys: Output) -> None:
    assert main(["agree", "pairs.csv", "--json", "-"]) == 0
    out, err = capsys.readouterr()
    record = json.loads(out)
    assert err == ""
    assert record["schema"] == "tapfall.agreement/1"
    assert record["table"]["name"] == "pairs.csv"
    assert len(record["table"]["sha256"]) == 64
    assert record["caution"] == CAUTION
    assert record["groups"][0]["counts"]["abstained"] == 1
    for result in record["groups"][0]["results"]:
        assert {"paired", "abstained", "bounded", "source"} <= set(result)


def test_page_and_json_file(folder: Path, capsys: Output) -> None:
    command = ["agree", "pairs.csv", "--json", "a.json", "--report", "a.html"]
    assert main(command) == 0
    page = (folder / "a.html").read_text(encoding="utf-8")
    record = json.loads((folder / "a.json").read_text())
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert page.count("<svg") == len([g for g in record["groups"] if g["drawn"]])
    assert not re.search(r"""(?:src|href)=["'](?!#|data:)""", page)
    assert record["methods"] in html.unescape(page)
    assert CAUTION in page
    assert "calibrated to simulation" not in page  # said of readings, not of tables
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    # The page and the file hold the same: it is drawn from what was computed.
    mean = record["groups"][0]["drawn"]["mean"]["value"]
    assert f"mean difference: {mean:.2f} mmHg" in page
    first = page
    assert main(command) == 0
    assert (folder / "a.html").read_text(encoding="utf-8") == first
    capsys.readouterr()


def test_thousands_of_pairs_stay_a_small_page(folder: Path, capsys: Output) -> None:
    body = "".join(f"{100 + n % 80},{100 + (n * 7) % 83}\n" for n in range(3000))
    (folder / "many.csv").write_text("reference,estimate\n" + body)
    assert main(["agree", "many.csv", "--report", "a.html"]) == 0
    capsys.readouterr()
    page = (folder / "a.html").read_text(encoding="utf-8")
    assert "data:image/png;base64," in page
    assert len(page) < 500_000


def test_nothing_to_compute(folder: Path, capsys: Output) -> None:
    (folder / "none.csv").write_text("reference,estimate\n120,\n130,>=120\n")
    assert main(["agree", "none.csv", "--report", "a.html"]) == 1
    assert "Too few pairs for any statistic: 0." in capsys.readouterr().out
    assert "<svg" not in (folder / "a.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("command", "wanted"),
    [
        (["nowhere.csv"], "nowhere.csv"),
        (["pairs.csv", "--scheme", "who"], "scheme: found 'who'; allowed acc-aha-2025"),
        (["pairs.csv", "--report", "a.pdf"], "allowed a name that ends in .html"),
        (["pairs.csv", "--report", "a.html", "--json", "./a.html"], "two outputs under one name"),
        (["pairs.csv", "--json", "pairs.csv"], "allowed an output that overwrites no input"),
        ([], "the following arguments are required: TABLE"),
    ],
)
def test_what_cannot_be(folder: Path, capsys: Output, command: list[str], wanted: str) -> None:
    before = sorted(folder.iterdir())
    assert main(["agree", *command]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1 and wanted in err
    assert sorted(folder.iterdir()) == before


def test_a_hostile_cell_is_one_line(folder: Path, capsys: Output) -> None:
    (folder / "bad.csv").write_text("reference,estimate\n120,\x1b[2J\n")
    assert main(["agree", "bad.csv"]) == 2
    assert capsys.readouterr().err == (
        "tapfall: bad.csv: line 2: estimate: found '\\x1b[2J'; allowed a number, >= or <= and "
        "one, or nothing, such as 120.5\n"
    )


def test_what_is_simulated_is_said_first(folder: Path, capsys: Output) -> None:
    rows = "reference,estimate,simulated\n120,121,yes\n130,131,YES\n140,141,no\n150,151,\n"
    Path("some.csv").write_text(rows)
    assert main(["agree", "some.csv", "--report", "some.html"]) == 0
    words = "no person was measured in 2 of 4 rows."
    out = capsys.readouterr().out
    assert out.startswith(f"Simulated: {words}\n\n")
    assert out.index(words) < out.index("Measure not told, all rows")
    assert f"<strong>Simulated:</strong> {words}</p>" in Path("some.html").read_text()
    assert main(["agree", "some.csv", "--json", "-"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert (record["rows"], record["simulated"]) == (4, 2)
    assert main(["agree", "pairs.csv", "--report", "pairs.html"]) == 0
    assert "Simulated" not in capsys.readouterr().out + Path("pairs.html").read_text()


def test_a_cell_that_says_neither(folder: Path, capsys: Output) -> None:
    Path("some.csv").write_text("reference,estimate,simulated\n120,121,maybe\n")
    assert main(["agree", "some.csv"]) == 2
    assert "simulated: found 'maybe'; allowed yes, no, or nothing" in capsys.readouterr().err
