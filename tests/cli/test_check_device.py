"""``tapfall check-device``, run as a user runs it."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import soundfile

import tapfall
from tapfall.cli import main
from tapfall.convert import to_json
from tapfall.device import check_device, device_schema
from tapfall.files import save
from tapfall.files.recording import full_scale
from tapfall.model import CAUTION, CuffLog, Recording
from tests.ear.heard import FOLDER, NAMES

Output = pytest.CaptureFixture[str]


def test_table(arm: Path, capsys: Output) -> None:
    assert main(["check-device", "arm.wav", "arm.csv"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.startswith(
        "arm.wav with arm.csv\nSimulated: no person was measured.\n\n"
        "Readings with this device: possible, as far as"
    )
    assert " ".join(out.split()).count(CAUTION) == 1
    report = check_device(tapfall.load("arm.wav", "arm.csv"))
    lines = out.splitlines()
    for one in report.findings:
        (row,) = (line for line in lines if line.startswith(f"  {one.check:<22}"))
        assert row.endswith(f" {one.state}")
        assert one.needed in row


@pytest.mark.parametrize("name", NAMES)
def test_it_fits_eighty_columns(name: str, capsys: Output) -> None:
    files = [str(FOLDER / f"{name}.flac"), str(FOLDER / f"{name}.csv")]
    assert main(["check-device", *files]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert not any(line.endswith(" ") for line in lines)


@pytest.mark.parametrize("extra", [["--json"], ["--json", "-"]])
def test_json_on_stdout(arm: Path, capsys: Output, extra: list[str]) -> None:
    assert main(["check-device", "arm.wav", "arm.csv", *extra]) == 0
    out, err = capsys.readouterr()
    record = json.loads(out)
    assert err == ""
    report = check_device(tapfall.load("arm.wav", "arm.csv"))
    assert {name: record[name] for name in to_json(report)} == to_json(report)
    assert (record["schema"], record["verdict"]) == ("tapfall.device/1", "possible")
    assert record["caution"] == CAUTION
    assert record["source"]["audio_name"] == "arm.wav"
    jsonschema.Draft202012Validator(device_schema()).validate(record)
    assert record["log"]["rounding_mmHg"] == 0.1
    assert "mmhg" not in out
    assert sorted(p.name for p in arm.iterdir()) == ["arm.csv", "arm.wav"]


def test_json_in_a_file(arm: Path, capsys: Output) -> None:
    assert main(["check-device", "arm.wav", "arm.csv", "--json", "out.json"]) == 0
    assert json.loads(Path("out.json").read_text())["verdict"] == "possible"
    assert capsys.readouterr().out.startswith("arm.wav with arm.csv\n")
    assert sorted(p.name for p in arm.iterdir()) == ["arm.csv", "arm.wav", "out.json"]


def test_limited(arm: Path, simulated: Recording, capsys: Output) -> None:
    every = slice(None, None, 25)
    log = CuffLog(
        time_s=simulated.cuff.time_s[every], pressure_mmhg=simulated.cuff.pressure_mmhg[every]
    )
    save(Recording(samples=simulated.samples, rate_hz=4000.0, cuff=log), "arm.wav", "slow.csv")
    assert main(["check-device", "arm.wav", "slow.csv"]) == 0
    out = capsys.readouterr().out
    assert "Readings with this device: limited" in out
    assert "  - The log has 2 rows a second: too few to tell beats by the cuff's pulse." in out


def test_numbers_with_units_and_without_exponents(
    arm: Path, simulated: Recording, capsys: Output
) -> None:
    sound = simulated.samples[60_000:140_000].astype(np.float32)
    soundfile.write("fine.wav", sound, 4000, "FLOAT")
    rows = [f"{time_s},{max(0, 160 - 2 * time_s)}" for time_s in range(100)]
    Path("long.csv").write_text("\n".join(["time_s,pressure_mmHg", *rows]) + "\n")
    main(["check-device", "fine.wav", "long.csv"])
    out = capsys.readouterr().out
    assert "  low end               25 Hz or lower" in out
    assert "  log rate              1 row/s   " in out
    (steps,) = (line for line in out.splitlines() if line.startswith("  loudest, in steps"))
    assert int(steps.split()[3]) > 1_000_000
    assert "drift by 4000000 ppm" in " ".join(out.split())
    assert "e+0" not in out


def test_not_told(arm: Path, simulated: Recording, capsys: Output) -> None:
    time_s = np.arange(0.0, 20.0, 0.05)
    rest = CuffLog(time_s=time_s, pressure_mmhg=np.zeros(time_s.size))
    recording = Recording(samples=simulated.samples[:80_000], rate_hz=4000.0, cuff=rest)
    save(recording, "rest.wav", "rest.csv")
    assert main(["check-device", "rest.wav", "rest.csv"]) == 1
    out = capsys.readouterr().out
    assert "Readings with this device: not told: no reading was tried\n" in out
    assert "possible" not in out
    assert main(["check-device", "rest.wav", "rest.csv", "--json", "-"]) == 1
    assert json.loads(capsys.readouterr().out)["verdict"] == "not told"


def test_not_possible(arm: Path, simulated: Recording, capsys: Output) -> None:
    samples = np.clip(30.0 * full_scale(simulated.samples), -1.0, 1.0)
    save(Recording(samples=samples, rate_hz=4000.0, cuff=simulated.cuff), "arm.wav", "arm.csv")
    assert main(["check-device", "arm.wav", "arm.csv"]) == 1
    out, err = capsys.readouterr()
    assert "Readings with this device: not possible" in out
    assert "clipped at full scale: lower the gain" in " ".join(out.split())
    assert err == ""
    assert main(["check-device", "arm.wav", "arm.csv", "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["verdict"] == "not possible"


def test_pressure_channel_and_lag(arm: Path, simulated: Recording, capsys: Output) -> None:
    samples = full_scale(simulated.samples)
    time_s = np.arange(samples.size) / simulated.rate_hz
    mmhg = np.interp(time_s, simulated.cuff.time_s, simulated.cuff.pressure_mmhg)
    soundfile.write("both.wav", np.stack([mmhg / 400.0, samples], axis=1), 4000, "FLOAT")
    options = ["--cuff-channel", "1", "--cuff-scale", "400", "--channel", "2", "--lag", "0.05"]
    assert main(["check-device", "both.wav", *options, "--json"]) == 0
    record = json.loads(capsys.readouterr().out)
    assert record["log"]["rate_hz"] == pytest.approx(200.0, rel=0.01)
    assert (record["trial"]["lag_s"], record["trial"]["lag_estimated"]) == (0.05, False)
    # One file is named once.
    assert main(["check-device", "both.wav", *options]) == 0
    assert capsys.readouterr().out.startswith("both.wav\n\n")


def test_a_cuff_that_stays_low(arm: Path, capsys: Output) -> None:
    def with_top(mmhg: float) -> int:
        shares = np.interp(np.arange(580), [200, 300, 320], [0.0, 1.0, 0.0])
        rows = [f"{row / 10:g},{mmhg * share:g}" for row, share in enumerate(shares)]
        Path("low.csv").write_text("\n".join(["time_s,pressure_mmHg", *rows]) + "\n")
        return main(["check-device", "arm.wav", "low.csv"])

    for mmhg in (0.0, 7.9):
        assert with_top(mmhg) == 1  # no reading was tried
        out, err = capsys.readouterr()
        assert "The cuff was never inflated" in out
        assert err == ""
    assert with_top(17.0) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == (
        "tapfall: low.csv: found a highest pressure_mmHg of 17; allowed a cuff at rest, below 8 "
        "mmHg, or one that rises to 45 or more (values in kPa belong in a column pressure_kPa)\n"
    )


@pytest.mark.parametrize(
    ("argv", "text"),
    [
        (["a"], "found neither of a cuff log and a cuff channel; allowed one of them"),
        ([], "the following arguments are required: AUDIO"),
        (["--json", "arm.wav", "arm.csv"], "found neither of a cuff log and a cuff channel"),
        (["none.wav", "arm.csv"], "none.wav: found no such file; allowed a sound file"),
        (["arm.wav", "empty.csv"], "empty.csv: found 0 bytes; allowed a cuff log"),
        (["arm.wav", "head.csv"], "head.csv: found no rows below the header; allowed 2 or more"),
        (["slow.wav", "arm.csv"], "slow.wav: found a rate of 800 Hz; allowed 1000 Hz or more"),
        (["arm.wav", "arm.csv", "--json", "arm.csv"], "arm.csv: found an input; allowed an output"),
        (["arm.wav", "arm.csv", "--lag", "x"], "argument --lag: found 'x'; allowed auto or -60"),
        (["arm.wav", "arm.csv", "--figure", "o.png"], "unrecognized arguments: --figure o.png"),
    ],
)
def test_faults(arm: Path, capsys: Output, argv: list[str], text: str) -> None:
    Path("empty.csv").write_bytes(b"")
    Path("head.csv").write_text("time_s,pressure_mmHg\n")
    soundfile.write("slow.wav", np.random.default_rng(1).uniform(-1, 1, 800), 800)
    before = {path.name: path.read_bytes() for path in arm.iterdir()}
    assert main(["check-device", *argv]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"tapfall: {text}")
    assert err.count("\n") == 1
    assert {path.name: path.read_bytes() for path in arm.iterdir()} == before
