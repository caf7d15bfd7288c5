"""``tapfall read --fhir``, run as a user runs it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from tapfall.cli import main
from tapfall.files import save
from tapfall.model import Recording

Output = pytest.CaptureFixture[str]
READ = ("read", "arm.wav", "arm.csv")
WHOM = ("--subject", "Patient/17", "--effective", "2026-03-01T10:15:00+01:00")


@pytest.fixture
def person(simulated: Recording, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A working folder with a recording that carries no mark of the simulator."""
    save(replace(simulated, simulated=False), tmp_path / "arm.wav", tmp_path / "arm.csv")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_an_observation(person: Path, capsys: Output) -> None:
    assert main([*READ, "--fhir", "o.json", *WHOM, "--arm", "right", "--json", "-"]) == 0
    reading = json.loads(capsys.readouterr().out)
    found = json.loads(Path("o.json").read_text())
    assert found["bodySite"]["coding"][0]["code"] == "368209003"
    value = found["component"][0]["valueQuantity"]["value"]
    assert abs(value - reading["systolic"]["mmHg"]) <= 0.5


@pytest.mark.parametrize(
    ("options", "text"),
    [
        (("--fhir", "o.json"), "found --fhir without --subject; allowed --fhir, --subject and"),
        (("--fhir", "o.json", *WHOM[:2]), "found --fhir without --effective; allowed --fhir,"),
        (WHOM[:2], "found --subject without --fhir; allowed only with it"),
        (WHOM[2:], "found --effective without --fhir; allowed only with it"),
        (("--fhir", "-", *WHOM), "found --fhir -; allowed the name of a file to write"),
        (("--fhir", "o.json", "--subject", "17", *WHOM[2:]), "found subject '17'; allowed a ref"),
        (("--fhir", "o.json", *WHOM[:2], "--effective", "now"), "found effective 'now'; allowed"),
        (("--fhir", "arm.csv", *WHOM), "arm.csv: found an input; allowed an output that over"),
        (("--fhir", "o.json", "--json", "o.json", *WHOM), "o.json: found two outputs under one"),
    ],
)
def test_faults(person: Path, capsys: Output, options: tuple[str, ...], text: str) -> None:
    assert main([*READ, *options]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"tapfall: {text}")
    assert err.count("\n") == 1
    assert not Path("o.json").exists()


def test_a_simulated_recording_is_refused(arm: Path, capsys: Output) -> None:
    assert main([*READ, "--fhir", "o.json", *WHOM]) == 2
    assert capsys.readouterr().err == (
        "tapfall: 'arm.wav': found a simulated recording; allowed one of a person where an "
        "Observation is written\n"
    )
    assert not Path("o.json").exists()


def test_the_truth_beside_it_tells_too(person: Path, capsys: Output) -> None:
    Path("arm.truth.json").write_text("{}")
    assert main([*READ, "--fhir", "o.json", *WHOM]) == 2
    assert capsys.readouterr().err == (
        "tapfall: arm.wav: found the truth of a simulation beside it (arm.truth.json); allowed a "
        "recording of a person with --fhir\n"
    )


def test_channels_by_name(person: Path, capsys: Output) -> None:
    given = ["--channel", "Mic", "--cuff-channel", "2", "--cuff-scale", "1"]
    assert main(["read", "arm.wav", *given]) == 2
    assert "found channel 'Mic'; allowed a number" in capsys.readouterr().err
