"""The conformance vectors for ports hold, and their page says enough to be followed.

What is computed anew here follows ``synth_fixtures/vectors/README.md`` alone.
"""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import signal
from synth_fixtures.vectors import build as builder
from synth_fixtures.vectors.comparing import (
    FOLDER,
    Vector,
    differences,
    files_of,
    load,
    tolerance_key,
)

from tapfall.ear.frontend import FrontEnd
from tapfall.model import CAUTION

NAMES = tuple(builder.VECTORS)
EAR = Path(__file__).resolve().parents[2] / "src" / "tapfall" / "ear"
PAGE = (FOLDER / "README.md").read_text(encoding="utf-8")


@cache
def stored(name: str) -> Vector:
    """A stored vector; not to be changed."""
    return load(name)


def sound_of(vector: Vector) -> np.ndarray:
    """The stored sound, in full scale."""
    return np.asarray(vector.sound["sound_steps"] * float(vector.sound["sound_step"]))


# --- the ear of now ----------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_ear_agrees(name: str) -> None:
    assert differences(stored(name), builder.make(name)) == []


def test_the_fitted_numbers_are_those_of_now() -> None:
    page = json.loads((FOLDER / builder.FITTED_NAME).read_text(encoding="ascii"))
    assert page == builder.fitted_page(), "the ear was fitted anew: build the vectors again"


@pytest.mark.parametrize("name", NAMES)
def test_listening_can_begin_with_the_stored_sound(name: str) -> None:
    vector = stored(name)
    assert differences(vector, builder.make(name, sound_of(vector))) == []


@pytest.mark.parametrize("name", NAMES)
def test_the_reading_is_that_of_the_beats(name: str) -> None:
    vector = stored(name)
    beats = vector.page["expected"]["reading"]["beats"]
    time_s = np.array([one["time_s"] for one in beats])
    # The reading rounds to milliseconds and to 0.01 mmHg.
    assert time_s == pytest.approx(vector.beats["beat_onset_s"], abs=6e-4)
    cuff_mmhg = np.array([one["cuff_mmHg"] for one in beats])
    assert cuff_mmhg == pytest.approx(vector.beats["beat_mmhg"], abs=6e-3)


# --- what the vectors cover --------------------------------------------------------------


def moved_s(vector: Vector) -> float:
    """How far a beat lies from the nearest pulse of the log, at most."""
    beats_s, pulses_s = vector.beats["beat_reference_s"], vector.beats["pulse_s"]
    return float(np.abs(beats_s[:, None] - pulses_s[None, :]).min(axis=1).max())


def test_the_vectors_cover_what_they_are_for() -> None:
    reading = {name: stored(name).page["expected"]["reading"] for name in NAMES}
    assert reading["ordinary"]["status"] == "ok"
    assert stored("ordinary").page["expected"]["sound"]["factor"] == 2
    assert "silent_gap" in reading["silent_gap"]["flags"]
    assert "noisy" in reading["noisy"]["flags"]
    assert np.abs(sound_of(stored("weak"))).max() < 0.02
    assert reading["no_sounds"]["status"] == "unreadable"
    moved = {name: moved_s(stored(name)) for name in ("ordinary", "heart_sounds")}
    assert moved["ordinary"] < 1e-9 and moved["heart_sounds"] > 0.004
    assert not stored("slow_log_clipped").page["expected"]["pulses"]["usable"]
    assert stored("slow_log_clipped").sound["clipped"].any()
    assert not stored("ordinary").sound["clipped"].any()


def test_the_folder_is_small_and_holds_nothing_else() -> None:
    wanted = {path.name for name in NAMES for path in files_of(name)}
    wanted |= {"README.md", "build.py", "comparing.py", builder.FITTED_NAME}
    files = [path for path in FOLDER.iterdir() if path.is_file()]
    assert {path.name for path in files} == wanted
    assert sum(path.stat().st_size for path in files) < 4_500_000  # seven of some 0.6 MB


@pytest.mark.parametrize("name", NAMES)
def test_arrays_load_without_pickle(name: str) -> None:
    for path in files_of(name)[:2]:
        with np.load(path, allow_pickle=False) as arrays:
            kinds = {arrays[key].dtype.str for key in arrays.files}
        assert kinds <= {"<i2", "<i4", "<f8", "|b1"}
    assert stored(name).page["caution"] == CAUTION


# --- a difference is found ---------------------------------------------------------------


def changed_array(vector: Vector, key: str, by: float) -> Vector:
    """The vector with one value of an array moved, or turned where it is a mark."""
    kept = vector.sound if key in vector.sound else vector.beats
    array = kept[key].copy()
    flat = array.reshape(-1)
    middle = flat.size // 2
    flat[middle] = not flat[middle] if array.dtype == np.bool_ else flat[middle] + by
    sound, beats = dict(vector.sound), dict(vector.beats)
    (sound if key in sound else beats)[key] = array
    return Vector(sound=sound, beats=beats, page=vector.page)


@pytest.mark.parametrize("name", ["ordinary", "slow_log_clipped"])
def test_a_changed_array_is_found(name: str) -> None:
    vector = stored(name)
    assert differences(vector, vector) == []
    tolerances = vector.page["tolerances"]
    tried = 0
    for key, array in {**vector.sound, **vector.beats}.items():
        if array.size == 0 or key == "sound_step":
            continue
        if key == "sound_steps":
            beyond, within = 2.0, 1.0
        else:
            beyond, within = 1.5 * tolerances.get(key, 1.0), 0.5 * tolerances.get(key, 0.0)
        (line,) = differences(vector, changed_array(vector, key, beyond))
        assert line.startswith("sound: " if key == "sound_steps" else f"{key}: ")
        if array.dtype != np.bool_:
            assert differences(vector, changed_array(vector, key, within)) == []
        tried += 1
    assert tried >= 14


def test_a_missing_array_another_shape_and_nan_are_found() -> None:
    vector = stored("ordinary")
    rest = {key: array for key, array in vector.beats.items() if key != "beat_heard"}
    for heard in ({}, {"beat_heard": vector.beats["beat_heard"][:-1]}):
        other = Vector(sound=vector.sound, beats={**rest, **heard}, page=vector.page)
        (line,) = differences(vector, other)
        assert line.startswith("beat_heard: ")
    (line,) = differences(vector, changed_array(vector, "beat_heard", math.nan))
    assert line.startswith("beat_heard: nan instead of ")


def leaves(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[tuple[Any, ...], Any]]:
    """Every single value of a page, with the keys that lead to it."""
    if isinstance(value, dict | list):
        items = value.items() if isinstance(value, dict) else enumerate(value)
        for key, item in items:
            yield from leaves(item, (*path, key))
    else:
        yield path, value


def changed_value(vector: Vector, path: tuple[Any, ...], value: Any) -> Vector:
    """The vector with another value on its page."""
    page = copy.deepcopy(vector.page)
    inner = page["expected"]
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    return Vector(sound=vector.sound, beats=vector.beats, page=page)


def test_a_changed_value_is_found() -> None:
    whole = stored("silent_gap")
    # Without arrays: they are the same in all of these.
    vector = Vector(
        sound={key: whole.sound[key][:0] for key in ("sound_steps",)}
        | {"sound_step": whole.sound["sound_step"]},
        beats={},
        page=whole.page,
    )
    reading = whole.page["expected"]["reading"]
    tried = {"number": 0, "word": 0}
    for path, value in leaves(whole.page["expected"]):
        if path[:2] == ("reading", "beats") and path[2] > 1:
            continue
        dotted = ".".join(str(key) for key in path if isinstance(key, str))
        within = whole.page["tolerances"].get(tolerance_key(dotted), 0.0)
        if isinstance(value, float):
            assert differences(vector, changed_value(vector, path, value + 0.5 * within)) == []
            others, kind = [value + 1.5 * within + 1e-9, None, math.nan], "number"
        elif isinstance(value, bool | int):
            others, kind = [value + 1 if not isinstance(value, bool) else not value], "number"
        else:
            others, kind = ["other" if value is not None else 1.0], "word"
        for other in others:
            (line,) = differences(vector, changed_value(vector, path, other))
            assert " instead of " in line
        tried[kind] += 1
    assert tried["number"] > 30
    assert tried["word"] > 10
    gone = changed_value(vector, ("reading", "gaps"), reading["gaps"] * 2)
    assert differences(vector, gone) == ["reading.gaps: 2 items instead of 1"]


def test_the_check_says_what_differs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    one = {"slow_log_clipped": builder.VECTORS["slow_log_clipped"]}
    monkeypatch.setattr(builder, "VECTORS", one)
    assert [line.partition(": ")[2] for line in builder.check(tmp_path)] == ["found none"] * 4
    builder.build(tmp_path)
    assert builder.check(tmp_path) == []
    again = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    builder.build(tmp_path)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == again
    assert builder.main(["--check"]) == 0
    monkeypatch.setattr(builder, "differences", lambda *_: ["trend_mmhg: 1.0 instead of 2.0"])
    assert builder.main(["--check"]) == 1
    assert capsys.readouterr() == ("", "slow_log_clipped: trend_mmhg: 1.0 instead of 2.0\n")


# --- the page is sufficient --------------------------------------------------------------


def front_end_by_the_page(
    audio: np.ndarray, rate_hz: float, kind: type
) -> tuple[np.ndarray, np.ndarray, float]:
    """Sound, clip marks and start, in float32 or float64."""
    factor = max(1, math.ceil(rate_hz / 2000))
    sound_hz = rate_hz / factor
    full = audio.astype(kind) / kind(32768)
    high = signal.butter(6, 28, "highpass", fs=sound_hz, output="sos")
    filters = [(high, sound_hz)]
    kept = full
    if factor > 1:
        low = signal.ellip(8, 0.1, 80, 0.4 * sound_hz, fs=rate_hz, output="sos")
        filters.append((low, rate_hz))
        kept = signal.sosfilt(low.astype(kind), full)[::factor]
    sound = signal.sosfilt(high.astype(kind), kept)
    assert sound.dtype == kind
    delay_s = 0.0
    for sos, at_hz in filters:
        _, answer = signal.sosfreqz(sos, [108, 112], fs=at_hz)
        delay_s -= float(np.angle(answer[1] / answer[0])) / (2 * math.pi * 4)
    loud = np.concatenate([np.zeros(factor - 1, bool), np.abs(full) >= 0.99])
    marks = np.array([loud[k : k + factor].any() for k in range(0, full.size, factor)])
    return sound, marks, -delay_s


@pytest.mark.parametrize("kind", [np.float64, np.float32])
@pytest.mark.parametrize("name", NAMES)
def test_the_front_end_can_be_built_from_the_page(name: str, kind: type) -> None:
    vector = stored(name)
    page = vector.page
    sound, marks, start_s = front_end_by_the_page(
        vector.sound["audio"], page["audio_rate_hz"], kind
    )
    assert sound.shape == vector.sound["sound_steps"].shape
    assert np.abs(sound - sound_of(vector)).max() <= page["tolerances"]["sound"]
    assert start_s == pytest.approx(
        page["expected"]["sound"]["start_s"], abs=page["tolerances"]["sound.start_s"]
    )
    assert (marks == vector.sound["clipped"]).all()


def flat_by_the_page(full: np.ndarray, rate_hz: float) -> np.ndarray:
    """Audio samples on a flat top."""
    apart = max(1, round(0.00025 * rate_hz))
    taken, flat = full[::apart], np.zeros(full.size, bool)
    steps = np.abs(np.diff(taken))
    seen = np.flatnonzero(steps)[:1000]
    if seen.size < 1000:
        return flat
    smallest, highest, lowest = steps[seen].min(), 0.01, -0.01
    for k, value in enumerate(taken.tolist()):
        highest, lowest = max(highest, value), min(lowest, value)
        alike = k > seen[-1] + 1 and value == taken[k - 1] == taken[k - 2]
        large = abs(value) >= max(0.01, 320 * smallest)
        flat[k * apart] = alike and large and (value >= 0.999 * highest or value <= 0.999 * lowest)
    return flat


@pytest.mark.parametrize("rate_hz", [1000.0, 2000.0, 4000.0, 6000.0, 10_000.0, 22_050.0])
@pytest.mark.parametrize("at", [0.02, 0.05, 0.1])
def test_flat_tops_can_be_told_from_the_page(rate_hz: float, at: float) -> None:
    audio = stored("ordinary").sound["audio"]
    time_s = np.arange(0.0, 12.0, 1 / rate_hz)
    full = np.interp(time_s + 20.0, np.arange(audio.size) / 4000.0, audio / 32768)
    full = np.round(np.clip(full, -at, at) * 32768) / 32768
    factor = max(1, math.ceil(rate_hz / 2000))
    loud = (np.abs(full) >= 0.99) | flat_by_the_page(full, rate_hz)
    loud = np.concatenate([np.zeros(factor - 1, bool), loud])
    marks = np.array([loud[k : k + factor].any() for k in range(0, full.size, factor)])
    assert marks.any()
    assert (FrontEnd(rate_hz).push(full)[1] == marks).all()


@pytest.mark.parametrize("name", NAMES)
def test_float32_moves_the_sound_by_as_much_as_the_page_says(name: str) -> None:
    vector = stored(name)
    audio, rate_hz = vector.sound["audio"], vector.page["audio_rate_hz"]
    one, two = (front_end_by_the_page(audio, rate_hz, kind)[0] for kind in (np.float32, float))
    moved = np.abs(one - two).max() / float(vector.sound["sound_step"])
    assert 0.65 <= moved < 1.15
    assert "off by 0.7 to 1.1 steps" in " ".join(PAGE.split())


@pytest.mark.parametrize("name", ["noisy", "weak"])
def test_a_front_end_in_float32_stays_within_the_tolerances(name: str) -> None:
    vector = stored(name)
    audio, rate_hz = vector.sound["audio"], vector.page["audio_rate_hz"]
    sound, _, _ = front_end_by_the_page(audio, rate_hz, np.float32)
    assert differences(vector, builder.make(name, sound.astype(np.float64))) == []


def log_odds_by_the_page(measures: np.ndarray) -> np.ndarray:
    """The evidence's networks, tap by tap."""
    scale = json.loads((EAR / "calibration.json").read_text(encoding="ascii"))["evidence"]
    z = (measures - np.array(scale["mean"])) / np.array(scale["spread"])
    values = np.clip(z, -4, 4)[:, None, :]
    members = ("evidence", "evidence-2", "evidence-3")
    return np.asarray(np.mean([member_by_the_page(name, values) for name in members], axis=0))


def member_by_the_page(name: str, values: np.ndarray) -> np.ndarray:
    with np.load(EAR / "layers.npz", allow_pickle=False) as stored_layers:
        numbers, shapes = stored_layers[name], stored_layers[f"{name}_shapes"]
    at = 0
    for number, (rows, columns, width, out, *dilation) in enumerate(shapes.tolist(), 1):
        taps = numbers[at : at + rows * columns * width * out].reshape(rows, columns, width, out)
        at += taps.size + out
        found = np.zeros((*values.shape[:2], out)) + numbers[at - out : at]
        for n, k in np.ndindex(*values.shape[:2]):
            for i, j in np.ndindex(rows, columns):
                row, column = (
                    n + (i - rows // 2) * dilation[0],
                    k + (j - columns // 2) * dilation[1],
                )
                if 0 <= row < values.shape[0] and 0 <= column < values.shape[1]:
                    found[n, k] += values[row, column] @ taps[i, j]
        values = np.maximum(found, 0) if number < len(shapes) else found
    assert at == numbers.size
    return np.asarray(values[:, 0, 0])


@pytest.mark.parametrize("name", ["ordinary", "noisy"])
def test_the_fitted_numbers_can_be_used_from_the_page(name: str) -> None:
    beats = stored(name).beats
    found = log_odds_by_the_page(beats["beat_measures"])
    assert found == pytest.approx(beats["beat_log_odds"], abs=0.001)


def test_the_page_names_every_network_and_array() -> None:
    fitted = builder.fitted_page()
    names = {key.removesuffix("_shapes") for key in fitted["layers.npz"]}
    names |= {key.partition(".")[0] for key in fitted["calibration.json"]}
    vector = stored("ordinary")
    names |= {*vector.sound, *vector.beats}
    names |= set(vector.page["expected"])
    assert {one for one in names if f"`{one}`" not in PAGE} == set()
    assert all(f"| `{name}` |" in PAGE for name in NAMES)
    assert " ".join(CAUTION.split()) in " ".join(PAGE.split())


def test_the_draws_can_be_made_from_the_page() -> None:
    (multiplier,) = (int(word, 16) for word in PAGE.split() if word.startswith("0x"))
    source = np.random.PCG64(20)
    state, increment = (int(source.state["state"][key]) for key in ("state", "inc"))
    found = []
    for _ in range(50):
        state = (state * multiplier + increment) % 2**128
        both, turn = (state >> 64) ^ (state % 2**64), state >> 122
        turned = ((both >> turn) | (both << (64 - turn))) % 2**64
        found.append((turned >> 11) / 2**53)
    assert found == np.random.Generator(np.random.PCG64(20)).random(50).tolist()
