"""What the listener refuses, word for word; its state is kept and the stream goes on."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from tapfall.ear import Listener, take_reading
from tapfall.errors import AudioError, CuffLogError, MisuseError, SettingError, TapfallError
from tapfall.model import Recording, Settings
from tests.ear.heard import (
    AUDIO_HZ,
    LOG_HZ,
    short_recording,
)
from tests.ear.streams import (
    push,
)

# --- errors keep the state ---------------------------------------------------------------


def bad_pushes() -> dict[str, tuple[Callable[[Listener], Any], type[TapfallError], str]]:
    """What is refused in the middle of a stream: the call, its error and its text."""
    now_s = 25.0

    def audio(samples: Any) -> Callable[[Listener], Any]:
        return lambda ear: ear.push_audio(samples)

    def cuff(times_s: Any, mmhg: Any) -> Callable[[Listener], Any]:
        return lambda ear: ear.push_cuff(times_s, mmhg)

    nan_late = np.zeros(500, np.float32)
    nan_late[499] = np.nan
    return {
        "audio of two dimensions": (
            audio(np.zeros((2, 2), np.float32)),
            MisuseError,
            r"audio has shape \(2, 2\); allowed one dimension",
        ),
        "audio of another type": (
            audio(np.ones(4, np.int16)),
            MisuseError,
            "audio has type int16; allowed float32, as in earlier pushes",
        ),
        "audio of a foreign type": (
            audio(np.ones(4, np.uint8)),
            MisuseError,
            "audio has type uint8; allowed int16, int32, float32, float64",
        ),
        "audio with NaN": (
            audio(nan_late),
            AudioError,
            "audio sample 499 is nan; allowed finite numbers",
        ),
        "audio too far ahead": (
            audio(np.zeros(round(301 * AUDIO_HZ), np.float32)),
            MisuseError,
            r"the sound runs ahead of the log by \d+\.\d s; "
            r"allowed 300 s \(longest_s\); push the log first",
        ),
        "rows of unequal length": (
            cuff([now_s, now_s + 1], [90.0]),
            MisuseError,
            r"cuff rows have shapes \(2,\) and \(1,\); "
            "allowed two of one dimension and equal length",
        ),
        "rows of two dimensions": (
            cuff([[now_s]], [[90.0]]),
            MisuseError,
            r"cuff rows have shapes \(1, 1\) and \(1, 1\); "
            "allowed two of one dimension and equal length",
        ),
        "a pressure that is no number": (
            cuff([now_s], [np.nan]),
            CuffLogError,
            "cuff rows hold NaN or infinity; allowed finite numbers",
        ),
        "a time that is no number": (
            cuff([np.inf], [90.0]),
            CuffLogError,
            "cuff rows hold NaN or infinity; allowed finite numbers",
        ),
        "a pressure too high": (
            cuff([now_s], [400.5]),
            CuffLogError,
            "cuff pressure is 400.5 mmHg; allowed -20 to 400",
        ),
        "a pressure too low": (
            cuff([now_s, now_s + 1], [90.0, -20.5]),
            CuffLogError,
            "cuff pressure is -20.5 mmHg; allowed -20 to 400",
        ),
        "a time before the last row": (
            cuff([1.0], [90.0]),
            CuffLogError,
            "log time runs back at 1 s; allowed increasing times",
        ),
        "times that run back within a push": (
            cuff([now_s, now_s + 2, now_s + 1], [90.0, 90.0, 90.0]),
            CuffLogError,
            r"log time runs back at 26 s; allowed increasing times",
        ),
        "one time with two pressures within a push": (
            cuff([now_s, now_s], [90.0, 91.0]),
            CuffLogError,
            "log time 25 s has two pressures; allowed one",
        ),
        "rows too far ahead": (
            cuff([now_s + 400], [0.0]),
            MisuseError,
            r"the log runs ahead of the sound by \d+\.\d s; "
            r"allowed 300 s \(longest_s\); push the sound first",
        ),
        "a text for a time": (
            cuff(["early"], [90.0]),
            MisuseError,
            "cuff rows are not numbers in even rows; allowed numbers",
        ),
        "ragged rows": (
            cuff([[now_s], [1.0, 2.0]], [90.0]),
            MisuseError,
            "cuff rows are not numbers in even rows; allowed numbers",
        ),
    }


def halfway() -> tuple[Listener, Recording, int, int]:
    """A listener in the middle of the deflation, with the next sample and row."""
    recording = short_recording()
    listener = Listener(rate_hz=AUDIO_HZ)
    sample, row = round(24 * AUDIO_HZ), round(24 * LOG_HZ)
    push(listener, recording, "cuff", slice(0, row))
    push(listener, recording, "audio", slice(0, sample))
    return listener, recording, sample, row


@pytest.mark.parametrize("name", bad_pushes())
def test_a_bad_push_raises_and_the_stream_goes_on(name: str) -> None:
    call, error, text = bad_pushes()[name]
    listener, recording, sample, row = halfway()
    with pytest.raises(error) as caught:
        call(listener)
    assert re.fullmatch(text, str(caught.value)), str(caught.value)
    push(listener, recording, "audio", slice(sample, None))
    push(listener, recording, "cuff", slice(row, None))
    assert listener.finish() == take_reading(recording)


def test_the_last_row_with_another_pressure_is_refused_in_the_next_push() -> None:
    listener, recording, sample, row = halfway()
    last_s, last_mmhg = recording.cuff.time_s[row - 1], recording.cuff.pressure_mmhg[row - 1]
    with pytest.raises(CuffLogError) as caught:
        listener.push_cuff([last_s], [last_mmhg + 1])
    assert str(caught.value) == f"log time {last_s:g} s has two pressures; allowed one"
    push(listener, recording, "cuff", slice(row, None))
    push(listener, recording, "audio", slice(sample, None))
    assert listener.finish() == take_reading(recording)


def test_a_bad_first_push_decides_nothing() -> None:
    recording = short_recording()
    listener = Listener(rate_hz=AUDIO_HZ)
    with pytest.raises(AudioError):
        listener.push_audio(np.array([0.0, np.nan]))
    with pytest.raises(MisuseError):
        listener.push_audio(np.zeros(round(301 * AUDIO_HZ), np.int16))
    with pytest.raises(CuffLogError):
        listener.push_cuff([0.0, -1.0], [0.0, 0.0])
    push(listener, recording, "cuff", slice(None))
    push(listener, recording, "audio", slice(None))
    assert listener.finish() == take_reading(recording)


def test_empty_pushes_change_nothing() -> None:
    listener, recording, sample, row = halfway()
    listener.push_audio(np.zeros(0, np.int16))
    listener.push_audio([])
    listener.push_cuff([], [])
    push(listener, recording, "audio", slice(sample, None))
    push(listener, recording, "cuff", slice(row, None))
    assert listener.finish() == take_reading(recording)


def test_the_streams_may_drift_apart_by_exactly_the_longest() -> None:
    listener = Listener(rate_hz=1000.0, settings=Settings(longest_s=30.0))
    listener.push_audio(np.zeros(30_000, np.float32))
    with pytest.raises(MisuseError, match=r"sound runs ahead of the log by 30\.0 s"):
        listener.push_audio(np.zeros(1, np.float32))
    listener.push_cuff([0.0, 60.0], [0.0, 0.0])
    with pytest.raises(MisuseError, match=r"log runs ahead of the sound by 30\.5 s"):
        listener.push_cuff([60.5], [0.0])
    listener.push_audio(np.zeros(60_000, np.float32))
    assert listener.audio_s == 90.0


def test_nothing_is_taken_in_after_the_end() -> None:
    listener, _, _, _ = halfway()
    reading = listener.finish()
    text = "this listener has finished; make a new one for the next stream"
    for call in (
        lambda: listener.push_audio(np.zeros(4, np.float32)),
        lambda: listener.push_audio(np.zeros(0, np.float32)),
        lambda: listener.push_cuff([99.0], [0.0]),
        listener.finish,
    ):
        with pytest.raises(MisuseError) as caught:
            call()
        assert str(caught.value) == text
    assert listener.snapshot() == reading
    assert listener.readings() in ((reading,), ())
    assert listener.audio_s == pytest.approx(24.0)


@pytest.mark.parametrize(
    ("chosen", "text"),
    [
        (
            Settings(diastolic="k5"),  # type: ignore[arg-type]
            "diastolic is 'k5'; allowed last_sound, first_silence, k4",
        ),
        (Settings(lag_s=61.0), "lag_s is 61.0; allowed -60 to 60"),
        (Settings(lag_s=float("nan")), "lag_s is nan; allowed -60 to 60"),
        (Settings(manometer_mmhg=-1.0), "manometer_mmhg is -1.0; allowed 0 to 50"),
        (Settings(longest_s=10.0), "longest_s is 10.0; allowed 30 to 3600"),
        (Settings(longest_s="5"), "longest_s is '5'; allowed 30 to 3600"),  # type: ignore[arg-type]
        (Settings(longest_s=None), "longest_s is None; allowed 30 to 3600"),  # type: ignore[arg-type]
    ],
)
def test_bad_settings_are_refused(chosen: Settings, text: str) -> None:
    with pytest.raises(SettingError) as caught:
        Listener(rate_hz=4000.0, settings=chosen)
    assert str(caught.value) == text
    with pytest.raises(SettingError):
        take_reading(short_recording(), chosen)


@pytest.mark.parametrize("chosen", [{}, {"lag_s": 0.0}, "k4"])
def test_what_is_no_settings_is_refused(chosen: Any) -> None:
    said = rf"^settings are a {type(chosen).__name__}; allowed Settings$"
    with pytest.raises(SettingError, match=said):
        Listener(rate_hz=4000.0, settings=chosen)
    with pytest.raises(SettingError, match=said):
        take_reading(short_recording(), chosen)
