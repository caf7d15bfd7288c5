"""Laws of the listener: how the streams are cut does not matter, nor gain, polarity, clock."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tapfall.ear import Listener, take_reading, take_readings
from tapfall.ear.zero import ZERO_OFF_MMHG
from tapfall.model import Flag, Recording, Settings, State, Status
from tests.ear.heard import (
    AUDIO_HZ,
    LOG_HZ,
    after_silence,
    assert_close,
    fixture,
    fixture_reading,
    log_of,
    short_recording,
)
from tests.ear.streams import (
    ODD_CUTTINGS,
    Push,
    push,
    pushes,
    streamed,
    with_repeated_rows,
    with_samples,
)

# --- any cutting and interleaving --------------------------------------------------------


def test_the_recording_of_these_laws_is_readable() -> None:
    reading = take_reading(short_recording())
    assert reading.systolic.state is State.OBSERVED
    assert reading.diastolic.state is State.OBSERVED
    assert len(reading.beats) > 15


@settings(max_examples=30, deadline=None)
@given(
    ways=st.lists(
        st.one_of(
            st.tuples(st.just("audio"), st.integers(0, 12000)),
            st.tuples(st.just("cuff"), st.integers(0, 900)),
        ),
        max_size=30,
    )
)
def test_any_cutting_and_interleaving_gives_an_equal_reading(ways: list[Push]) -> None:
    recording = short_recording()
    assert streamed(recording, iter(ways)) == take_readings(recording)


@pytest.mark.parametrize("cutting", ODD_CUTTINGS)
@pytest.mark.parametrize("name", ["ordinary", "clock_lag", "slow_rounded_log", "stopped_early"])
def test_odd_cuttings_of_fixtures_give_an_equal_reading(name: str, cutting: str) -> None:
    ways = itertools.cycle(ODD_CUTTINGS[cutting])
    assert streamed(fixture(name), ways) == (fixture_reading(name),)


@pytest.mark.parametrize("cutting", ODD_CUTTINGS)
@pytest.mark.parametrize("kind", ["int16", "int32", "float64"])
def test_every_sample_type_has_the_law(kind: str, cutting: str) -> None:
    samples = np.round(short_recording().samples * 32767).astype(np.float64)
    scale = {"int16": 1.0, "int32": 65536.0, "float64": 1 / 32768}[kind]
    recording = with_samples(short_recording(), (samples * scale).astype(kind))
    assert streamed(recording, itertools.cycle(ODD_CUTTINGS[cutting])) == take_readings(recording)


def test_sample_types_of_equal_value_read_alike() -> None:
    samples = np.round(short_recording().samples * 32767).astype(np.int16)
    small = take_reading(with_samples(short_recording(), samples))
    large = take_reading(with_samples(short_recording(), samples.astype(np.int32) * 65536))
    real = take_reading(with_samples(short_recording(), samples.astype(np.float32) / 32768))
    assert small == large == real


@pytest.mark.parametrize("cutting", ODD_CUTTINGS)
def test_a_short_memory_changes_nothing_while_the_streams_keep_together(cutting: str) -> None:
    recording = short_recording()
    chosen = Settings(longest_s=60.0)
    assert streamed(recording, itertools.cycle(ODD_CUTTINGS[cutting]), chosen) == take_readings(
        recording
    )


@pytest.mark.parametrize("cutting", ["primes", "a row at a time"])
def test_a_palpatory_run_up_is_flagged_however_the_streams_are_cut(cutting: str) -> None:
    recording = short_recording(run_up_mmhg=100.0)
    whole = take_readings(recording)
    assert len(whole) == 1
    assert Flag.PALPATORY_RUN_UP in whole[0].flags
    assert streamed(recording, itertools.cycle(ODD_CUTTINGS[cutting])) == whole


@pytest.mark.parametrize("cutting", ODD_CUTTINGS)
def test_repeated_rows_are_dropped_and_flagged_however_the_streams_are_cut(cutting: str) -> None:
    recording = short_recording()
    repeated = with_repeated_rows(recording, 20.0)
    plain = take_reading(recording)
    flags = tuple(f for f in Flag if f in {*plain.flags, Flag.CUFF_LOG_ROWS_REPEATED})
    expected = replace(plain, flags=flags)
    assert take_reading(repeated) == expected
    assert streamed(repeated, itertools.cycle(ODD_CUTTINGS[cutting])) == (expected,)


# --- gain, polarity, clock and zero ------------------------------------------------------


@pytest.mark.parametrize("power", [-10, -3, -1, 1])
def test_a_gain_of_a_power_of_two_changes_the_peak_level_only(power: int) -> None:
    recording = short_recording()
    plain = take_reading(recording)
    scaled = take_reading(with_samples(recording, recording.samples * np.float32(2.0**power)))
    peak_dbfs = scaled.quality.peak_dbfs
    assert peak_dbfs is not None
    assert plain.quality.peak_dbfs is not None
    assert peak_dbfs - plain.quality.peak_dbfs == pytest.approx(6.0206 * power, abs=0.11)
    same = replace(scaled.quality, peak_dbfs=plain.quality.peak_dbfs)
    assert replace(scaled, quality=same) == plain


def test_inverted_sound_gives_an_equal_reading() -> None:
    recording = short_recording()
    assert take_reading(with_samples(recording, -recording.samples)) == take_reading(recording)


@pytest.mark.parametrize("samples", [1024, 4096 + 16, 60 * 1024 + 512])
def test_a_later_start_of_both_streams_moves_the_times_only(samples: int) -> None:
    recording = short_recording()
    shift_s = samples / AUDIO_HZ
    assert_close(
        take_reading(after_silence(recording, samples)), take_reading(recording), shift_s=shift_s
    )


@pytest.mark.parametrize("shift_mmhg", [-8.0, -0.5, 3.0, 9.0])
def test_another_zero_of_the_manometer_moves_the_pressures(shift_mmhg: float) -> None:
    # The row at which the cuff leaves rest is another, and with it the record: a
    # faint first or last beat may tip. `test_reader` has the exact law.
    recording = short_recording()
    plain = take_reading(recording)
    moved = take_reading(
        Recording(
            samples=recording.samples,
            rate_hz=recording.rate_hz,
            cuff=log_of(recording, shift_mmhg=shift_mmhg),
        )
    )
    assert plain.quality.deflation_mmhg_per_beat is not None
    step_mmhg = 1.2 * plain.quality.deflation_mmhg_per_beat
    for name in ("systolic", "diastolic"):
        one, other = getattr(moved, name), getattr(plain, name)
        assert one.state is other.state is State.OBSERVED
        assert one.mmhg - shift_mmhg == pytest.approx(other.mmhg, abs=step_mmhg)
    # So far off a rest tells that the zero is: the one thing else that a shift changes.
    told = {Flag.ZERO_OFF} if abs(shift_mmhg) > ZERO_OFF_MMHG else set()
    assert set(moved.flags) - set(plain.flags) == told
    assert moved.status is (Status.REVIEW if told else plain.status)


# --- snapshots ---------------------------------------------------------------------------


@settings(max_examples=15, deadline=None)
@given(seconds=st.floats(0.0, 54.0))
@example(seconds=27.5)  # A systolic is promised, but not yet sure enough for a reading.
def test_a_snapshot_is_what_finishing_here_would_give(seconds: float) -> None:
    recording = short_recording()
    ears = [Listener(rate_hz=AUDIO_HZ) for _ in range(2)]
    for ear in ears:
        push(ear, recording, "cuff", slice(0, round(seconds * LOG_HZ)))
        push(ear, recording, "audio", slice(0, round(seconds * AUDIO_HZ)))
    assert ears[0].snapshot() == ears[1].finish()


def test_snapshots_do_not_disturb_the_listener() -> None:
    recording = short_recording()
    listener = Listener(rate_hz=AUDIO_HZ)
    for kind, part in pushes(recording, itertools.cycle((("audio", 5000), ("cuff", 300)))):
        push(listener, recording, kind, part)
        listener.snapshot()
    assert listener.finish() == take_reading(recording)
