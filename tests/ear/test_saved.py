"""A listener's state: written, read back, gone on with elsewhere."""

from __future__ import annotations

import io
import itertools
from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from tapfall.ear import Listener
from tapfall.errors import MisuseError
from tapfall.events import Event
from tapfall.model import Recording, Rule, Settings
from tests.ear.heard import fixture, one_after_another, short_recording
from tests.ear.streams import push, pushes
from tests.ear.test_events import turns


def through_a_file(listener: Listener) -> Listener:
    """The listener written as npz and read back, without pickle."""
    file = io.BytesIO()
    np.savez(file, **listener.state())
    file.seek(0)
    with np.load(file, allow_pickle=False) as state:
        return Listener.from_state(dict(state))


def told(recording: Recording, stops: set[int], step_s: float = 0.5) -> tuple[Any, ...]:
    """Events, readings and last reading, the listener moved through a file at some pushes."""
    listener = Listener(rate_hz=recording.rate_hz, settings=Settings(diastolic=Rule.LAST_SOUND))
    events: list[Event] = []
    for number, (kind, part) in enumerate(pushes(recording, turns(recording, step_s))):
        events += push(listener, recording, kind, part)
        if number in stops:
            listener = through_a_file(listener)
    last = listener.finish()
    return events, listener.events(), listener.readings(), last


@lru_cache(maxsize=1)
def told_whole() -> tuple[Any, ...]:
    return told(fixture("silent_gap"), set())


@pytest.mark.parametrize("stops", [{0, 1, 2}, {55, 56, 90}, set(range(0, 400, 9))])
def test_going_on_elsewhere_changes_nothing(stops: set[int]) -> None:
    recording = fixture("silent_gap")
    assert told(recording, stops) == told_whole()


def test_readings_that_were_not_handed_over_go_along() -> None:
    both, _ = one_after_another(short_recording(3), short_recording(8))
    whole = told(both, set(), step_s=2.0)
    assert len(whole[2]) == 2
    assert told(both, set(range(20, 120, 7)), step_s=2.0) == whole


@pytest.mark.parametrize("kind", ["int16", "float64"])
def test_the_sample_type_and_the_settings_go_along(kind: str) -> None:
    listener = Listener(rate_hz=4000.0, settings=Settings(lag_s=0.25, manometer_mmhg=3.0))
    listener.push_audio(np.zeros(777, kind))
    again = through_a_file(listener)
    other = "int32" if kind == "int16" else "float32"
    with pytest.raises(MisuseError, match=f"audio has type {other}; allowed {kind}"):
        again.push_audio(np.zeros(4, other))
    assert again.audio_s == listener.audio_s
    assert again.finish().manometer_mmhg == 3.0


def test_a_finished_listener_stays_finished() -> None:
    listener = Listener(rate_hz=4000.0)
    reading = listener.finish()
    again = through_a_file(listener)
    assert again.snapshot() == reading
    with pytest.raises(MisuseError, match="this listener has finished"):
        again.finish()


def test_the_state_holds_plain_arrays_only_and_does_not_change_with_the_listener() -> None:
    recording = short_recording()
    listener = Listener(rate_hz=recording.rate_hz)
    for kind, part in itertools.islice(pushes(recording, turns(recording)), 60):
        push(listener, recording, kind, part)
    state = listener.state()
    assert all(isinstance(value, np.ndarray) for value in state.values())
    assert not any(value.dtype.hasobject for value in state.values())
    before = {name: value.copy() for name, value in state.items()}
    listener.push_audio(recording.samples[:5000])
    assert all((state[name] == before[name]).all() for name in state)


@pytest.mark.parametrize(
    ("change", "text"),
    [
        ({"form": np.array("other/9")}, "state has form 'other/9'; allowed 'tapfall.listener/5'"),
        ({"plain": np.array("{")}, "state cannot be read: "),
        ({"plain": np.array("{}")}, "state cannot be read: state: found no 'settings'"),
        ({"sound": None}, "state holds no array 'sound'"),
        ({"plain": None}, "state holds no listener"),
        ({"sound": np.array(["a"])}, "state array 'sound' has type <U1 and shape (1,)"),
        ({"low_carry": np.zeros(3)}, "state array 'low_carry' has type float64 and shape (3,)"),
        ({"log_s": np.array([np.nan])}, "state array 'log_s' holds nan or inf"),
        ({"tops": np.full(6, np.nan)}, "state array 'tops' holds nan or inf"),
        ({"sound": np.zeros(3)}, "state arrays 'sound' and 'marks' have 3 and 0 values"),
        ({"lost_s": np.zeros((1, 3))}, "state array 'lost_s' has type float64 and shape (1, 3)"),
    ],
)
def test_a_state_of_something_else_is_refused(change: dict[str, Any], text: str) -> None:
    state: dict[str, Any] = {**Listener(rate_hz=4000.0).state(), **change}
    state = {name: value for name, value in state.items() if value is not None}
    with pytest.raises(MisuseError) as caught:
        Listener.from_state(state)
    assert str(caught.value).startswith(text)
