"""Sound files: every fault has its text, every form its samples."""

from __future__ import annotations

import hashlib
import os
import re
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tapfall.errors import AudioError, CuffLogError, InputError, SettingError
from tapfall.files import load
from tapfall.files.audio import read_sound
from tests.files.made import log_file, noise, sound_file

WANTED = "a sound file (WAV, FLAC, OGG or another format that libsndfile reads)"


def fault_of(path: Path, error: type[InputError] = AudioError, **choice: int) -> str:
    """The message, without the folder."""
    with pytest.raises(error) as caught:
        read_sound(path, **choice)
    return str(caught.value).replace(f"{path.parent}{os.sep}", "")


def test_missing(tmp_path: Path) -> None:
    assert fault_of(tmp_path / "arm.wav") == f"arm.wav: found no such file; allowed {WANTED}"


def test_folder(tmp_path: Path) -> None:
    (tmp_path / "arm").mkdir()
    assert fault_of(tmp_path / "arm") == f"arm: found a folder; allowed {WANTED}"


def test_pipe(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "arm.wav")
    assert fault_of(tmp_path / "arm.wav") == f"arm.wav: found a pipe or device; allowed {WANTED}"


def test_impossible_names() -> None:
    for name, reason in (("a\0b", ".*embedded null.*"), ("x" * 300, "File name too long")):
        with pytest.raises(AudioError, match=rf"cannot be opened \({reason}\)"):
            read_sound(name)


def test_a_name_cannot_forge_lines(tmp_path: Path) -> None:
    text = fault_of(tmp_path / "arm\n\x1b[2J.wav")
    assert text == f"arm\\n\\x1b[2J.wav: found no such file; allowed {WANTED}"


def test_empty(tmp_path: Path) -> None:
    (tmp_path / "arm.wav").touch()
    assert fault_of(tmp_path / "arm.wav") == f"arm.wav: found 0 bytes; allowed {WANTED}"


@pytest.mark.parametrize("suffix", ["wav", "raw", "flac", "mp3"])
def test_not_audio(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"arm.{suffix}"
    path.write_text("time_s,pressure_mmHg\n")
    assert fault_of(path) == (
        f"arm.{suffix}: found data that cannot be read as sound (Format not recognised); "
        f"allowed {WANTED}"
    )


def test_zero_length(tmp_path: Path) -> None:
    path = sound_file(tmp_path / "arm.wav", np.zeros(0))
    assert fault_of(path) == "arm.wav: found 0 samples; allowed a sound that lasts"


@pytest.mark.parametrize("suffix", ["wav", "aiff"])
def test_truncated(tmp_path: Path, suffix: str) -> None:
    path = sound_file(tmp_path / f"arm.{suffix}", noise(10.0))
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) - 4000 * 2 * 4])
    assert fault_of(path) == (
        f"arm.{suffix}: found 6.000 s of sound where the header promises 10.000 s; "
        "allowed a whole file"
    )


def test_truncated_flac(tmp_path: Path) -> None:
    path = sound_file(tmp_path / "arm.flac", noise(10.0))
    path.write_bytes(path.read_bytes()[:30_000])
    assert re.fullmatch(
        r"arm\.flac: found (data that cannot be read as sound \(.*\)|"
        r"\d+\.\d+ s of sound where the header promises 10\.000 s); allowed .*",
        fault_of(path),
    )


@pytest.mark.parametrize("length", [0xFFFFFFFF, 0x7FFFF000])
def test_a_streamed_wav_promises_nothing(tmp_path: Path, length: int) -> None:
    path = sound_file(tmp_path / "arm.wav", noise())
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    data[at : at + 4] = length.to_bytes(4, "little")
    path.write_bytes(data)
    assert len(read_sound(path).samples) == len(noise())


@pytest.mark.parametrize("level", [0.0, 0.5])
def test_constant(tmp_path: Path, level: float) -> None:
    path = sound_file(tmp_path / "arm.wav", np.full(4000, level))
    assert fault_of(path) == (
        f"arm.wav: found every sample equal to {level:g}; allowed a sound that varies"
    )


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_not_finite(tmp_path: Path, value: float) -> None:
    samples = noise()
    samples[700] = value
    path = sound_file(tmp_path / "arm.wav", samples, subtype="FLOAT")
    assert fault_of(path) == f"arm.wav: found {value} at sample 701; allowed finite samples"


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_beyond_what_sound_can_be(tmp_path: Path, sign: float) -> None:
    samples = noise()
    samples[700] = sign * 1e12
    path = sound_file(tmp_path / "arm.wav", samples, subtype="FLOAT")
    assert len(read_sound(path).samples) == len(samples)  # float32 holds 1e12 as 999999995904
    samples[700] = sign * 1.5e12
    path = sound_file(tmp_path / "arm.wav", samples, subtype="FLOAT")
    found = "1.5e+12" if sign > 0 else "-1.5e+12"
    assert fault_of(path) == (
        f"arm.wav: found {found} at sample 701; allowed samples of at most 1e+12"
    )


def test_clipping_is_no_fault(tmp_path: Path) -> None:
    path = sound_file(tmp_path / "arm.wav", np.sign(noise()) * 0.999)
    assert np.ptp(read_sound(path).samples) == pytest.approx(1.998, abs=1e-3)


def test_stereo_without_choice(tmp_path: Path) -> None:
    path = sound_file(tmp_path / "arm.wav", noise(channels=2))
    assert fault_of(path) == (
        "arm.wav: found 2 channels; allowed one, or the choice of one of 1, 2 "
        "(channel=1, or --channel 1)"
    )


def test_many_channels_are_not_all_listed(tmp_path: Path) -> None:
    path = sound_file(tmp_path / "arm.wav", noise(channels=12))
    assert fault_of(path, cuff_channel=1) == (
        "arm.wav: found 12 channels; allowed one, or the choice of one of "
        "2, 3, 4, 5, 6, 7, 8, 9, ... (channel=2, or --channel 2)"
    )


@pytest.mark.parametrize("channel", [1, 2, 3])
def test_channels_count_from_one(tmp_path: Path, channel: int) -> None:
    samples = noise(channels=3)
    path = sound_file(tmp_path / "arm.wav", samples, subtype="DOUBLE")
    sound = read_sound(path, channel=channel)
    np.testing.assert_array_equal(sound.samples, samples[:, channel - 1].astype(np.float32))
    assert (sound.channels, sound.rate_hz) == (3, 4000.0)


@pytest.mark.parametrize("number", [0, -1, 3])
@pytest.mark.parametrize("name", ["channel", "cuff_channel"])
def test_no_such_channel(tmp_path: Path, name: str, number: int) -> None:
    path = sound_file(tmp_path / "arm.wav", noise(channels=2))
    assert fault_of(path, SettingError, **{name: number}) == (
        f"arm.wav: found {name} {number}; allowed 1 to 2, as many as the file has"
    )


@pytest.mark.parametrize(("channels", "channel"), [(1, 1), (1, None), (2, 1)])
def test_sound_and_pressure_on_one_channel(
    tmp_path: Path, channels: int, channel: int | None
) -> None:
    path = sound_file(tmp_path / "arm.wav", noise(channels=channels))
    with pytest.raises(SettingError) as caught:
        read_sound(path, channel=channel, cuff_channel=1)
    assert str(caught.value) == (
        f"{path}: found sound and cuff pressure on channel 1; allowed two different channels"
    )


def test_rate_below_1_khz(tmp_path: Path) -> None:
    path = sound_file(tmp_path / "arm.wav", noise(), rate_hz=999)
    assert fault_of(path) == "arm.wav: found a rate of 999 Hz; allowed 1000 Hz or more"


@pytest.mark.parametrize("rate_hz", [1000, 11025, 44100, 192000])
def test_any_rate_from_1_khz(tmp_path: Path, rate_hz: int) -> None:
    path = sound_file(tmp_path / "arm.wav", noise(0.1, rate_hz), rate_hz)
    assert read_sound(path).rate_hz == rate_hz


FORMS = [
    (form, subtype, suffix)
    for form, suffix in (
        ("WAV", "wav"),
        ("FLAC", "flac"),
        ("OGG", "ogg"),
        ("AIFF", "aiff"),
        ("W64", "w64"),
        ("RF64", "rf64"),
        ("CAF", "caf"),
        ("AU", "au"),
    )
    for subtype in ("PCM_16", "PCM_24", "PCM_32", "PCM_U8", "PCM_S8", "FLOAT", "DOUBLE", "VORBIS")
    if soundfile.check_format(form, subtype)
]


@pytest.mark.parametrize(("form", "subtype", "suffix"), FORMS)
def test_formats_and_subtypes(tmp_path: Path, form: str, subtype: str, suffix: str) -> None:
    samples = noise()
    path = sound_file(tmp_path / f"arm.{suffix}", samples, subtype=subtype, format=form)
    step = {"PCM_U8": 2**-7, "PCM_S8": 2**-7, "PCM_16": 2**-15, "VORBIS": 0.2}.get(subtype, 2e-7)
    sound = read_sound(path)
    assert sound.samples.dtype == np.float32
    np.testing.assert_allclose(sound.samples, samples, atol=step)
    assert sound.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_the_suffix_does_not_matter(tmp_path: Path) -> None:
    path = sound_file(tmp_path / "arm.raw", noise(), format="FLAC")
    assert len(read_sound(path).samples) == len(noise())


def two_tracks(folder: Path, rate_hz: int, mmhg: np.ndarray) -> Path:
    """Sound on channel 1, pressure (300 mmHg full scale) on channel 2."""
    sound = np.random.default_rng(1).normal(0.0, 0.1, len(mmhg))
    return sound_file(
        folder / "both.wav", np.stack([sound, mmhg / 300.0], axis=1), rate_hz, subtype="FLOAT"
    )


def test_pressure_channel_is_averaged_to_200_hz(tmp_path: Path) -> None:
    time_s = np.arange(4500) / 4500
    path = two_tracks(tmp_path, 4500, 180.0 - 60.0 * time_s)
    recording = load(path, cuff_channel=2, cuff_scale=300.0)
    log = recording.cuff
    np.testing.assert_allclose(np.diff(log.time_s)[:-1], 23 / 4500)
    assert 1.0 / np.diff(log.time_s).max() <= 200.0
    # The mean of a straight line over a block is the line at the block's middle,
    # also in the last, shorter block.
    np.testing.assert_allclose(log.pressure_mmhg, 180.0 - 60.0 * log.time_s, atol=1e-3)
    assert recording.source is not None
    assert recording.source.cuff_name == recording.source.audio_name == "both.wav"
    assert recording.source.cuff_sha256 == recording.source.audio_sha256


def test_pressure_channel_longer_than_one_block(tmp_path: Path) -> None:
    time_s = np.arange(900_000) / 4500
    path = two_tracks(tmp_path, 4500, 180.0 - 0.5 * time_s)
    log = load(path, cuff_channel=2, cuff_scale=300.0, channel=1).cuff
    np.testing.assert_allclose(log.pressure_mmhg, 180.0 - 0.5 * log.time_s, atol=1e-3)


def test_scale_and_offset_of_the_pressure_channel(tmp_path: Path) -> None:
    path = two_tracks(tmp_path, 4000, np.full(8000, 150.0))
    log = load(path, cuff_channel=2, cuff_scale=-200.0, cuff_offset=250.0).cuff
    np.testing.assert_allclose(log.pressure_mmhg, 150.0, atol=1e-4)


def test_pressure_channel_out_of_range(tmp_path: Path) -> None:
    mmhg = np.full(8000, 150.0)
    mmhg[4000:] = 290.0
    path = two_tracks(tmp_path, 4000, mmhg)
    with pytest.raises(CuffLogError) as caught:
        load(path, cuff_channel=2, cuff_scale=600.0)
    assert str(caught.value) == (
        f"{path}: channel 2: found 580 mmHg at 1.002 s; "
        "allowed -20 to 400 mmHg (see the scale and the offset)"
    )


def test_pressure_channel_not_finite(tmp_path: Path) -> None:
    mmhg = np.full(8000, 150.0)
    mmhg[0] = np.nan
    path = two_tracks(tmp_path, 4000, mmhg)
    with pytest.raises(CuffLogError, match=r"channel 2: found nan mmHg at 0\.002 s; allowed"):
        load(path, cuff_channel=2, cuff_scale=300.0)


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ({}, "found neither of a cuff log and a cuff channel; allowed one of them"),
        (
            {"cuff": "a.csv", "cuff_channel": 2},
            "found both of a cuff log and a cuff channel; allowed one of them",
        ),
        (
            {"cuff": "a.csv", "cuff_scale": 2.0},
            "found a cuff scale or offset; allowed only with a cuff channel",
        ),
        (
            {"cuff_channel": 2},
            "found no cuff scale; allowed a cuff channel with its scale in mmHg",
        ),
        (
            {"cuff_channel": 2, "cuff_scale": 0.0},
            "found a cuff scale of 0; allowed mmHg per full scale other than 0",
        ),
        (
            {"cuff_channel": 2, "cuff_scale": 1.0, "cuff_offset": np.nan},
            "found offset nan; allowed a finite number",
        ),
    ],
)
def test_arguments_that_contradict(arguments: dict[str, object], text: str) -> None:
    with pytest.raises(SettingError) as caught:
        load("arm.wav", **arguments)  # type: ignore[arg-type]
    assert str(caught.value) == text


def test_load_keeps_names_without_folders(tmp_path: Path) -> None:
    sound = sound_file(tmp_path / "arm.wav", noise())
    log = log_file(tmp_path)
    source = load(sound, log).source
    assert source is not None
    assert (source.audio_name, source.cuff_name) == ("arm.wav", "arm.csv")
    assert source.audio_sha256 == hashlib.sha256(sound.read_bytes()).hexdigest()
    assert source.cuff_sha256 == hashlib.sha256(log.read_bytes()).hexdigest()


def test_names_that_are_not_unicode_are_kept_readable(tmp_path: Path) -> None:
    path = sound_file(tmp_path / "arm.wav", noise())
    odd = Path(os.fsdecode(os.fsencode(tmp_path) + b"/a\xffm.wav"))
    path.rename(odd)
    source = load(odd, log_file(tmp_path)).source
    assert source is not None
    assert source.audio_name == "a\N{REPLACEMENT CHARACTER}m.wav"
