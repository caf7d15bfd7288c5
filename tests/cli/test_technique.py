"""What is stated about a measurement, on the command line of ``tapfall read``."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from tapfall import bounds
from tapfall.cli import main, options
from tapfall.cli import technique as words
from tapfall.ear.settings import check_settings
from tapfall.errors import SettingError
from tapfall.files import pcm, read_reading, reading_schema, save
from tapfall.model import Rule, Settings
from tapfall.synth import Cuff, Scenario, simulate
from tapfall.technique import Stated, stated

Output = pytest.CaptureFixture[str]

STATED = {
    "--arm": "left",
    "--arm-cm": "38",
    "--cuff-size": "small-adult",
    "--posture": "sitting",
    "--arm-support": "lap",
    "--back": "unsupported",
    "--legs": "crossed",
    "--talking": "yes",
    "--rested": "2",
    "--since-last": "20",
    "--calibrated": "2015-01-31",
}


def findings(capsys: Output, *options: str) -> dict[str, Any]:
    """The findings in JSON, by the check."""
    assert main(["read", "arm.wav", "arm.csv", "--json", "-", *options]) == 0
    record = json.loads(capsys.readouterr().out)
    jsonschema.validate(record, reading_schema())
    return {one["check"]: one for one in record["technique"]}


def test_nothing_stated(arm: Path, capsys: Output) -> None:
    found = findings(capsys)
    assert {one["state"] for one in found.values()} == {"ok", "unknown"}
    assert found["deflation"]["state"] == "ok"
    assert found["cuff size"]["found"] == "not stated"


def test_everything_stated(arm: Path, capsys: Output) -> None:
    options = [part for pair in STATED.items() for part in pair]
    found = findings(capsys, *options)
    expected = {
        "arm": "ok",
        "posture": "ok",
        "cuff size": "fault",
        "arm support": "fault",
        "back": "fault",
        "legs": "fault",
        "talking": "fault",
        "rest before": "fault",
        "wait since the reading before": "fault",
        "calibration": "fault",
    }
    assert {name: found[name]["state"] for name in expected} == expected
    assert found["cuff size"]["found"] == "small adult on an arm of 38 cm, which needs large adult"


def test_what_is_stated_changes_no_value(arm: Path, capsys: Output) -> None:
    assert main(["read", "arm.wav", "arm.csv", "--json", "a.json"]) == 0
    assert main(["read", "arm.wav", "arm.csv", "--json", "b.json", "--talking", "yes"]) == 0
    first, second = read_reading("a.json").reading, read_reading("b.json").reading
    assert first != second
    assert replace(first, technique=()) == replace(second, technique=())
    texts = capsys.readouterr().out.split("arm.wav with arm.csv\n")[1:]
    assert "Technique:" not in texts[0]
    assert (
        "Technique:\n  - talking: yes, expected no; reads 8 to 15 mmHg high (teaching page that "
        "cites\n    Arch Intern Med 153).\n"
    ) in texts[1]


def test_a_bladder_in_cm(arm: Path, capsys: Output) -> None:
    found = findings(capsys, "--arm-cm", "30", "--cuff-size", "12.5x24")
    assert found["cuff size"]["state"] == "ok"
    assert found["cuff size"]["found"].startswith("12.5 x 24 cm on an arm of 30 cm")


def test_a_fast_hand_is_told_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Output
) -> None:
    monkeypatch.chdir(tmp_path)
    made = simulate(Scenario(seed=3, cuff=Cuff(deflation_mmhg_per_s=6.0, end_mmhg=40.0)))
    save(made.recording, "arm.wav", "arm.csv")
    assert main(["read", "arm.wav", "arm.csv"]) in (0, 1)
    text = capsys.readouterr().out
    told = text.partition("Technique:\n")[2].partition("\n\n")[0]
    assert told.count("  - deflation") == 1
    assert "mmHg/s, expected 2 to 3; systolic reads low, diastolic high" in " ".join(told.split())


#: Not tomorrow: the tests may go on past midnight.
NEXT_WEEK = (date.today() + timedelta(days=7)).isoformat()


@pytest.mark.parametrize(
    ("option", "value", "message"),
    [
        ("--arm", "both", "found 'both'; allowed left, right"),
        ("--arm-cm", "300", "found '300'; allowed 8 to 80 cm"),
        ("--arm-cm", "nan", "found 'nan'; allowed 8 to 80 cm"),
        ("--cuff-size", "huge", "found 'huge'; allowed small-adult, adult, large-adult, thigh"),
        ("--cuff-size", "23x12", "found '23x12'; allowed small-adult"),
        ("--cuff-size", "1x2x3", "found '1x2x3'; allowed small-adult"),
        ("--posture", "kneeling", "found 'kneeling'; allowed sitting, lying, standing"),
        ("--arm-support", "air", "found 'air'; allowed desk, lap, side"),
        ("--back", "no", "found 'no'; allowed supported, unsupported"),
        ("--legs", "no", "found 'no'; allowed uncrossed, crossed"),
        ("--talking", "maybe", "found 'maybe'; allowed yes, no"),
        ("--rested", "-1", "found '-1'; allowed 0 to 1440 minutes"),
        ("--since-last", "soon", "found 'soon'; allowed 0 to 86400 seconds"),
        ("--calibrated", "2026", "found '2026'; allowed a day up to today"),
        ("--calibrated", NEXT_WEEK, f"found '{NEXT_WEEK}'; allowed a day up to today"),
    ],
)
def test_what_cannot_be_stated(option: str, value: str, message: str, capsys: Output) -> None:
    assert main(["read", "arm.wav", "arm.csv", f"{option}={value}"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"tapfall: argument {option}: {message}")
    assert err.count("\n") == 1


def test_bounds_and_words_of_all_commands_are_those_of_the_library() -> None:
    assert tuple(rule.replace("-", "_") for rule in options.RULES) == tuple(Rule)
    assert tuple(pcm.FORMS) == options.FORMATS
    assert options.LOWEST_RATE_HZ == bounds.LOWEST_RATE_HZ
    for name, most in (
        ("lag_s", options.FURTHEST_LAG_S),
        ("manometer_mmhg", options.LARGEST_ERROR_MMHG),
    ):
        check_settings(replace(Settings(), **{name: most}))
        with pytest.raises(SettingError, match=f"{name} is .*; allowed .* to {most}$"):
            check_settings(replace(Settings(), **{name: most + 0.01}))


def test_the_words_are_those_of_the_library() -> None:
    assert tuple(size.replace("-", " ") for size in words.SIZES) == stated.CUFFS
    assert words.POSTURES == stated.POSTURES
    assert words.SUPPORTS == stated.ARM_SUPPORTS
    assert (words.ARM_CM, words.BLADDER_CM) == (stated.ARM_CM, stated.BLADDER_CM)
    assert (words.RESTED_MIN, words.SINCE_LAST_S) == (stated.RESTED_MIN, stated.SINCE_LAST_S)
    assert Stated(cuff="small adult") == Stated(cuff=words.SIZES[0].replace("-", " "))
