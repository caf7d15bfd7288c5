"""``tapfall visit --report``, and what may be stated of a visit."""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

import pytest

from tapfall.cli import main
from tapfall.model import CAUTION
from tapfall.standards import ARMS_TO_AVOID, NO_DIAGNOSIS

FIXTURES = Path(__file__).parents[2] / "synth_fixtures"
Output = pytest.CaptureFixture[str]


def pair(name: str) -> list[str]:
    return [str(FIXTURES / f"{name}.flac"), str(FIXTURES / f"{name}.csv")]


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    home = tmp_path_factory.mktemp("visit")
    weak = str(home / "weak.json")
    assert main(["read", *pair("weak"), "--json", weak]) == 0
    given = ["visit", *pair("ordinary"), weak, *pair("silent_gap")]
    stated = ["--arm", "left", "--arm-cm", "38", "--cuff-size", "adult", "--talking", "yes"]
    assert main([*given, *stated, "--report", str(home / "v.html")]) == 0
    return (home / "v.html").read_text(encoding="utf-8")


class Ids(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.loads: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name == "id":
                self.ids.append(value or "")
            if name == "href" and tag == "a":
                self.links.append(value or "")
            if name == "src":
                self.loads.append((value or "")[:5])


def test_the_page_holds_the_average_every_reading_and_the_cautions(page: str) -> None:
    for text in (CAUTION, NO_DIAGNOSIS, ARMS_TO_AVOID, "average of 3 readings, left arm"):
        assert text in page
    for name in ("ordinary.flac", "weak.json", "silent_gap.flac"):
        assert name in page
    assert page.count("<audio") == 2
    assert "The recording is not at hand" in page
    assert "SHA-256" in page


def test_every_id_is_alone_and_every_link_leads_somewhere(page: str) -> None:
    found = Ids()
    found.feed(page)
    assert len(found.ids) == len(set(found.ids))
    assert {link[1:] for link in found.links} <= set(found.ids)
    assert set(found.loads) == {"data:"}


def test_what_is_stated_changes_findings_and_never_a_value(
    tmp_path: Path, capsys: Output, page: str
) -> None:
    assert main(["visit", *pair("ordinary"), *pair("weak")]) == 0
    plain = capsys.readouterr().out
    assert main(["visit", *pair("ordinary"), *pair("weak"), "--talking", "yes"]) == 0
    stated = capsys.readouterr().out
    assert plain.splitlines()[0] == stated.splitlines()[0]
    assert "Technique:" in stated
    assert "talking" in stated
    assert "talking" in page


def test_a_lag_that_is_given_is_used(capsys: Output) -> None:
    assert main(["visit", *pair("ordinary"), "--json", "-"]) == 0
    own = capsys.readouterr().out
    assert main(["visit", *pair("ordinary"), "--lag", "1.0", "--json", "-"]) == 0
    assert capsys.readouterr().out != own


def test_sizes_of_a_list_count_before_the_options(tmp_path: Path, capsys: Output) -> None:
    for name in ("ordinary.flac", "ordinary.csv"):
        (tmp_path / name).write_bytes((FIXTURES / name).read_bytes())
    listed = tmp_path / "list.csv"
    listed.write_text("audio,cuff,arm_cm,cuff_size\nordinary.flac,ordinary.csv,44,adult\n")
    assert main(["visit", str(listed), "--arm-cm", "30"]) == 0
    assert "cuff" in capsys.readouterr().out.partition("Technique:")[2]
    listed.write_text("audio,cuff,arm_cm,cuff_size\nordinary.flac,ordinary.csv,400,adult\n")
    assert main(["visit", str(listed)]) == 2
    assert "found '400'; allowed 8 to 80 cm" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--report", "v.txt"], "ends in .html"),
        (["--report", "{home}/v.html", "--json", "{home}/v.html"], "under one name"),
        (["--report", "/no/such/folder/v.html"], "cannot be written"),
        (["--since-last", "30"], "unrecognized arguments"),
        (["--arm-cm", "x"], "found 'x'"),
    ],
)
def test_faults_are_one_line(tmp_path: Path, options: list[str], told: str, capsys: Output) -> None:
    given = [one.format(home=tmp_path) for one in options]
    assert main(["visit", *pair("ordinary"), *given]) == 2
    said = capsys.readouterr()
    assert told in said.err
    assert said.out == ""
    assert said.err.count("\n") == 1


def test_a_hostile_name_is_shown_as_text(tmp_path: Path) -> None:
    evil = tmp_path / "<img src=x onerror=alert(1)>.flac"
    evil.write_bytes((FIXTURES / "ordinary.flac").read_bytes())
    path = tmp_path / "v.html"
    assert main(["visit", str(evil), pair("ordinary")[1], "--report", str(path)]) == 0
    assert "<img" not in path.read_text(encoding="utf-8")
