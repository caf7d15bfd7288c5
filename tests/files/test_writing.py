"""Outputs: complete or not at all, never over an input."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tapfall.errors import InputError
from tapfall.files import check_writable, load, save, write_bytes
from tapfall.files.writing import write_atomically, write_together
from tapfall.model import CuffLog, Recording
from tests.files.made import noise


def fault_of(path: Path | str, inputs: tuple[Path, ...] = ()) -> str:
    with pytest.raises(InputError) as caught:
        check_writable(path, inputs)
    return str(caught.value)


def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "out.json"
    path.write_text("old")

    def fill(draft: Path) -> None:
        draft.write_text("half")
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        write_atomically(path, fill)
    assert [(p.name, p.read_text()) for p in tmp_path.iterdir()] == [("out.json", "old")]


def test_the_draft_has_the_suffix_and_the_folder_of_the_output(tmp_path: Path) -> None:
    drafts: list[Path] = []

    def fill(draft: Path) -> None:
        drafts.append(draft)
        draft.write_text("new")

    write_atomically(tmp_path / "out.png", fill)
    assert (drafts[0].suffix, drafts[0].parent) == (".png", tmp_path)
    assert [(p.name, p.read_text()) for p in tmp_path.iterdir()] == [("out.png", "new")]


def test_of_files_that_belong_together_none_is_left_where_one_cannot_be_made(
    tmp_path: Path,
) -> None:
    (tmp_path / "old").write_text("old")
    (tmp_path / "folder").mkdir()
    with pytest.raises(InputError, match="folder: found a folder; allowed the name of a file"):
        write_together({tmp_path / "old": b"x", tmp_path / "a": b"x", tmp_path / "folder": b"x"})
    assert sorted(p.name for p in tmp_path.iterdir()) == ["folder", "old"]
    assert (tmp_path / "old").read_text() == "old"


def test_of_files_that_belong_together_none_is_left_where_one_cannot_take_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    replace = Path.replace

    def fails(draft: Path, target: Path) -> Path:
        if target.name == "last":
            raise OSError(28, "No space left on device")
        return replace(draft, target)

    monkeypatch.setattr(Path, "replace", fails)
    with pytest.raises(InputError, match=r"last: cannot be written \(No space left on device\)"):
        write_together({tmp_path / "first": b"x", tmp_path / "last": b"x"})
    assert list(tmp_path.iterdir()) == []


def test_sound_and_log_are_saved_both_or_neither(tmp_path: Path) -> None:
    log = CuffLog(time_s=np.arange(2.0), pressure_mmhg=np.array([100.0, 90.0]))
    made = Recording(samples=noise(), rate_hz=4000.0, cuff=log)
    with pytest.raises(InputError, match=r"arm\.csv: cannot be written \(No such file or dir"):
        save(made, tmp_path / "arm.wav", tmp_path / "none" / "arm.csv")
    assert list(tmp_path.iterdir()) == []


def test_permissions_follow_the_umask(tmp_path: Path) -> None:
    mask = os.umask(0o027)
    try:
        write_bytes(tmp_path / "out", b"x")
    finally:
        os.umask(mask)
    assert stat.S_IMODE((tmp_path / "out").stat().st_mode) == 0o640


def test_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "deep").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "deep" / "real")
    write_bytes(tmp_path / "link", b"x")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "deep" / "real").read_bytes() == b"x"


def test_checking_leaves_nothing_behind(tmp_path: Path) -> None:
    check_writable(tmp_path / "out.json")
    assert list(tmp_path.iterdir()) == []


def test_missing_folder(tmp_path: Path) -> None:
    path = tmp_path / "none" / "out.json"
    text = (
        f"{path}: cannot be written (No such file or directory); "
        "allowed a file in a writable folder"
    )
    assert fault_of(path) == text
    with pytest.raises(InputError) as caught:
        write_bytes(path, b"x")
    assert str(caught.value) == text


def test_folder(tmp_path: Path) -> None:
    assert fault_of(tmp_path) == f"{tmp_path}: found a folder; allowed the name of a file to write"


def test_device() -> None:
    text = "/dev/null: found a pipe or device; allowed the name of a file to write"
    assert fault_of("/dev/null") == text
    with pytest.raises(InputError) as caught:
        write_bytes("/dev/null", b"x")
    assert str(caught.value) == text


@pytest.mark.parametrize("name", ["x" * 300, "a\0b"])
def test_impossible_names(tmp_path: Path, name: str) -> None:
    assert "cannot be written (" in fault_of(tmp_path / name)


def test_no_input_is_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "arm.wav"
    path.touch()
    (tmp_path / "link.wav").symlink_to(path)
    for name in ("arm.wav", "link.wav", "./arm.wav"):
        assert fault_of(f"{tmp_path}/{name}", (path,)) == (
            f"{tmp_path}/{name}: found an input; allowed an output that overwrites no input"
        )


def test_saved_recordings_load_again(tmp_path: Path) -> None:
    made = Recording(
        samples=noise(),
        rate_hz=4000.0,
        cuff=CuffLog(time_s=np.arange(40) * 0.05 - 0.1, pressure_mmhg=180.0 - np.arange(40) / 3.0),
    )
    save(made, tmp_path / "arm.wav", tmp_path / "arm.csv")
    back = load(tmp_path / "arm.wav", tmp_path / "arm.csv")
    np.testing.assert_allclose(back.samples, made.samples, atol=2.0**-23)
    np.testing.assert_allclose(back.cuff.time_s, made.cuff.time_s, atol=5e-7)
    np.testing.assert_allclose(back.cuff.pressure_mmhg, made.cuff.pressure_mmhg, atol=5e-5)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["arm.csv", "arm.wav"]


@pytest.mark.parametrize(("dtype", "full"), [(np.int16, 2.0**15), (np.int32, 2.0**31)])
def test_whole_numbers_are_scaled(tmp_path: Path, dtype: type, full: float) -> None:
    samples = (noise() * full).astype(dtype)
    log = CuffLog(time_s=np.arange(2.0), pressure_mmhg=np.array([100.0, 90.0]))
    save(
        Recording(samples=samples, rate_hz=4000.0, cuff=log),
        tmp_path / "arm.wav",
        tmp_path / "arm.csv",
    )
    back, _ = soundfile.read(tmp_path / "arm.wav")
    np.testing.assert_allclose(back, samples / full, atol=2.0**-23)


def test_samples_beyond_full_scale_are_clipped(tmp_path: Path) -> None:
    log = CuffLog(time_s=np.arange(2.0), pressure_mmhg=np.array([100.0, 90.0]))
    made = Recording(samples=noise() * 100.0, rate_hz=4000.0, cuff=log)
    save(made, tmp_path / "arm.wav", tmp_path / "arm.csv")
    back, _ = soundfile.read(tmp_path / "arm.wav")
    np.testing.assert_allclose(back, np.clip(made.samples, -1.0, 1.0), atol=2.0**-22)


def test_a_broken_rate_cannot_be_saved(tmp_path: Path) -> None:
    log = CuffLog(time_s=np.arange(2.0), pressure_mmhg=np.array([100.0, 90.0]))
    made = Recording(samples=noise(), rate_hz=4000.5, cuff=log)
    with pytest.raises(InputError) as caught:
        save(made, tmp_path / "arm.wav", tmp_path / "arm.csv")
    assert str(caught.value) == (
        f"{tmp_path / 'arm.wav'}: found a rate of 4000.5 Hz; "
        "allowed whole numbers of Hz in a WAV file"
    )
