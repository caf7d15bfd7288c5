"""From levels to beats: bands, paths, clocks, steady sounds, lag."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from tapfall.ear import take_reading, values
from tapfall.ear.bands import BANDS_HZ, HOP_S, band_levels
from tapfall.ear.beats import chain_of, clock_from_sounds, fill_in
from tapfall.ear.cuff import find_deflation
from tapfall.ear.delaymap import DelayMap
from tapfall.ear.lag import find_lag
from tapfall.ear.onsets import STEP_S, Onsets, contrast
from tapfall.ear.paths import follow
from tapfall.ear.phases import decode
from tapfall.ear.pulses import find_pulses
from tapfall.ear.steady import steady_sound
from tapfall.errors import TapfallError
from tapfall.model import CuffLog, Flag, Reason, Recording, Settings, Status
from tests.ear.heard import fixture

RATE_HZ = 2000.0


def noise(seconds: float, seed: int = 3) -> np.ndarray:
    return np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))


def bursts(sound: np.ndarray, at_s: np.ndarray, hz: float, size: float) -> np.ndarray:
    """The sound with decaying tones added at times."""
    out = sound.copy()
    t = np.arange(round(0.08 * RATE_HZ)) / RATE_HZ
    tone = size * np.exp(-t / 0.02) * np.sin(2 * np.pi * hz * t)
    for first in np.rint(at_s * RATE_HZ).astype(int).tolist():
        out[first : first + tone.size] += tone
    return out


@pytest.mark.parametrize("band", range(1, len(BANDS_HZ)))
def test_a_tone_stands_out_in_its_own_band(band: int) -> None:
    hz = float(np.mean(BANDS_HZ[band]))
    levels = band_levels(bursts(noise(10.0), np.array([5.0]), hz, 12.0), RATE_HZ, 0.0)
    assert levels is not None
    near = levels.level[round(4.97 / HOP_S) : round(5.03 / HOP_S)].max(axis=0)
    assert int(np.argmax(near)) == band
    assert near[band] > 2.0


def test_levels_do_not_depend_on_gain() -> None:
    sound = bursts(noise(6.0), np.array([2.0, 3.0]), 70.0, 20.0)
    one, loud = (band_levels(sound * gain, RATE_HZ, 0.0) for gain in (1.0, 64.0))
    assert one is not None and loud is not None
    assert np.allclose(one.level, loud.level, atol=1e-3)


def test_too_short_a_sound_has_no_levels() -> None:
    assert band_levels(noise(1.5), RATE_HZ, 0.0) is None


def test_a_line_is_followed_through_rows_without_a_sound() -> None:
    rng = np.random.default_rng(5)
    line = 30 - np.arange(24) // 2
    gains = np.maximum(rng.standard_normal((24, 60)) * 0.3, 0.0)
    gains[np.arange(24), line] = 4.0
    gains[9:13] = 0.0
    gains[4, 55] = 9.0
    paths = follow(gains, 0.008, np.full(24, 2.2))
    found = paths.trace(int(np.argmax(paths.score)))
    heard = np.r_[0:9, 13:24]
    assert np.abs(found[heard] - line[heard]).max() <= 1


def test_a_score_is_what_its_path_gains_at_most() -> None:
    rng = np.random.default_rng(6)
    gains = rng.random((12, 30))
    paths = follow(gains, 0.008, None)
    columns = paths.trace(int(np.argmax(paths.score)))
    assert paths.score.max() <= gains[np.arange(12), columns].sum() + 1e-9


def test_a_clock_of_sounds_fills_in_what_is_silent() -> None:
    beat_s = 3.0 + 0.8 * np.arange(30)
    odds = np.full(round(32 / STEP_S), -8.0)
    sounding = np.r_[6:12, 15:22]
    odds[np.rint(beat_s[sounding] / STEP_S).astype(int)] = 4.0
    clock = clock_from_sounds(Onsets(log_odds=odds, start_s=0.0), 2.9, 26.6)
    assert clock is not None
    away_s = np.abs(clock.time_s[None, :] - beat_s[:, None]).min(axis=1)
    assert away_s.max() < 0.05
    assert clock.time_s.size == beat_s.size
    assert clock.away[np.abs(clock.time_s[:, None] - beat_s[None, 13]).argmin(axis=0)[0]] > 0


def test_no_rhythm_makes_no_clock() -> None:
    odds = np.full(2000, -8.0)
    assert clock_from_sounds(Onsets(log_odds=odds, start_s=0.0), 0.0, 16.0) is None


def test_a_chain_leaves_out_what_is_off_beat() -> None:
    times = np.array([0.0, 0.8, 1.6, 2.03, 2.4, 3.2])
    assert chain_of(times, np.full(6, 3.0), 0.8).tolist() == [0, 1, 2, 4, 5]


def test_a_clock_keeps_the_sounds_it_was_given() -> None:
    sounds = np.array([2.0, 2.9, 3.7, 6.2, 7.0])
    clock = fill_in(sounds, 0.0, 9.0)
    assert set(sounds.tolist()) <= set(clock.time_s.tolist())
    assert (np.diff(clock.time_s) > 0).all()


def test_a_steady_sound_is_told_from_one_that_ends() -> None:
    beat_s = 1.0 + 0.8 * np.arange(40)
    always = band_levels(bursts(noise(34.0), beat_s, 60.0, 25.0), RATE_HZ, 0.0)
    middle = band_levels(bursts(noise(34.0), beat_s[14:26], 60.0, 25.0), RATE_HZ, 0.0)
    assert always is not None and middle is not None
    assert steady_sound(always, 0.5, 33.0)
    assert not steady_sound(middle, 0.5, 33.0)


def test_no_lag_is_found_where_nothing_sounds() -> None:
    recording = fixture("ordinary")
    deflation = find_deflation(recording.cuff.time_s, recording.cuff.pressure_mmhg)
    bands = band_levels(noise(60.0), RATE_HZ, 0.0)
    assert deflation is not None and bands is not None
    delay_s = np.arange(-2.2, 2.4, 0.008)
    chart = DelayMap(log_odds=np.full((30, delay_s.size), -9.0), delay_s=delay_s)
    near = chart.between(-0.14, 0.32)
    fall = np.full(30, 2.0)
    found = find_lag(
        chart,
        follow(chart.gains(), 0.008, fall),
        follow(near.gains(), 0.008, fall),
        bands,
        deflation,
    )
    assert found.seconds == 0.0


@pytest.mark.parametrize("lag_s", [-1.3, -0.4, 0.4, 1.3])
def test_a_lag_is_found_and_a_given_one_is_obeyed(lag_s: float) -> None:
    recording = fixture("ordinary")
    cuff = type(recording.cuff)(
        time_s=recording.cuff.time_s + lag_s, pressure_mmhg=recording.cuff.pressure_mmhg
    )
    moved = Recording(samples=recording.samples, rate_hz=recording.rate_hz, cuff=cuff)
    plain, found = take_reading(recording), take_reading(moved)
    given = take_reading(moved, Settings(lag_s=lag_s))
    assert found.lag is not None and given.lag is not None
    assert found.lag.seconds == pytest.approx(lag_s, abs=0.15)
    assert given.lag.seconds == lag_s
    assert Flag.LAG_CORRECTED in found.flags
    assert plain.systolic.mmhg is not None and found.systolic.mmhg is not None
    assert found.systolic.mmhg == pytest.approx(plain.systolic.mmhg, abs=2.0)


def test_a_hole_in_the_sound_is_flagged_and_asks_for_a_person() -> None:
    recording = fixture("ordinary")
    samples = recording.samples.copy()
    middle = samples.size // 2
    samples[middle : middle + round(1.5 * recording.rate_hz)] = 0
    reading = take_reading(
        Recording(samples=samples, rate_hz=recording.rate_hz, cuff=recording.cuff)
    )
    assert Flag.AUDIO_DROPOUT in reading.flags
    assert Flag.AUDIO_DROPOUT not in take_reading(recording).flags
    assert reading.status is not Status.OK


def test_a_threshold_beside_a_hole_of_the_log_spans_the_hole() -> None:
    recording = fixture("ordinary")
    plain = take_reading(recording)
    assert plain.systolic.mmhg is not None and plain.lag is not None
    assert plain.systolic.time_s is not None
    at_s = plain.systolic.time_s + plain.lag.seconds
    log_s, log_mmhg = recording.cuff.time_s, recording.cuff.pressure_mmhg
    keep = (log_s < at_s - 2.0) | (log_s > at_s + 2.0)
    holed = CuffLog(time_s=log_s[keep], pressure_mmhg=log_mmhg[keep])
    reading = take_reading(
        Recording(samples=recording.samples, rate_hz=recording.rate_hz, cuff=holed)
    )
    assert Flag.CUFF_LOG_DROPOUT in reading.flags
    if reading.systolic.mmhg is not None:
        assert reading.status is Status.REVIEW
        low, high = reading.systolic.low_mmhg, reading.systolic.high_mmhg
        assert low is not None and high is not None
        assert low <= plain.systolic.mmhg <= high
        assert high - low >= 4.0


def test_beats_go_on_through_a_hole_of_the_log() -> None:
    recording = fixture("ordinary")
    log_s, log_mmhg = recording.cuff.time_s, recording.cuff.pressure_mmhg
    deflation = find_deflation(log_s, log_mmhg)
    assert deflation is not None
    middle_s = 0.5 * (deflation.start_s + deflation.end_s)
    keep = (log_s < middle_s - 2.0) | (log_s > middle_s + 2.0)
    whole = find_pulses(log_s, log_mmhg, deflation)
    holed = find_pulses(log_s[keep], log_mmhg[keep], deflation)
    assert abs(holed.time_s.size - whole.time_s.size) <= 1
    assert np.diff(holed.time_s).max() < 1.6 * np.median(np.diff(whole.time_s))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"samples": np.zeros((4000, 2), np.float32)}, r"audio has shape \(4000, 2\)"),
        ({"rate_hz": None}, "audio rate is None Hz; allowed 1000 Hz or more"),
        (
            {"cuff": CuffLog(time_s=np.arange(5.0), pressure_mmhg=np.zeros(4))},
            r"cuff rows have shapes \(5,\) and \(4,\)",
        ),
        (
            {"cuff": CuffLog(time_s=["a", "b"], pressure_mmhg=[1.0, 2.0])},  # type: ignore[arg-type]
            "cuff rows are not numbers",
        ),
    ],
)
def test_a_recording_made_by_hand_is_checked(changes: dict[str, object], words: str) -> None:
    with pytest.raises(TapfallError, match=words):
        take_reading(dataclasses.replace(fixture("ordinary"), **changes))


def test_sound_that_covers_too_little_says_so() -> None:
    recording = fixture("ordinary")
    short = Recording(
        samples=recording.samples[: round(0.2 * recording.samples.size)],
        rate_hz=recording.rate_hz,
        cuff=recording.cuff,
    )
    assert take_reading(short).reasons == (Reason.TOO_LITTLE_SOUND,)


def test_k4_without_muffling_is_no_reason_for_low_confidence(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(values, "find_muffling", lambda *_: None)
    recording = fixture("ordinary")
    plain, k4 = take_reading(recording), take_reading(recording, Settings(diastolic="k4"))
    assert k4.diastolic.reason is Reason.NO_MUFFLING
    assert Flag.LOW_CONFIDENCE not in plain.flags
    assert Flag.LOW_CONFIDENCE not in k4.flags


def test_sounds_on_every_second_beat_begin_the_run() -> None:
    odds = np.full(30, -6.0)
    odds[[8, 10, 12]] = 6.0
    odds[14:24] = 6.0
    heard = decode(odds).heard > 0.5
    assert np.flatnonzero(heard)[:4].tolist() == [8, 10, 12, 14]


@pytest.mark.parametrize(("sounding", "expected"), [(3.0, 11.0), (-12.0, -4.0)])
def test_contrast_is_that_of_sounds_to_silent_beats(sounding: float, expected: float) -> None:
    beat_s = 1.0 + 0.8 * np.arange(20)
    odds = np.full(round(18 / STEP_S), -20.0)
    at = np.rint(beat_s / STEP_S).astype(int)
    odds[at] = -8.0
    odds[at[6:12]] = sounding
    sounds = np.zeros(20, bool)
    sounds[6:12] = True
    assert contrast(Onsets(log_odds=odds, start_s=0.0), beat_s, sounds) == pytest.approx(expected)
