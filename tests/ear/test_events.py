"""What is told while listening: laws of the stream of events, and its story on recordings."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapfall.ear import Listener, course, reader, take_reading
from tapfall.events import EVENT_SENTENCES, Event, EventKind
from tapfall.model import Flag, Reading, Recording, Settings, State, Status
from tapfall.synth import Cuff, Noise, Room, Scenario, Sensor, simulate
from tests.ear.heard import fixture, fixture_reading, short_recording
from tests.ear.streams import ODD_CUTTINGS, Push, push, pushes

Told = tuple[tuple[Event, ...], Reading]

#: Promises about a value.
SETTLED = (EventKind.SYSTOLIC_SETTLED, EventKind.DIASTOLIC_SETTLED)


def listened(recording: Recording, ways: Iterator[Push], chosen: Settings | None = None) -> Told:
    """Events and last reading of a stream."""
    listener = Listener(rate_hz=recording.rate_hz, settings=chosen)
    events: list[Event] = []
    for kind, part in pushes(recording, ways):
        events += push(listener, recording, kind, part)
    reading = listener.finish()
    return (*events, *listener.events()), reading


def turns(recording: Recording, step_s: float = 0.5) -> Iterator[Push]:
    """Sound and log side by side, as a device hands them on."""
    rows = max(1, round(step_s / float(np.median(np.diff(recording.cuff.time_s)))))
    return itertools.cycle((("cuff", rows), ("audio", round(step_s * recording.rate_hz))))


@lru_cache(maxsize=32)
def fixture_told(name: str) -> Told:
    recording = fixture(name)
    return listened(recording, turns(recording))


def of(events: tuple[Event, ...], *kinds: EventKind) -> list[Event]:
    return [event for event in events if event.kind in kinds]


def without_losses(events: tuple[Event, ...]) -> list[Event]:
    """All but what depends on how late one stream comes after the other."""
    return [event for event in events if event.kind is not EventKind.SIGNAL_LOST]


# --- laws --------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def tiny_recording() -> Recording:
    """A simulated measurement of half a minute at 1 kHz with a log of 32 Hz."""
    scenario = Scenario(
        seed=5,
        cuff=Cuff(
            rest_before_s=2.0,
            rest_after_s=6.0,
            top_mmhg=146.0,
            end_mmhg=50.0,
            deflation_mmhg_per_s=5.0,
            log_rate_hz=32.0,
        ),
        sensor=Sensor(rate_hz=1000.0),
        room=Room(noises=(Noise(kind="pink", snr_db=24.0),)),
    )
    return simulate(scenario).recording


@lru_cache(maxsize=1)
def tiny_told() -> Told:
    """What is told of it where a device hands on hundredths of a second."""
    return listened(tiny_recording(), turns(tiny_recording(), 0.01))


@pytest.fixture(scope="module")
def judged_once() -> Iterator[dict[Any, Any]]:
    """Equal records are judged once: another record than before would be judged anew."""
    known: dict[Any, Any] = {}
    look_into = reader.look_into

    def cached(
        record: Any, chosen: Settings, centre_s: float, *, under_way: bool, astray: bool
    ) -> Any:
        key = (
            record.sound.tobytes(),
            record.log_s.tobytes(),
            record.log_mmhg.tobytes(),
            record.start_s,
            record.lost_s,
            record.rows_repeated,
            chosen,
            centre_s,
            under_way,
            astray,
        )
        if key not in known:
            known[key] = look_into(record, chosen, centre_s, under_way=under_way, astray=astray)
        return known[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(course, "look_into", cached)
        yield known


@settings(max_examples=320, deadline=None)
@given(
    ways=st.lists(
        st.one_of(
            st.tuples(st.just("audio"), st.integers(0, 9000)),
            st.tuples(st.just("cuff"), st.integers(0, 300)),
        ),
        max_size=40,
    )
)
def test_any_cutting_and_interleaving_tells_equal_events_and_an_equal_reading(
    judged_once: dict[Any, Any], ways: list[Push]
) -> None:
    recording = tiny_recording()
    expected, reading = tiny_told()
    known = len(judged_once)
    events, found = listened(recording, iter(ways))
    assert found == reading == take_reading(recording)
    assert without_losses(events) == without_losses(expected)
    assert len(of(events, *SETTLED)) == 2
    # Not one provisional record was another.
    assert len(judged_once) == known


@pytest.mark.parametrize("cutting", ODD_CUTTINGS)
@pytest.mark.parametrize("name", ["silent_gap", "clock_lag", "under_inflated"])
def test_odd_cuttings_of_fixtures_tell_equal_events(
    name: str, cutting: str, judged_once: dict[Any, Any]
) -> None:
    recording = fixture(name)
    events, reading = listened(recording, itertools.cycle(ODD_CUTTINGS[cutting]))
    expected, same = fixture_told(name)
    assert reading == same
    assert without_losses(events) == without_losses(expected)


def test_events_are_in_the_order_in_which_they_can_be_told() -> None:
    for name in ("ordinary", "silent_gap", "under_inflated"):
        events, _ = fixture_told(name)
        assert [event.told_s for event in events] == sorted(event.told_s for event in events)
        assert all(event.time_s <= event.told_s + 1e-9 for event in events)
        assert all(0.0 <= event.probability <= 1.0 for event in events)


def test_a_listener_that_announces_nothing_tells_nothing_and_reads_the_same() -> None:
    recording = short_recording()
    listener = Listener(rate_hz=recording.rate_hz, announce=False)
    assert push(listener, recording, "cuff", slice(None)) == ()
    assert push(listener, recording, "audio", slice(None)) == ()
    assert listener.finish() == take_reading(recording)
    assert listener.events() == ()


def test_every_event_has_a_sentence_and_none_speaks_of_safety() -> None:
    assert set(EVENT_SENTENCES) == set(EventKind)
    assert not any("safe" in sentence for sentence in EVENT_SENTENCES.values())


# --- stories -----------------------------------------------------------------------------


def test_the_story_of_an_ordinary_measurement() -> None:
    events, reading = fixture_told("ordinary")
    story = [event.kind for event in events if event.kind is not EventKind.SOUND_HEARD]
    for earlier, later in itertools.pairwise(
        (
            EventKind.INFLATION_STARTED,
            EventKind.DEFLATION_STARTED,
            EventKind.SYSTOLIC_LIKELY,
            EventKind.SYSTOLIC_SETTLED,
            EventKind.DIASTOLIC_LIKELY,
            EventKind.DIASTOLIC_SETTLED,
            EventKind.LISTENED_FAR_ENOUGH,
            EventKind.DONE,
        )
    ):
        assert story.index(earlier) < story.index(later)
    assert story.count(EventKind.DONE) == 1
    assert EventKind.REVISED not in story
    assert reading == fixture_reading("ordinary")
    heard = of(events, EventKind.SOUND_HEARD)
    sounds = [beat for beat in reading.beats if beat.heard >= 0.5]
    assert len(heard) == pytest.approx(len(sounds), abs=2)


@pytest.mark.parametrize("name", ["ordinary", "silent_gap", "weak", "clock_lag"])
def test_settled_values_are_those_of_the_reading(name: str) -> None:
    events, reading = fixture_told(name)
    (systolic,) = of(events, EventKind.SYSTOLIC_SETTLED)
    (diastolic,) = of(events, EventKind.DIASTOLIC_SETTLED)
    assert systolic.mmhg == pytest.approx(reading.systolic.mmhg, abs=4.0)
    assert diastolic.mmhg == pytest.approx(reading.diastolic.mmhg, abs=4.0)


def test_a_gap_is_suspected_ends_and_is_never_the_diastolic() -> None:
    events, reading = fixture_told("silent_gap")
    (gap,) = reading.gaps
    (suspected,) = of(events, EventKind.GAP_SUSPECTED)
    (ended,) = of(events, EventKind.GAP_ENDED)
    assert suspected.cuff_mmhg == pytest.approx(gap.upper_mmhg, abs=4.0)
    assert ended.cuff_mmhg == pytest.approx(gap.lower_mmhg, abs=4.0)
    for event in of(events, EventKind.DIASTOLIC_LIKELY, EventKind.DIASTOLIC_SETTLED):
        assert event.time_s > ended.time_s


def test_sounds_from_the_top_ask_to_start_again() -> None:
    events, reading = fixture_told("under_inflated")
    assert reading.systolic.state is State.NOT_REACHED
    assert of(events, EventKind.START_AGAIN)
    assert not of(events, EventKind.SYSTOLIC_LIKELY, EventKind.SYSTOLIC_SETTLED)


@pytest.mark.parametrize("name", ["no_sounds", "heart_sounds_conducted"])
def test_nothing_is_settled_where_nothing_is_read(name: str) -> None:
    events, reading = fixture_told(name)
    if reading.status is Status.UNREADABLE:
        assert not of(events, *SETTLED)
    assert Flag.REVISED not in reading.flags


def test_a_stream_that_stops_before_the_end_has_no_settled_diastolic() -> None:
    events, reading = fixture_told("stopped_early")
    assert reading.diastolic.state is State.NOT_REACHED
    assert not of(events, EventKind.DIASTOLIC_SETTLED)
    assert of(events, EventKind.SYSTOLIC_SETTLED)
