"""Laws of the listener: how the streams are cut does not matter, errors keep the state."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapfall.ear import Listener, take_reading, take_readings
from tapfall.errors import (
    AudioError,
    CuffLogError,
    MisuseError,
    SettingError,
    TapfallError,
)
from tapfall.model import CuffLog, Flag, Reading, Reason, Recording, Settings, State, Status
from tests.ear.heard import (
    AUDIO_HZ,
    LOG_HZ,
    after_silence,
    assert_close,
    fixture,
    fixture_reading,
    log_of,
    one_after_another,
    short_recording,
)

Push = tuple[str, int]

#: A stream is pushed in these ways: sizes of the pushes of each kind, in turn.
ODD_CUTTINGS: dict[str, tuple[Push, ...]] = {
    "all sound first": (("audio", 10**9), ("cuff", 10**9)),
    "all rows first": (("cuff", 10**9), ("audio", 10**9)),
    "primes": (("audio", 997), ("cuff", 13)),
    "a row at a time": (("cuff", 1), ("audio", 331)),
    "sound late": (("cuff", 401), ("cuff", 7), ("audio", 8111)),
    "rows late": (("audio", 12007), ("audio", 1), ("cuff", 50)),
}


def pushes(recording: Recording, ways: Iterator[Push]) -> Iterator[tuple[str, slice]]:
    """What to push next until both streams are used up."""
    left = {"audio": recording.samples.size, "cuff": recording.cuff.time_s.size}
    at = dict.fromkeys(left, 0)
    for kind, size in itertools.chain(ways, [("cuff", 10**9), ("audio", 10**9)]):
        size = min(size, left[kind] - at[kind])
        yield kind, slice(at[kind], at[kind] + size)
        at[kind] += size
        if at == left:
            return


def push(listener: Listener, recording: Recording, kind: str, part: slice) -> None:
    """Push a part of one of the streams."""
    if kind == "audio":
        listener.push_audio(recording.samples[part])
    else:
        listener.push_cuff(recording.cuff.time_s[part], recording.cuff.pressure_mmhg[part])


def streamed(
    recording: Recording, ways: Iterator[Push], chosen: Settings | None = None
) -> tuple[Reading, ...]:
    """Readings of a stream, with its last one from ``finish``."""
    listener = Listener(rate_hz=recording.rate_hz, settings=chosen)
    for kind, part in pushes(recording, ways):
        push(listener, recording, kind, part)
    last = listener.finish()
    assert not listener.readings or listener.readings[-1] == last
    return listener.readings or (last,)


def with_samples(recording: Recording, samples: np.ndarray) -> Recording:
    """The same recording with other samples."""
    return Recording(samples=samples, rate_hz=recording.rate_hz, cuff=recording.cuff)


def with_repeated_rows(recording: Recording, at_s: float) -> Recording:
    """The same recording with ten rows of its log standing twice."""
    log = recording.cuff
    first = int(np.searchsorted(log.time_s, at_s))
    rows = np.sort(np.concatenate([np.arange(log.time_s.size), np.arange(first, first + 10)]))
    return Recording(
        samples=recording.samples,
        rate_hz=recording.rate_hz,
        cuff=CuffLog(time_s=log.time_s[rows], pressure_mmhg=log.pressure_mmhg[rows]),
    )


def longer_rest(recording: Recording, seconds: int) -> Recording:
    """The same recording with more rest at its end, its log going on as before."""
    log = recording.cuff
    step_s = float(np.median(np.diff(log.time_s)))
    more_s = float(log.time_s[-1]) + step_s * np.arange(1, round(seconds / step_s) + 1)
    quiet = np.zeros(round(seconds * recording.rate_hz), recording.samples.dtype)
    return Recording(
        samples=np.concatenate([recording.samples, quiet]),
        rate_hz=recording.rate_hz,
        cuff=CuffLog(
            time_s=np.concatenate([log.time_s, more_s]),
            pressure_mmhg=np.concatenate([log.pressure_mmhg, np.zeros(more_s.size)]),
        ),
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


def test_repeated_rows_count_for_their_own_measurement() -> None:
    both, shift_s = one_after_another(short_recording(3), short_recording(8))
    for at_s, expected in ((20.0, [True, False]), (shift_s + 20.0, [False, True])):
        found = take_readings(with_repeated_rows(both, at_s))
        assert [Flag.CUFF_LOG_ROWS_REPEATED in one.flags for one in found] == expected


@pytest.mark.parametrize("cutting", ODD_CUTTINGS)
def test_repeated_rows_of_the_second_measurement_have_the_law(cutting: str) -> None:
    both, shift_s = one_after_another(short_recording(3), short_recording(8))
    repeated = with_repeated_rows(both, shift_s + 20.0)
    found = streamed(repeated, itertools.cycle(ODD_CUTTINGS[cutting]))
    assert [one.flags for one in found] == [one.flags for one in take_readings(repeated)]
    assert found == take_readings(repeated)


@pytest.mark.parametrize("seconds", [1, 5, 20])
def test_a_measurement_longer_than_the_memory_has_the_law(seconds: int) -> None:
    # The cuff is up for longer than 35 s: what lies beyond is cut off, and forgotten.
    both, _ = one_after_another(short_recording(3), short_recording(8))
    chosen = Settings(longest_s=35.0)
    whole = take_readings(both, chosen)
    ways = itertools.cycle(
        (("audio", round(seconds * AUDIO_HZ)), ("cuff", round(seconds * LOG_HZ)))
    )
    assert len(whole) == 2
    assert streamed(both, ways, chosen) == whole
    assert not any(Flag.PALPATORY_RUN_UP in one.flags for one in whole)


@pytest.mark.parametrize("ahead_s", [0, 2, 5, 40])
@pytest.mark.parametrize("log_rate_hz", [1, 4, 64])
def test_a_measurement_is_read_once_and_is_no_run_up_of_the_next(
    log_rate_hz: int, ahead_s: int
) -> None:
    # A second of sound and the rows of a second in turn, the sound some seconds ahead.
    both, _ = one_after_another(longer_rest(short_recording(3), 6), short_recording(8))
    every = round(LOG_HZ) // log_rate_hz
    log = CuffLog(time_s=both.cuff.time_s[::every], pressure_mmhg=both.cuff.pressure_mmhg[::every])
    recording = Recording(samples=both.samples, rate_hz=both.rate_hz, cuff=log)
    whole = take_readings(recording)
    assert len(whole) == 2
    turns = itertools.cycle((("audio", round(AUDIO_HZ)), ("cuff", log_rate_hz)))
    start = [("audio", ahead_s * round(AUDIO_HZ))]
    found = streamed(recording, itertools.chain(start, turns))
    assert [one.flags for one in found] == [one.flags for one in whole]
    assert found == whole


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
    assert moved.status is plain.status
    assert moved.flags == plain.flags


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
            r"audio has shape \(2, 2\); allowed: one dimension",
        ),
        "audio of another type": (
            audio(np.ones(4, np.int16)),
            MisuseError,
            "audio has type int16; allowed: float32, as in earlier pushes",
        ),
        "audio of a foreign type": (
            audio(np.ones(4, np.uint8)),
            MisuseError,
            "audio has type uint8; allowed: int16, int32, float32, float64",
        ),
        "audio with NaN": (
            audio(nan_late),
            AudioError,
            "audio sample 499 is nan; allowed: finite numbers",
        ),
        "audio too far ahead": (
            audio(np.zeros(round(301 * AUDIO_HZ), np.float32)),
            MisuseError,
            r"the sound runs ahead of the log by \d+\.\d s; "
            r"allowed: 300 s \(longest_s\); push the log first",
        ),
        "rows of unequal length": (
            cuff([now_s, now_s + 1], [90.0]),
            MisuseError,
            r"cuff rows have shapes \(2,\) and \(1,\); "
            "allowed: two of one dimension and equal length",
        ),
        "rows of two dimensions": (
            cuff([[now_s]], [[90.0]]),
            MisuseError,
            r"cuff rows have shapes \(1, 1\) and \(1, 1\); "
            "allowed: two of one dimension and equal length",
        ),
        "a pressure that is no number": (
            cuff([now_s], [np.nan]),
            CuffLogError,
            "cuff rows hold NaN or infinity; allowed: finite numbers",
        ),
        "a time that is no number": (
            cuff([np.inf], [90.0]),
            CuffLogError,
            "cuff rows hold NaN or infinity; allowed: finite numbers",
        ),
        "a pressure too high": (
            cuff([now_s], [400.5]),
            CuffLogError,
            "cuff pressure is 400.5 mmHg; allowed: -20 to 400",
        ),
        "a pressure too low": (
            cuff([now_s, now_s + 1], [90.0, -20.5]),
            CuffLogError,
            "cuff pressure is -20.5 mmHg; allowed: -20 to 400",
        ),
        "a time before the last row": (
            cuff([1.0], [90.0]),
            CuffLogError,
            "log time runs back at 1 s; allowed: increasing times",
        ),
        "times that run back within a push": (
            cuff([now_s, now_s + 2, now_s + 1], [90.0, 90.0, 90.0]),
            CuffLogError,
            r"log time runs back at 26 s; allowed: increasing times",
        ),
        "one time with two pressures within a push": (
            cuff([now_s, now_s], [90.0, 91.0]),
            CuffLogError,
            "log time 25 s has two pressures; allowed: one",
        ),
        "rows too far ahead": (
            cuff([now_s + 400], [0.0]),
            MisuseError,
            r"the log runs ahead of the sound by \d+\.\d s; "
            r"allowed: 300 s \(longest_s\); push the sound first",
        ),
        "a text for a time": (cuff(["early"], [90.0]), TapfallError, "cuff rows .*allowed"),
        "ragged rows": (cuff([[now_s], [1.0, 2.0]], [90.0]), TapfallError, "cuff rows .*allowed"),
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
    assert str(caught.value) == f"log time {last_s:g} s has two pressures; allowed: one"
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
    assert listener.readings in ((reading,), ())
    assert listener.audio_s == pytest.approx(24.0)


@pytest.mark.parametrize(
    ("chosen", "text"),
    [
        (
            Settings(diastolic="k5"),  # type: ignore[arg-type]
            "diastolic is 'k5'; allowed: last_sound, first_silence, k4",
        ),
        (Settings(lag_s=61.0), "lag_s is 61.0; allowed: -60 to 60"),
        (Settings(lag_s=float("nan")), "lag_s is nan; allowed: -60 to 60"),
        (Settings(manometer_mmhg=-1.0), "manometer_mmhg is -1.0; allowed: 0 to 50"),
        (Settings(longest_s=10.0), "longest_s is 10.0; allowed: 30 to 3600"),
        (Settings(longest_s="5"), "longest_s is '5'; allowed: 30 to 3600"),  # type: ignore[arg-type]
    ],
)
def test_bad_settings_are_refused(chosen: Settings, text: str) -> None:
    with pytest.raises(SettingError) as caught:
        Listener(rate_hz=4000.0, settings=chosen)
    assert str(caught.value) == text
    with pytest.raises(SettingError):
        take_reading(short_recording(), chosen)


# --- snapshots ---------------------------------------------------------------------------


@settings(max_examples=15, deadline=None)
@given(seconds=st.floats(0.0, 54.0))
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


# --- several measurements, or none -------------------------------------------------------


def test_nothing_pushed_is_no_deflation() -> None:
    reading = Listener(rate_hz=4000.0).finish()
    assert (reading.status, reading.reasons) == (Status.UNREADABLE, (Reason.NO_DEFLATION,))


def test_a_cuff_at_rest_is_no_deflation() -> None:
    listener = Listener(rate_hz=1000.0)
    noise = np.random.default_rng(1).normal(0.0, 0.1, 1000).astype(np.float32)
    for second in range(40):
        listener.push_cuff([float(second)], [second % 3 - 1.0])
        listener.push_audio(noise)
    reading = listener.finish()
    assert (reading.status, reading.reasons) == (Status.UNREADABLE, (Reason.NO_DEFLATION,))
    assert reading.systolic.state is State.UNDETERMINED
    assert listener.readings == ()


def test_two_measurements_give_two_readings_each_as_if_alone() -> None:
    first, second = short_recording(3), short_recording(8)
    both, shift_s = one_after_another(first, second)
    readings = take_readings(both)
    assert len(readings) == 2
    assert readings[0] == take_reading(first)
    assert_close(readings[1], take_reading(second), shift_s=shift_s)
    assert take_reading(both) == readings[1]


@pytest.mark.parametrize("cutting", ODD_CUTTINGS)
def test_two_measurements_read_alike_however_the_streams_are_cut(cutting: str) -> None:
    both, _ = one_after_another(short_recording(3), short_recording(8))
    assert streamed(both, itertools.cycle(ODD_CUTTINGS[cutting])) == take_readings(both)


def test_a_measurement_is_read_as_soon_as_its_rest_is_over() -> None:
    recording = short_recording()
    listener = Listener(rate_hz=AUDIO_HZ)
    push(listener, recording, "audio", slice(None))
    push(listener, recording, "cuff", slice(None))
    seconds = recording.samples.size / AUDIO_HZ
    times_s = seconds + np.arange(64) / 16
    listener.push_cuff(times_s, np.zeros(64))
    listener.push_audio(np.zeros(round(4 * AUDIO_HZ), np.float32))
    assert listener.readings == (take_reading(recording),)


# --- memory ------------------------------------------------------------------------------


def bytes_kept(value: Any, seen: set[int] | None = None) -> int:
    """Bytes of all arrays that an object holds."""
    seen = set() if seen is None else seen
    if id(value) in seen:
        return 0
    seen.add(id(value))
    if isinstance(value, np.ndarray):
        owner = value if value.base is None else value.base
        return int(getattr(owner, "nbytes", value.nbytes))
    if isinstance(value, list | tuple | set | frozenset):
        return sum(bytes_kept(one, seen) for one in value)
    if isinstance(value, dict):
        return sum(bytes_kept(one, seen) for one in value.values())
    slots = getattr(type(value), "__slots__", ())
    fields = [getattr(value, name) for name in slots if hasattr(value, name)]
    return (
        bytes_kept([*fields, *vars(value).values()], seen)
        if hasattr(value, "__dict__")
        else bytes_kept(fields, seen)
    )


def kept_over_time(mmhg: float, minutes: int, longest_s: float = 60.0) -> list[int]:
    """Bytes kept after each minute of a stream at one cuff pressure."""
    listener = Listener(rate_hz=1000.0, settings=Settings(longest_s=longest_s))
    noise = np.random.default_rng(1).normal(0.0, 0.1, 10_000).astype(np.float32)
    kept = []
    for push_ in range(6 * minutes):
        listener.push_cuff(10.0 * push_ + np.arange(100) / 10, np.full(100, mmhg))
        listener.push_audio(noise)
        if push_ % 6 == 5:
            kept.append(bytes_kept(listener))
    return kept


def test_memory_stays_bounded_at_rest() -> None:
    kept = kept_over_time(0.0, 60)
    # 20 s of sound at 1 kHz in float64 with its marks, and the log's rows.
    assert max(kept) < 60 * 1000 * 16
    assert max(kept[30:]) <= max(kept[1:30])


def test_memory_stays_bounded_under_a_cuff_that_never_rests() -> None:
    kept = kept_over_time(90.0, 30)
    assert max(kept) < 4 * 60 * 1000 * 16
    assert max(kept[15:]) <= max(kept[3:15])


def test_a_recording_longer_than_the_memory_is_read() -> None:
    recording = short_recording()
    longer = after_silence(recording, round(200 * AUDIO_HZ))
    read = take_reading(longer, Settings(longest_s=60.0))
    assert_close(read, take_reading(recording), shift_s=200.0)
