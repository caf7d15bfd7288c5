"""``tapfall read``, run as a user runs it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
import soundfile

import tapfall
import tapfall.errors
from tapfall.cli import main
from tapfall.files import read_reading, reading_schema, record_of, save
from tapfall.files.recording import full_scale
from tapfall.model import CuffLog, Recording, Settings
from tapfall.summary import summary_text
from tapfall.technique import check_technique
from tests.files.made import log_file, noise, sound_file

Output = pytest.CaptureFixture[str]


def fault(capsys: Output, *argv: str) -> str:
    """The one line that a refused command prints."""
    assert main(argv) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("tapfall: ")
    assert err.endswith("\n")
    return err.removeprefix("tapfall: ").removesuffix("\n")


@pytest.fixture
def unreadable(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder that holds noise under a falling cuff."""
    monkeypatch.chdir(tmp_path)
    time_s = np.arange(0.0, 40.0, 0.02)
    fall = np.interp(time_s, [0.0, 3.0, 4.0, 34.0, 35.0, 40.0], [0.0, 0.0, 160.0, 60.0, 0.0, 0.0])
    log = CuffLog(time_s=time_s, pressure_mmhg=fall)
    save(Recording(samples=noise(40.0), rate_hz=4000.0, cuff=log), "arm.wav", "arm.csv")
    return tmp_path


def test_summary(arm: Path, capsys: Output) -> None:
    assert main(["read", "arm.wav", "arm.csv"]) == 0
    recording = tapfall.load("arm.wav", "arm.csv")
    assert recording.simulated
    expected = summary_text(tapfall.take_reading(recording), recording.source, simulated=True)
    assert capsys.readouterr() == (expected, "")


def test_json(arm: Path, capsys: Output) -> None:
    assert main(["read", "arm.wav", "arm.csv", "--json", "out.json", "--manometer-error", "3"]) == 0
    recording = tapfall.load("arm.wav", "arm.csv")
    chosen = Settings(manometer_mmhg=3.0)
    reading = tapfall.take_reading(recording, settings=chosen)
    reading = replace(reading, technique=check_technique(recording, reading))
    record = json.loads(Path("out.json").read_text())
    assert record == record_of(reading, recording.source, chosen)
    jsonschema.validate(record, reading_schema())
    assert read_reading("out.json").reading == reading
    assert capsys.readouterr().out.startswith("arm.wav with arm.csv\n")


def test_json_to_stdout_is_nothing_but_json(arm: Path, capsys: Output) -> None:
    assert main(["read", "arm.wav", "arm.csv", "--json", "-"]) == 0
    out, err = capsys.readouterr()
    jsonschema.validate(json.loads(out), reading_schema())
    assert err == ""
    assert sorted(p.name for p in arm.iterdir()) == ["arm.csv", "arm.wav"]


@pytest.mark.parametrize(
    ("name", "magic"), [("o.png", b"\x89PNG"), ("o.SVG", b"<?xml"), ("o.pdf", b"%PDF")]
)
def test_figure(arm: Path, capsys: Output, name: str, magic: bytes) -> None:
    assert main(["read", "arm.wav", "arm.csv", "--figure", name]) == 0
    assert Path(name).read_bytes().startswith(magic)
    assert capsys.readouterr().err == ""
    assert sorted(p.name for p in arm.iterdir()) == sorted(["arm.csv", "arm.wav", name])


@pytest.mark.parametrize("rule", ["last-sound", "first-silence", "k4"])
def test_diastolic_rules(arm: Path, capsys: Output, rule: str) -> None:
    assert main(["read", "arm.wav", "arm.csv", "--diastolic", rule, "--json", "-"]) in (0, 1)
    record = json.loads(capsys.readouterr().out)
    assert record["diastolic"]["rule"] == record["settings"]["diastolic"] == rule.replace("-", "_")


@pytest.mark.parametrize(("given", "lag_s"), [("auto", None), ("0.05", 0.05), ("-0.05", -0.05)])
def test_lag(arm: Path, capsys: Output, given: str, lag_s: float | None) -> None:
    assert main(["read", "arm.wav", "arm.csv", "--lag", given, "--json", "-"]) in (0, 1)
    record = json.loads(capsys.readouterr().out)
    assert record["settings"]["lag_s"] == lag_s
    assert record["lag"]["estimated"] is (lag_s is None)


def test_pressure_channel(arm: Path, simulated: Recording, capsys: Output) -> None:
    count = len(simulated.samples)
    time_s = np.arange(count) / simulated.rate_hz
    lag_free = np.interp(time_s, simulated.cuff.time_s, simulated.cuff.pressure_mmhg)
    both = np.stack([(lag_free - 20.0) / 400.0, full_scale(simulated.samples)], axis=1)
    soundfile.write("both.wav", both, int(simulated.rate_hz), "FLOAT")
    options = ["--cuff-channel", "1", "--cuff-scale", "400", "--cuff-offset", "20"]
    assert main(["read", "both.wav", *options, "--channel", "2", "--json", "-"]) == 0
    one = json.loads(capsys.readouterr().out)
    assert main(["read", "arm.wav", "arm.csv", "--json", "-"]) == 0
    two = json.loads(capsys.readouterr().out)
    for name in ("systolic", "diastolic"):
        assert one[name]["mmHg"] == pytest.approx(two[name]["mmHg"], abs=4.0)


def test_unreadable(unreadable: Path, capsys: Output) -> None:
    argv = ["read", "arm.wav", "arm.csv", "--json", "o.json", "--figure", "o.png"]
    assert main(argv) == 1
    out, err = capsys.readouterr()
    assert out.startswith("arm.wav with arm.csv\n\nUnreadable: ")
    assert err == ""
    assert json.loads(Path("o.json").read_text())["status"] == "unreadable"
    assert Path("o.png").stat().st_size > 1000


def twice(simulated: Recording) -> None:
    """Write two.wav and two.csv, one measurement after the other."""
    length_s = len(simulated.samples) / simulated.rate_hz
    time_s = simulated.cuff.time_s
    kept = (time_s >= 0.0) & (time_s < length_s)
    log = CuffLog(
        time_s=np.concatenate([time_s[kept], time_s[kept] + length_s]),
        pressure_mmhg=np.tile(simulated.cuff.pressure_mmhg[kept], 2),
    )
    samples = np.tile(full_scale(simulated.samples), 2)
    save(Recording(samples=samples, rate_hz=simulated.rate_hz, cuff=log), "two.wav", "two.csv")


def test_several_measurements(arm: Path, simulated: Recording, capsys: Output) -> None:
    twice(simulated)
    assert main(["read", "two.wav", "two.csv", "--figure", "o.svg", "--report", "o.html"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith(
        "The last of 2 measurements in this recording; all: tapfall visit.\n\n"
        "two.wav with two.csv\n"
    )
    assert err == ""
    page = Path("o.html").read_text(encoding="utf-8")
    assert "<strong>Measurement 2 of 2</strong> in this recording" in page
    assert "two.wav, measurement 2 of 2</title>" in page


def test_the_figure_of_several_measurements_says_which(
    arm: Path, simulated: Recording, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tapfall.show import figure

    titles: list[str | None] = []
    monkeypatch.setattr(figure, "draw_reading", lambda *_, title=None: titles.append(title))
    twice(simulated)
    assert main(["read", "two.wav", "two.csv", "--figure", "o.png"]) == 0
    assert main(["read", "arm.wav", "arm.csv", "--figure", "o.png"]) == 0
    assert titles == ["measurement 2 of 2, two.wav", None]


def test_several_measurements_are_told_beside_the_json(
    arm: Path, simulated: Recording, capsys: Output
) -> None:
    twice(simulated)
    assert main(["read", "two.wav", "two.csv", "--json", "-"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["status"] == "ok"
    assert err == (
        "tapfall: the recording holds 2 measurements, the last of them was read; "
        "all of them: tapfall visit, or tapfall.ear.take_readings\n"
    )
    assert main(["read", "arm.wav", "arm.csv", "--json", "-"]) == 0
    assert capsys.readouterr().err == ""
    assert main(["read", "arm.wav", "arm.csv", "--report", "one.html"]) == 0
    assert "easurement 1 of 1" not in Path("one.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("argv", "text"),
    [
        ([], "the following arguments are required: COMMAND (see tapfall --help)"),
        (["read"], "the following arguments are required: AUDIO (see tapfall read --help)"),
        (
            ["hear"],
            "argument COMMAND: invalid choice: 'hear' (choose from ",
        ),
        (["read", "a", "b", "c"], "unrecognized arguments: c (see tapfall read --help)"),
        (
            ["read", "a", "b", "--jso", "c"],
            "unrecognized arguments: --jso c (see tapfall read --help)",
        ),
        (
            ["read", "a", "b", "\x1b[2J\nx"],
            "unrecognized arguments: \\x1b[2J\n  x (see tapfall read --help)",
        ),
        (
            ["read", "a", "b", "--lag", "soon"],
            "argument --lag: found 'soon'; allowed auto or -60 to 60 seconds "
            "(see tapfall read --help)",
        ),
        (
            ["read", "a", "b", "--lag", "nan"],
            "argument --lag: found 'nan'; allowed auto or -60 to 60 seconds "
            "(see tapfall read --help)",
        ),
        (
            ["read", "a", "b", "--manometer-error", "-3"],
            "argument --manometer-error: found '-3'; allowed 0 to 50 mmHg "
            "(see tapfall read --help)",
        ),
        (
            ["read", "a", "b", "--manometer-error", "1e300"],
            "argument --manometer-error: found '1e300'; allowed 0 to 50 mmHg "
            "(see tapfall read --help)",
        ),
        (
            ["read", "a", "--cuff-channel", "2", "--cuff-scale", "nan"],
            "argument --cuff-scale: found 'nan'; allowed a number, -1e9 to 1e9 "
            "(see tapfall read --help)",
        ),
        (
            ["read", "a", "b", "--channel", "0"],
            "argument --channel: found '0'; allowed a whole number, 1 to 100000 "
            "(see tapfall read --help)",
        ),
        (
            ["read", "a", "b", "--diastolic", "k5"],
            "argument --diastolic: found 'k5'; allowed last-sound, first-silence, k4 "
            "(see tapfall read --help)",
        ),
        (["read", "a"], "found neither of a cuff log and a cuff channel; allowed one of them"),
        (
            ["read", "a", "b", "--cuff-channel", "2"],
            "found both of a cuff log and a cuff channel; allowed one of them",
        ),
        (
            ["read", "a", "b", "--figure", "o.gif"],
            "o.gif: found a figure of another form; allowed a name that ends in .png, .svg or .pdf",
        ),
        (
            ["read", "a", "b", "--figure", "-"],
            "-: found a figure of another form; allowed a name that ends in .png, .svg or .pdf",
        ),
        (
            ["read", "a", "b", "--json", "o.png", "--figure", "./o.png"],
            "o.png: found two outputs under one name; allowed a name for each",
        ),
        (
            ["read", "a", "b", "--json", "none/o.json"],
            "none/o.json: cannot be written (No such file or directory); "
            "allowed a file in a writable folder",
        ),
        (
            ["read", "arm.wav", "arm.csv", "--json", "arm.csv"],
            "arm.csv: found an input; allowed an output that overwrites no input",
        ),
        (
            ["read", "arm.wav", "arm.csv", "--json", "./arm.wav"],
            "./arm.wav: found an input; allowed an output that overwrites no input",
        ),
        (
            ["read", "arm.wav", "none.csv"],
            "none.csv: found no such file; allowed a cuff log "
            "(CSV with the columns time_s and pressure_mmHg or pressure_kPa)",
        ),
        (
            ["read", "arm.csv", "arm.csv"],
            "arm.csv: found data that cannot be read as sound (Format not recognised); allowed "
            "a sound file (WAV, FLAC, OGG or another format that libsndfile reads)",
        ),
        (
            ["read", "arm.wav", "arm.csv", "--channel", "2"],
            "arm.wav: found channel 2; allowed 1, as many as the file has",
        ),
        (
            ["read", "a", "b", "--lag", "61"],
            "argument --lag: found '61'; allowed auto or -60 to 60 seconds "
            "(see tapfall read --help)",
        ),
        (
            ["read", "a", "b", "--channel", "100001"],
            "argument --channel: found '100001'; allowed a whole number, 1 to 100000 "
            "(see tapfall read --help)",
        ),
        (
            # A hidden file's name is no suffix: refused before anything is read.
            ["read", "arm.wav", "arm.csv", "--figure", ".png"],
            ".png: found a figure of another form; allowed a name that ends in .png, .svg or .pdf",
        ),
        (
            ["read", "arm.wav", "arm.csv", "--figure", ""],
            "'': found a figure of another form; allowed a name that ends in .png, .svg or .pdf",
        ),
        (
            ["read", "arm.wav", "arm.csv", "--json", ""],
            "'': found an empty name; allowed the name of a file to write",
        ),
        (
            ["read", "", "arm.csv"],
            "'': found an empty name; allowed a sound file "
            "(WAV, FLAC, OGG or another format that libsndfile reads)",
        ),
        (
            ["read", "arm.wav", ""],
            "'': found an empty name; allowed a cuff log "
            "(CSV with the columns time_s and pressure_mmHg or pressure_kPa)",
        ),
    ],
)
def test_faults(arm: Path, capsys: Output, argv: list[str], text: str) -> None:
    assert fault(capsys, *argv).startswith(text)
    assert sorted(p.name for p in arm.iterdir()) == ["arm.csv", "arm.wav"]


def test_many_faults_of_a_log_are_indented(arm: Path, capsys: Output) -> None:
    log_file(arm, "time_s,pressure_mmHg\n0,x\n1,y\n", "bad.csv")
    assert fault(capsys, "read", "arm.wav", "bad.csv") == (
        "bad.csv: line 2: found pressure_mmHg 'x'; allowed a finite number\n"
        "  line 3: found pressure_mmHg 'y'; allowed a finite number"
    )


def test_inputs_are_left_alone(arm: Path, capsys: Output) -> None:
    before = {p.name: p.read_bytes() for p in arm.iterdir()}
    main(["read", "arm.wav", "arm.csv", "--json", "arm.wav"])
    main(["read", "arm.wav", "arm.csv"])
    assert {p.name: p.read_bytes() for p in arm.iterdir()} == before


def test_stereo_names_the_option(arm: Path, capsys: Output) -> None:
    sound_file(arm / "two.wav", noise(channels=2))
    assert fault(capsys, "read", "two.wav", "arm.csv") == (
        "two.wav: found 2 channels; allowed one, or the choice of one of 1, 2 "
        "(channel=1, or --channel 1)"
    )


def test_debug_shows_where(arm: Path, capsys: Output, monkeypatch: pytest.MonkeyPatch) -> None:
    command = ["read", "none.wav", "arm.csv", "--debug"]
    assert main(command) == 2
    assert "tapfall.errors.AudioError: none.wav: found no such file" in capsys.readouterr().err
    monkeypatch.setattr("tapfall.files.load", _raise(ZeroDivisionError("by nothing")))
    assert main(command) == 3
    assert capsys.readouterr().err.endswith("ZeroDivisionError: by nothing\n")


def _raise(error: BaseException) -> Any:
    def instead(*_: Any, **__: Any) -> None:
        raise error

    return instead


def test_a_defect_is_told_from_bad_input(
    arm: Path, capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tapfall.files.load", _raise(ZeroDivisionError("by\nnothing")))
    assert main(["read", "arm.wav", "arm.csv"]) == 3
    assert capsys.readouterr().err == (
        "tapfall: defect: ZeroDivisionError: by\n  nothing (--debug shows where)\n"
    )


def test_an_interrupt_ends_quietly(
    arm: Path, capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tapfall.files.load", _raise(KeyboardInterrupt()))
    assert main(["read", "arm.wav", "arm.csv"]) == 130
    assert capsys.readouterr().err == "tapfall: interrupted\n"
