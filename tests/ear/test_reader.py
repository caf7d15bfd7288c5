"""Laws of the judgement as one pure function of one measurement's record."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from tapfall.ear.frontend import FrontEnd
from tapfall.ear.reader import look_into
from tapfall.ear.record import Record
from tapfall.ear.zero import ZERO_OFF_MMHG
from tapfall.model import Flag, Reading, Reason, Settings, Status
from tests.ear.heard import assert_close, short_recording

SEEDS = (0, 3, 4, 8)


@lru_cache(maxsize=8)
def record_of(seed: int) -> Record:
    """The whole recording as one record."""
    recording = short_recording(seed)
    front = FrontEnd(recording.rate_hz)
    sound, clipped = front.push(recording.samples)
    return Record(
        sound=sound,
        clipped=clipped,
        rate_hz=front.design.sound_rate_hz,
        start_s=-front.design.delay_s,
        log_s=recording.cuff.time_s,
        log_mmhg=recording.cuff.pressure_mmhg,
    )


def judge(record: Record, settings: Settings) -> Reading:
    """The reading alone."""
    return look_into(record, settings).reading


@lru_cache(maxsize=8)
def reading_of(seed: int) -> Reading:
    """Its reading."""
    return judge(record_of(seed), Settings())


@pytest.mark.parametrize("seed", SEEDS)
def test_equal_records_give_equal_readings(seed: int) -> None:
    record = record_of(seed)
    copy = replace(
        record,
        sound=record.sound.copy(),
        clipped=record.clipped.copy(),
        log_s=record.log_s.copy(),
        log_mmhg=record.log_mmhg.copy(),
    )
    assert judge(copy, Settings()) == reading_of(seed)


def test_the_record_is_left_as_it_was() -> None:
    record = record_of(3)
    arrays = (record.sound, record.clipped, record.log_s, record.log_mmhg)
    before = [array.copy() for array in arrays]
    judge(record, Settings())
    assert all(np.array_equal(a, b) for a, b in zip(arrays, before, strict=True))


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("shift_mmhg", [-8.0, 3.0, 16.0])
def test_more_pressure_at_every_row_moves_the_pressures_and_nothing_else(
    seed: int, shift_mmhg: float
) -> None:
    record, plain = record_of(seed), reading_of(seed)
    moved = judge(replace(record, log_mmhg=record.log_mmhg + shift_mmhg), Settings())
    if abs(shift_mmhg) > ZERO_OFF_MMHG:
        # So far off a rest tells that the zero is: the one thing else that a shift changes.
        assert Flag.ZERO_OFF in moved.flags
        assert moved.status in (Status.REVIEW, Status.UNREADABLE)
        flags = tuple(one for one in moved.flags if one is not Flag.ZERO_OFF)
        moved = replace(moved, flags=flags, status=plain.status)
    assert_close(
        moved,
        plain,
        shift_mmhg=shift_mmhg,
        within_mmhg=0.02,
        within_s=0.002,
        step_mmhg=0.02,
        within_confidence=0.001,
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_later_clocks_move_the_times_and_nothing_else(seed: int) -> None:
    # All times are whole 1/1024 s, so the shift itself rounds nothing.
    record = record_of(seed)
    moved = replace(record, log_s=record.log_s + 64.0, start_s=record.start_s + 64.0)
    assert_close(
        judge(moved, Settings()),
        reading_of(seed),
        shift_s=64.0,
        within_mmhg=0.05,
        within_s=0.003,
        step_mmhg=0.2,
    )


@pytest.mark.parametrize("power", [-12, -4, 4])
def test_a_power_of_two_of_gain_changes_the_peak_level_only(power: int) -> None:
    record = record_of(3)
    scaled = judge(replace(record, sound=record.sound * 2.0**power), Settings())
    plain = reading_of(3)
    same = replace(scaled.quality, peak_dbfs=plain.quality.peak_dbfs)
    assert replace(scaled, quality=same) == plain


def test_inverted_sound_is_the_same_sound() -> None:
    record = record_of(3)
    assert judge(replace(record, sound=-record.sound), Settings()) == reading_of(3)


def test_repeated_rows_are_flagged() -> None:
    found = judge(replace(record_of(3), rows_repeated=2), Settings())
    assert Flag.CUFF_LOG_ROWS_REPEATED in found.flags
    assert found.systolic == reading_of(3).systolic


@pytest.mark.parametrize("value", [0.0, 0.25])
def test_a_silent_or_constant_record_says_so(value: float) -> None:
    record = record_of(3)
    found = judge(replace(record, sound=np.full(record.sound.size, value)), Settings())
    assert (found.status, found.reasons) == (Status.UNREADABLE, (Reason.SILENT_AUDIO,))


def test_a_record_without_a_fall_says_so() -> None:
    record = record_of(3)
    found = judge(replace(record, log_mmhg=np.full(record.log_mmhg.size, 20.0)), Settings())
    assert (found.status, found.reasons) == (Status.UNREADABLE, (Reason.NO_DEFLATION,))


@pytest.mark.parametrize("share", [0.0, 0.1, 0.5, 0.8])
def test_a_record_whose_sound_breaks_off_is_never_ok(share: float) -> None:
    record = record_of(3)
    keep = round(share * record.sound.size)
    found = judge(
        replace(record, sound=record.sound[:keep], clipped=record.clipped[:keep]), Settings()
    )
    assert Flag.AUDIO_PARTIAL in found.flags
    assert found.status is not Status.OK
    end_s = record.start_s + keep / record.rate_hz
    assert all(beat.time_s <= end_s for beat in found.beats)


def test_noise_alone_holds_no_sounds() -> None:
    record = record_of(3)
    for seed in range(5):
        noise = np.random.default_rng(seed).normal(0.0, 0.01, record.sound.size)
        found = judge(replace(record, sound=noise), Settings())
        assert found.status is Status.UNREADABLE
        assert found.systolic.mmhg is None
        assert found.diastolic.mmhg is None
