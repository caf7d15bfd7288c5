"""Laboratory forms: written by the libraries that own them, read back, and refused in words."""

from __future__ import annotations

import os
import sys
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import io

from tapfall.ear import take_reading
from tapfall.errors import AudioError, CuffLogError, InputError, SettingError
from tapfall.files import load
from tapfall.files.lab import opener_of
from tapfall.files.units import mmhg_per, volts_per
from tapfall.standards import CENTIMETRE_OF_WATER
from tapfall.synth import Scenario, simulate
from tests.files.made import LOG, log_file, noise, sound_file


def library(name: str) -> Any:
    """A library of the extra, or a skip that says what is missing."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own import warns of what its parts deprecate
        return pytest.importorskip(name, reason=f"{name} is not installed: the extra 'lab'")


RATE_HZ = 4000
CUFF = np.linspace(180.0, 40.0, 2 * RATE_HZ)
SOUND = noise()


def wfdb_record(folder: Path, unit: str = "mmHg", cuff: np.ndarray = CUFF, **how: Any) -> Path:
    made = {
        "fs": RATE_HZ,
        "units": ["mV", unit],
        "sig_name": ["Mic", "Cuff"],
        "p_signal": np.column_stack([SOUND, cuff]),
        "fmt": ["16", "16"],
        "write_dir": str(folder),
    }
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        library("wfdb").wrsamp("arm", **{**made, **how})
    return folder / "arm.hea"


def edf_file(folder: Path, unit: str = "mmHg", cuff: np.ndarray = CUFF[::40], **how: Any) -> Path:
    edfio = library("edfio")
    rate_hz = len(cuff) / 2
    signals = [
        edfio.EdfSignal(SOUND, RATE_HZ, label="Mic", physical_range=(-1, 1)),
        edfio.EdfSignal(cuff, rate_hz, label="Cuff", physical_dimension=unit),
    ]
    edfio.Edf(signals, **how).write(folder / "arm.edf")
    return folder / "arm.edf"


def mat_file(folder: Path, **values: Any) -> Path:
    made = {"mic": SOUND, "cuff_mmHg": CUFF, "fs": float(RATE_HZ)}
    io.savemat(folder / "arm.mat", {**made, **values}, oned_as="column")
    return folder / "arm.mat"


MAKERS = {"hea": wfdb_record, "edf": edf_file}


def fault_of(path: Path, error: type[InputError], cuff: Path | None = None, **how: Any) -> str:
    """The one line of a refusal, without the folder."""
    with pytest.raises(error) as caught:
        load(path, cuff, **how)
    text = str(caught.value).replace(f"{path.parent}{os.sep}", "")
    assert text.isprintable()
    return text


def same(got: np.ndarray, want: np.ndarray, scale: float, off: float) -> bool:
    return bool(np.allclose(got * scale, want, rtol=0, atol=off))


# --- round trips -----------------------------------------------------------------------------


@pytest.mark.parametrize("form", MAKERS)
def test_both_channels_of_one_file(tmp_path: Path, form: str) -> None:
    path = MAKERS[form](tmp_path)
    recording = load(path, channel="Mic", cuff_channel="Cuff")
    assert recording.rate_hz == RATE_HZ
    assert len(recording.samples) == len(SOUND)
    # Full scale is the converter's range; WFDB's writer fits that to the peak.
    scale = 1.0 if form == "edf" else float(np.ptp(SOUND) / np.ptp(recording.samples))
    centred = recording.samples - recording.samples.mean()
    assert same(centred, SOUND - SOUND.mean(), scale, 1e-3)
    assert np.abs(recording.samples).max() <= 1.0
    log = recording.cuff
    assert np.median(np.diff(log.time_s)) == pytest.approx({"edf": 0.01, "hea": 0.005}[form])
    assert same(log.pressure_mmhg, np.interp(log.time_s * RATE_HZ, np.arange(8000), CUFF), 1, 0.05)
    assert recording.source is not None
    assert recording.source.cuff_name == path.name
    assert not recording.simulated


@pytest.mark.parametrize("form", MAKERS)
@pytest.mark.parametrize("choice", [(1, 2), ("mic", "CUFF"), ("1", 2)])
def test_channels_by_number_and_name(tmp_path: Path, form: str, choice: tuple[Any, Any]) -> None:
    path = MAKERS[form](tmp_path)
    if choice[0] == "1":
        text = fault_of(path, SettingError, channel=choice[0], cuff_channel=choice[1])
        assert f"{path.name}: found channel '1'; allowed 1 'Mic'" in text
        return
    assert len(load(path, channel=choice[0], cuff_channel=choice[1]).samples) == len(SOUND)


@pytest.mark.parametrize(
    ("unit", "per_mmhg"),
    [("kPa", 0.133322387), ("mmHg", 1.0), ("cmH2O", 1.359510), ("hPa", 1.33322387)],
)
@pytest.mark.parametrize("form", MAKERS)
def test_units(tmp_path: Path, form: str, unit: str, per_mmhg: float) -> None:
    log = load(
        MAKERS[form](tmp_path, unit, CUFF[::40] * per_mmhg)
        if form == "edf"
        else MAKERS[form](tmp_path, unit, CUFF * per_mmhg),
        channel=1,
        cuff_channel=2,
    ).cuff
    assert log.pressure_mmhg.max() == pytest.approx(180.0, abs=0.2)
    assert log.pressure_mmhg.min() == pytest.approx(40.0, abs=0.8)


@pytest.mark.parametrize(("unit", "volts"), [("V", 1.0), ("mV", 1000.0)])
@pytest.mark.parametrize("form", MAKERS)
def test_volts_take_a_scale(tmp_path: Path, form: str, unit: str, volts: float) -> None:
    cuff = (CUFF if form == "hea" else CUFF[::40]) / 100.0 * volts
    path = MAKERS[form](tmp_path, unit, cuff)
    log = load(path, channel=1, cuff_channel=2, cuff_scale=100.0, cuff_offset=5.0).cuff
    assert log.pressure_mmhg.max() == pytest.approx(185.0, abs=0.2)
    assert fault_of(path, SettingError, channel=1, cuff_channel=2) == (
        f"{path.name}: channel 'Cuff': found the unit '{unit}' and no cuff scale; allowed mmHg, "
        "kPa, hPa, mbar, Pa, cmH2O, or a scale in mmHg per volt"
    )


def test_a_scale_never_bends_a_known_unit(tmp_path: Path) -> None:
    text = fault_of(edf_file(tmp_path), SettingError, channel=1, cuff_channel=2, cuff_scale=2.0)
    assert text == (
        "arm.edf: channel 'Cuff': found a cuff scale or offset for a channel in mmHg; allowed "
        "only where a channel is in no unit of pressure"
    )


def test_sound_and_log_in_two_files(tmp_path: Path) -> None:
    sound = sound_file(tmp_path / "arm.wav", SOUND, subtype="FLOAT")
    for cuff in (edf_file(tmp_path), mat_file(tmp_path)):
        name = "cuff_mmHg" if cuff.suffix == ".mat" else "Cuff"
        recording = load(sound, cuff, cuff_channel=name)
        assert recording.source is not None
        assert recording.source.cuff_name == cuff.name
        assert recording.source.audio_sha256 != recording.source.cuff_sha256
        assert recording.cuff.pressure_mmhg.max() == pytest.approx(180.0, abs=0.5)
    recording = load(edf_file(tmp_path), log_file(tmp_path), channel="Mic")
    assert recording.cuff.pressure_mmhg.tolist() == [180.0, 150.0, 120.0]


def test_a_log_of_one_channel_needs_no_choice(tmp_path: Path) -> None:
    io.savemat(tmp_path / "log.mat", {"time_s": [0.0, 1.0, 2.0], "pressure_mmHg": [180, 150, 120]})
    sound = sound_file(tmp_path / "arm.wav", SOUND, subtype="FLOAT")
    log = load(sound, tmp_path / "log.mat").cuff
    assert log.time_s.tolist() == [0.0, 1.0, 2.0]
    assert log.pressure_mmhg.tolist() == [180.0, 150.0, 120.0]


def test_a_log_that_looks_like_another_unit(tmp_path: Path) -> None:
    sound = sound_file(tmp_path / "arm.wav", SOUND, subtype="FLOAT")
    for name, mmhg in (("low.mat", [24, 20, 16]), ("rest.mat", [0, 7.9, 0])):
        io.savemat(tmp_path / name, {"time_s": [0.0, 1.0, 2.0], "pressure_mmHg": mmhg})
    with pytest.raises(CuffLogError) as caught:
        load(sound, tmp_path / "low.mat")
    assert str(caught.value).endswith(
        "/low.mat: channel 'pressure_mmHg': found a highest pressure of 24 mmHg; allowed a cuff at "
        "rest, below 8 mmHg, or one that rises to 45 or more (is the unit right?)"
    )
    assert load(sound, tmp_path / "rest.mat").cuff.pressure_mmhg.max() == 7.9


def test_a_record_by_its_signal_file(tmp_path: Path) -> None:
    one = load(wfdb_record(tmp_path), channel=1, cuff_channel=2)
    other = load(tmp_path / "arm.dat", channel=1, cuff_channel=2)
    assert np.array_equal(one.samples, other.samples)
    assert one.source is not None
    assert other.source is not None
    assert one.source.audio_sha256 == other.source.audio_sha256


def test_a_record_of_two_rates(tmp_path: Path) -> None:
    fast, slow = noise(), np.linspace(180.0, 40.0, 200)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        record = library("wfdb").Record(
            record_name="arm",
            n_sig=2,
            fs=100,
            samps_per_frame=[40, 1],
            e_p_signal=[fast.copy(), slow.copy()],
            sig_name=["Mic", "Cuff"],
            units=["V", "mmHg"],
            fmt=["16", "16"],
            file_name=["arm.dat", "arm.dat"],
            adc_gain=[32000.0, 100.0],
            baseline=[0, 0],
            adc_res=[16, 16],
            adc_zero=[0, 0],
            block_size=[0, 0],
            sig_len=200,
        )
        record.adc(expanded=True, inplace=True)
        record.init_value = [int(one[0]) for one in record.e_d_signal]
        record.checksum = record.calc_checksum(expanded=True)
        record.wrsamp(expanded=True, write_dir=str(tmp_path))
    recording = load(tmp_path / "arm.hea", channel=1, cuff_channel=2)
    assert recording.rate_hz == 4000.0
    assert same(recording.samples, fast, 32768 / 32000, 1e-3)
    assert recording.cuff.time_s[:3].tolist() == [0.0, 0.01, 0.02]
    assert same(recording.cuff.pressure_mmhg, slow, 1, 0.01)


def test_edf_plus_with_notes(tmp_path: Path) -> None:
    note = library("edfio").EdfAnnotation(0.5, None, "deflation")
    recording = load(edf_file(tmp_path, annotations=[note]), channel="Mic", cuff_channel=2)
    assert len(recording.samples) == len(SOUND)


@pytest.mark.parametrize("version", ["4", "5"])
def test_mat(tmp_path: Path, version: str) -> None:
    path = tmp_path / "arm.mat"
    io.savemat(path, {"mic": SOUND, "cuff_mmHg": CUFF, "fs": 4000.0}, format=version)
    recording = load(path, channel="mic", cuff_channel="cuff_mmHg")
    assert recording.rate_hz == RATE_HZ
    assert np.array_equal(recording.samples, SOUND.astype(np.float32))
    assert recording.cuff.pressure_mmhg.max() == pytest.approx(180.0, abs=0.5)


def test_mat_that_another_library_wrote(tmp_path: Path) -> None:
    # libsndfile names the rate and the samples in its own way; that is understood too.
    soundfile.write(tmp_path / "arm.mat", SOUND, RATE_HZ, "DOUBLE", format="MAT4")
    recording = load(tmp_path / "arm.mat", log_file(tmp_path))
    assert recording.rate_hz == RATE_HZ
    assert same(recording.samples, SOUND, 1, 1e-6)


def test_mat_names(tmp_path: Path) -> None:
    path = mat_file(
        tmp_path,
        cuff_mmHg=np.linspace(24.0, 6.0, 20),
        cuff_mmHg_unit="kPa",
        cuff_mmHg_rate_hz=10.0,
        words="nothing",
        table=np.zeros((3, 3)),
    )
    log = load(path, channel="mic", cuff_channel="cuff_mmHg").cuff
    assert log.time_s[:2].tolist() == [0.0, 0.1]
    assert log.pressure_mmhg.max() == pytest.approx(24.0 * 7.50062)


@pytest.mark.parametrize(
    ("samples", "scale"),
    [
        ((SOUND * 32767).astype(np.int16), 1.0),
        ((SOUND * 127 + 128).astype(np.uint8), 1.0),
        (SOUND * 5.0, 5.0),
    ],
)
def test_full_scale_of_mat(tmp_path: Path, samples: np.ndarray, scale: float) -> None:
    got = load(mat_file(tmp_path, mic=samples), channel="mic", cuff_channel=2).samples
    share = float(np.abs(SOUND).max() / np.abs(got).max())
    assert same(got, SOUND, share, 0.01)
    if scale == 1.0:
        assert share == pytest.approx(1.0, abs=0.02)
    else:
        power = float(np.log2(np.abs(samples).max() / np.abs(got).max()))
        assert power == pytest.approx(round(power), abs=1e-6)
        assert 0.25 <= np.abs(got).max() < 0.5


def test_missing_pressures_are_a_hole(tmp_path: Path) -> None:
    cuff = np.linspace(180.0, 40.0, 200)
    cuff[50:60] = np.nan
    path = mat_file(tmp_path, cuff_mmHg=cuff, cuff_mmHg_fs=100.0)
    log = load(path, channel="mic", cuff_channel="cuff_mmHg").cuff
    assert len(log.time_s) == 190
    assert float(np.diff(log.time_s).max()) == pytest.approx(0.11)


# --- refusals --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("how", "error", "text"),
    [
        (
            {"channel": 3, "cuff_channel": 2},
            SettingError,
            "arm.mat: found channel 3; allowed 1 'mic', 2 'cuff_mmHg' (mmHg)",
        ),
        (
            {"channel": "ear", "cuff_channel": 2},
            SettingError,
            "arm.mat: found channel 'ear'; allowed 1 'mic', 2 'cuff_mmHg' (mmHg)",
        ),
        (
            {"channel": 2, "cuff_channel": 2},
            SettingError,
            "arm.mat: found sound and cuff pressure on channel 2; allowed two different channels",
        ),
        ({}, SettingError, "found neither of a cuff log and a cuff channel; allowed one of them"),
    ],
)
def test_choices(tmp_path: Path, how: Any, error: type[InputError], text: str) -> None:
    assert fault_of(mat_file(tmp_path), error, **how) == text


@pytest.mark.parametrize(
    ("values", "error", "text"),
    [
        ({"mic": SOUND * np.nan}, AudioError, "channel 'mic': found nan at sample 1"),
        ({"mic": SOUND * 0}, AudioError, "channel 'mic': found every sample equal to 0"),
        ({"mic": SOUND + 1j}, AudioError, "channel 'mic': found complex numbers"),
        ({"fs": 100.0}, AudioError, "channel 'mic': found a rate of 100 Hz"),
        ({"fs": -1.0}, AudioError, "found fs -1; allowed a rate above 0"),
        ({"fs": "fast"}, AudioError, "channel 'mic': found no rate"),
        (
            {"cuff_mmHg": CUFF + 300.0},
            CuffLogError,
            "channel 'cuff_mmHg': row 1: found pressure in mmHg 479",
        ),
        (
            {"cuff_mmHg": CUFF / 7.5},
            CuffLogError,
            "channel 'cuff_mmHg': found a highest pressure of 23.9",
        ),
        (
            {"cuff_mmHg_time_s": np.zeros(len(CUFF))},
            CuffLogError,
            "channel 'cuff_mmHg': row 2: found pressure in mmHg",
        ),
        (
            {"cuff_mmHg_time_s": np.arange(7.0)},
            AudioError,
            "found 7 values in 'cuff_mmHg_time_s'; allowed 8000",
        ),
    ],
)
def test_contents(tmp_path: Path, values: Any, error: type[InputError], text: str) -> None:
    path = mat_file(tmp_path, **values)
    found = fault_of(path, error, channel="mic", cuff_channel="cuff_mmHg")
    assert found.startswith(f"arm.mat: {text}")


def test_a_sound_file_has_no_names(tmp_path: Path) -> None:
    path = sound_file(tmp_path / "arm.wav", noise(channels=2))
    text = fault_of(path, SettingError, channel="Mic", cuff_channel=2, cuff_scale=1.0)
    assert text == (
        "arm.wav: found channel 'Mic'; allowed a number, counted from 1: the channels of a sound "
        "file have no names"
    )


@pytest.mark.parametrize(("name", "form"), [("edfio", "edf"), ("wfdb", "hea")])
def test_a_missing_extra_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, form: str
) -> None:
    path = tmp_path / f"arm.{form}"
    path.write_bytes(b"0" * 300)
    monkeypatch.setitem(sys.modules, name, None)
    text = fault_of(path, AudioError, channel=1, cuff_channel=2)
    assert text.endswith(
        f"and the package {name} is not installed; allowed once it is (pip install 'tapfall[lab]')"
    )


@pytest.mark.parametrize("suffix", ["edf", "hea", "mat"])
def test_missing_and_empty(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"arm.{suffix}"
    assert f"arm.{suffix}: found no such file" in fault_of(path, AudioError, log_file(tmp_path))
    path.touch()
    assert f"arm.{suffix}: found 0 bytes" in fault_of(path, AudioError, log_file(tmp_path))


def test_cut_short(tmp_path: Path) -> None:
    path = edf_file(tmp_path, data_record_duration=0.5)
    path.write_bytes(path.read_bytes()[:-3000])
    assert fault_of(path, AudioError, log_file(tmp_path), channel=1) == (
        "arm.edf: found 3 data records where the header promises 4; allowed a whole file"
    )
    path = wfdb_record(tmp_path)
    signals = tmp_path / "arm.dat"
    signals.write_bytes(signals.read_bytes()[:-100])
    assert fault_of(path, AudioError, log_file(tmp_path), channel=1) == (
        "arm.hea: found 31900 bytes in arm.dat where the header promises 32000; allowed a whole "
        "record"
    )


@pytest.mark.parametrize(
    "name", ["../arm.dat", "/etc/passwd", "s3://arm.dat", "file::arm.dat", "~", ".arm.dat"]
)
def test_a_header_names_no_other_place(tmp_path: Path, name: str) -> None:
    path = wfdb_record(tmp_path)
    path.write_text(path.read_text().replace("arm.dat", name))
    text = fault_of(path, AudioError, log_file(tmp_path), channel=1)
    assert "allowed a file beside the header" in text or "cannot be read as" in text


def test_a_header_promises_no_more_than_there_is(tmp_path: Path) -> None:
    path = wfdb_record(tmp_path)
    path.write_text(path.read_text().replace(" 8000\n", " 800000000000\n"))
    assert "found 800000000000 frames" in fault_of(path, AudioError, log_file(tmp_path), channel=1)


def test_an_uncalibrated_signal_has_no_unit(tmp_path: Path) -> None:
    path = wfdb_record(tmp_path)
    lines = path.read_text().splitlines()
    gain = lines[2].split()[2]
    path.write_text("\n".join([*lines[:2], lines[2].replace(gain, "0/mmHg")]) + "\n")
    text = fault_of(path, SettingError, channel=1, cuff_channel=2)
    assert "channel 'Cuff': found no unit and no cuff scale" in text


def test_segments_and_pauses_are_refused(tmp_path: Path) -> None:
    library("wfdb")
    (tmp_path / "arm.hea").write_text("arm/2 1 4000 16000\na 8000\nb 8000\n")
    text = fault_of(tmp_path / "arm.hea", AudioError, log_file(tmp_path))
    assert text == "arm.hea: found a record of several segments; allowed one segment"
    note = library("edfio").EdfAnnotation(0.5, None, "x")
    path = edf_file(tmp_path, annotations=[note], data_record_duration=0.5)
    data = path.read_bytes().replace(b"EDF+C", b"EDF+D").replace(b"+1.5\x14\x14", b"+9.5\x14\x14")
    path.write_bytes(data)
    text = fault_of(path, AudioError, log_file(tmp_path), channel=1)
    assert text == "arm.edf: found a recording with pauses (EDF+D); allowed one without"


def test_two_channels_of_one_name(tmp_path: Path) -> None:
    edfio = library("edfio")
    signals = [edfio.EdfSignal(SOUND, RATE_HZ, label="Mic", physical_range=(-1, 1))] * 2
    edfio.Edf(signals).write(tmp_path / "arm.edf")
    assert fault_of(tmp_path / "arm.edf", SettingError, log_file(tmp_path), channel="Mic") == (
        "arm.edf: found channel 'Mic' on 2 channels; allowed one of their numbers: 1, 2"
    )
    assert fault_of(tmp_path / "arm.edf", AudioError, log_file(tmp_path)) == (
        "arm.edf: found 2 channels; allowed one, or the choice of one (channel=, or --channel): "
        "1 'Mic', 2 'Mic'"
    )


def test_version_7_3(tmp_path: Path) -> None:
    head = b"MATLAB 7.3 MAT-file".ljust(124) + b"\x00\x02IM" + b"\x89HDF\r\n\x1a\n" + bytes(500)
    (tmp_path / "arm.mat").write_bytes(head)
    assert fault_of(tmp_path / "arm.mat", AudioError, log_file(tmp_path)) == (
        "arm.mat: found a MATLAB file of version 7.3; allowed up to 7 (save with -v7)"
    )


def test_suffixes(tmp_path: Path) -> None:
    assert opener_of(tmp_path / "arm.dat") is None  # no header beside it: a sound file, maybe
    assert opener_of("a\0.dat") is None
    assert opener_of("arm.wav") is None
    (tmp_path / "arm.hea").touch()
    assert opener_of(tmp_path / "arm.dat") is not None


def test_units_by_their_names() -> None:
    # 1 cmH2O = 98.0665 Pa, 1 mmHg = 133.322387 Pa (NIST SP 811, from memory).
    assert CENTIMETRE_OF_WATER.value == pytest.approx(98.0665 / 133.322387, abs=1e-6)
    assert mmhg_per(" MMHG ") == 1.0
    assert volts_per("\u00b5V") == volts_per("\u03bcV") == volts_per("uV") == 1e-6
    for other in ("MV", "mmH", "", "dB", "Mbar"):
        assert mmhg_per(other) is None
        assert volts_per(other) is None


# --- damage ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def wholes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("wholes")
    paths = [edf_file(folder), mat_file(folder, mic=SOUND[:50], cuff_mmHg=CUFF[:50])]
    wfdb_record(folder)
    names = [*(path.name for path in paths), "arm.hea", "arm.dat"]
    return {name: (folder / name).read_bytes() for name in names}


#: Bytes to change, by their place as a share of the file's head, and how much of it is kept.
DAMAGE = st.tuples(
    st.lists(st.tuples(st.floats(0.0, 1.0), st.integers(0, 255)), max_size=5),
    st.one_of(st.just(1.0), st.floats(0.0, 1.0)),
)


@settings(
    deadline=None, max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(DAMAGE)
@pytest.mark.parametrize("name", ["arm.edf", "arm.mat", "arm.hea"])
def test_any_damage_is_read_or_refused(
    tmp_path: Path, wholes: dict[str, bytes], name: str, damage: Any
) -> None:
    changes, kept = damage
    content = bytearray(wholes[name])
    for place, byte in changes:
        content[round(place * min(len(content) - 1, 900))] = byte
    (tmp_path / "arm.dat").write_bytes(wholes["arm.dat"])
    (tmp_path / name).write_bytes(content[: round(kept * len(content))])
    log_file(tmp_path, LOG)
    try:
        recording = load(tmp_path / name, tmp_path / "arm.csv", channel=1)
    except InputError as fault:
        text = str(fault)
        assert text.startswith(f"{tmp_path}{os.sep}")
        assert text.isprintable()
    else:
        assert np.isfinite(recording.samples).all()
        assert recording.rate_hz >= 1000.0


# --- a whole reading -------------------------------------------------------------------------


def test_a_reading_through_every_form(tmp_path: Path) -> None:
    made = simulate(Scenario(seed=3)).recording
    want = take_reading(made)
    assert want.systolic.mmhg is not None
    assert want.diastolic.mmhg is not None
    rate_hz, seconds = int(made.rate_hz), int(len(made.samples) / made.rate_hz)
    sound = made.samples[: rate_hz * seconds].astype(np.float64)
    even_s = np.arange(0.0, seconds, 0.02)
    cuff = np.interp(even_s, made.cuff.time_s, made.cuff.pressure_mmhg)
    edfio = library("edfio")
    signals = [
        edfio.EdfSignal(sound, rate_hz, label="Mic", physical_range=(-1, 1)),
        edfio.EdfSignal(cuff / 7.50062, 50, label="Cuff", physical_dimension="kPa"),
    ]
    edfio.Edf(signals).write(tmp_path / "arm.edf")
    io.savemat(
        tmp_path / "arm.mat",
        {
            "mic": made.samples,
            "cuff_mmHg": made.cuff.pressure_mmhg,
            "cuff_mmHg_time_s": made.cuff.time_s,
            "fs": made.rate_hz,
        },
    )
    spread = np.interp(np.arange(len(sound)) / rate_hz, even_s, cuff)
    path = wfdb_record(tmp_path, fs=rate_hz, p_signal=np.column_stack([sound, spread]))
    assert take_reading(load(tmp_path / "arm.mat", channel=1, cuff_channel=2)) == want
    for name in ("arm.edf", path.name):
        got = take_reading(load(tmp_path / name, channel="Mic", cuff_channel="Cuff"))
        assert got.status is want.status
        assert got.systolic.mmhg == pytest.approx(want.systolic.mmhg, abs=2.0)
        assert got.diastolic.mmhg == pytest.approx(want.diastolic.mmhg, abs=2.0)
