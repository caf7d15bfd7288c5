"""Beat series from files, by themselves and named in a scenario."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from tapfall.errors import ScenarioError
from tapfall.synth import load_scenario, save_scenario, scenario_from_toml, simulate
from tapfall.synth.series import MOST_INTERVALS, read_intervals

DATA = Path(__file__).parent / "data"
SERIES = '[person]\nrhythm = "series"\nintervals_path = "beats.csv"\n'


def fault_of(path: Path, data: bytes | str) -> str:
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    with pytest.raises(ScenarioError) as caught:
        read_intervals(path)
    return str(caught.value).removeprefix(f"{path}: ")


@pytest.mark.parametrize(
    "text",
    [
        "interval_s\n0.8\n1.25\n0.3\n",
        "symbol,interval_s\nN,0.8\nN,1.25\n\nV,0.3",
        "\ufeffsymbol;interval_s\r\nN;0,8\r\nN;1,25\r\nV;.3\r\n",
        "beat_time_s\n0\n0.8\n2.05\n2.35\n",
        "beat_time_s,rr_to_next_s,symbol\n-5.1,0.8,N\n-4.3,1.25,N\n-3.05,0.3,N\n-2.75,,N\n",
        "beat_time_s\tsymbol\n1e3\tN\n1000,8\tN\n1002,05\tN\n1002.35\tV\n",
    ],
)
def test_intervals_and_times_are_read(tmp_path: Path, text: str) -> None:
    path = tmp_path / "beats.csv"
    path.write_bytes(text.encode())
    assert read_intervals(path) == (0.8, 1.25, 0.3)


@pytest.mark.parametrize("name", ["sinus", "fibrillation", "ectopic"])
def test_real_series_are_read(tmp_path: Path, name: str) -> None:
    with (DATA / f"{name}.csv").open(newline="") as file:
        expected = [float(row["interval_s"]) for row in csv.DictReader(file)]
    assert read_intervals(DATA / f"{name}.csv") == tuple(expected)
    times = tmp_path / "times.csv"
    beats = np.cumsum([3.0, *expected])
    times.write_text("beat_time_s\n" + "".join(f"{beat:.4f}\n" for beat in beats))
    assert read_intervals(times) == pytest.approx(expected, abs=1e-9)


COLUMN = "allowed a CSV with a column interval_s or beat_time_s"


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ("rr,symbol\n0.8,N\n", f"line 1: found 0 such columns in 'rr,symbol'; {COLUMN}"),
        ("0.8\n0.9\n", f"line 1: found 0 such columns in '0.8'; {COLUMN}"),
        (
            "beat_time_s,interval_s\n0,1\n",
            f"line 1: found 2 such columns in 'beat_time_s,interval_s'; {COLUMN}",
        ),
        ("interval_s\n0.8\nabc\n", "line 3: interval_s: found 'abc'; allowed a number of seconds"),
        ("interval_s\nnan\n", "line 2: interval_s: found 'nan'; allowed a number of seconds"),
        ("interval_s\n1_0\n", "line 2: interval_s: found '1_0'; allowed a number of seconds"),
        ("interval_s,x\n,1\n", "line 2: interval_s: found ''; allowed a number of seconds"),
        ("interval_s,x\n0.8\n", "line 2: found 1 cell; allowed 2, as in the header"),
        (
            "interval_s\n0.8\n0.2\n800\n",
            "line 3: found 0.2 s from beat to beat; allowed 0.25 to 4 s\n"
            "  line 4: found 800 s from beat to beat; allowed 0.25 to 4 s",
        ),
        (
            "beat_time_s\n0\n\n0.8\n0.7\n",
            "line 5: found -0.1 s from beat to beat; allowed 0.25 to 4 s",
        ),
        (
            "beat_time_s\n0\n1e999\n",
            "line 3: beat_time_s: found '1e999'; allowed a number of seconds",
        ),
        ("interval_s\n", "found 0 intervals; allowed 1 to 4000"),
        ("beat_time_s\n0.5\n", "found 0 intervals; allowed 1 to 4000"),
        ("interval_s\n" + "0.8\n" * 4001, "found 4001 intervals; allowed 1 to 4000"),
        ("\n\n", f"found only empty lines; {COLUMN}"),
        ("", f"found 0 bytes; {COLUMN}"),
        (b"interval_s\n\xff\n", f"line 2: found bytes that are not UTF-8; {COLUMN}"),
    ],
)
def test_what_a_wrong_file_is_told(tmp_path: Path, data: bytes | str, message: str) -> None:
    assert fault_of(tmp_path / "beats.csv", data) == message


def test_a_scenario_names_its_series(tmp_path: Path) -> None:
    (tmp_path / "beats.csv").write_bytes((DATA / "fibrillation.csv").read_bytes())
    (tmp_path / "mine.toml").write_text(SERIES)
    scenario = load_scenario(tmp_path / "mine.toml")
    assert scenario.person.intervals_s == read_intervals(DATA / "fibrillation.csv")
    assert scenario_from_toml(SERIES, tmp_path) == scenario
    beats_s = [beat.foot_s for beat in simulate(scenario).truth.beats]
    made = np.round(np.diff(beats_s), 4).tolist()
    series = list(scenario.person.intervals_s) * 2
    assert any(series[n : n + len(made)] == made for n in range(len(series)))


def test_the_longest_series_is_written_and_loaded_again(tmp_path: Path) -> None:
    interval_s = np.random.default_rng(1).uniform(1.0, 4.0, MOST_INTERVALS)
    text = "interval_s\n" + "".join(f"{one:.6f}\n" for one in interval_s)
    (tmp_path / "beats.csv").write_text(text)
    (tmp_path / "mine.toml").write_text(SERIES)
    scenario = load_scenario(tmp_path / "mine.toml")
    save_scenario(scenario, tmp_path / "made.toml")
    (tmp_path / "beats.csv").unlink()
    assert load_scenario(tmp_path / "made.toml") == scenario


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (SERIES, "person.intervals_path: {}/beats.csv: found no such file; " + COLUMN),
        (SERIES.replace("beats.csv", ""), "person.intervals_path: '': found an empty name"),
        (
            SERIES.replace('"beats.csv"', "3"),
            "person.intervals_path: found 3; allowed the name of a file of beats",
        ),
        (
            SERIES + "intervals_s = [0.8]",
            "person.intervals_path: found beside person.intervals_s; allowed one of them",
        ),
        (
            SERIES.replace("_path", "_pth"),
            "person.intervals_pth: found an unknown field; did you mean 'intervals_path'?",
        ),
        (
            SERIES.replace("[person]", "[cuff]"),
            "cuff.rhythm: found an unknown field",
        ),
    ],
)
def test_a_wrong_name_is_refused(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(text)
    with pytest.raises(ScenarioError) as caught:
        load_scenario(path)
    assert str(caught.value).startswith(f"{path}: {message.format(tmp_path)}")


def test_a_series_asks_for_its_rhythm(tmp_path: Path) -> None:
    (tmp_path / "beats.csv").write_text("interval_s\n0.8\n")
    with pytest.raises(ScenarioError, match=r"found 1 intervals with rhythm 'sinus'; allowed some"):
        scenario_from_toml('[person]\nintervals_path = "beats.csv"', tmp_path)
