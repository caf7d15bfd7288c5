"""Each thing that a device can do wrong, alone, in a recording that is good otherwise."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from scipy import signal

from tapfall.device import DeviceReport, DeviceState, Gain, Verdict, check_device
from tapfall.device.gaps import find_dead, find_repeats
from tapfall.device.hum import find_hum
from tapfall.device.log import measure_log
from tapfall.device.sound import measure_sound
from tapfall.device.spectrum import find_edges
from tapfall.errors import AudioError, CuffLogError, MisuseError, SettingError
from tapfall.model import CuffLog, Recording
from tapfall.synth import Noise, Person, Room, Scenario, Sensor, Sound, simulate
from tests.accuracy.run import simulated
from tests.ear.heard import NAMES, fixture

GOOD, LIMITS = DeviceState.GOOD, DeviceState.LIMITS
PREVENTS, UNKNOWN = DeviceState.PREVENTS, DeviceState.UNKNOWN
RATE_HZ = 4000.0

Change = Callable[[np.ndarray], np.ndarray]


def scenario(**changes: object) -> Scenario:
    room = Room(noises=(Noise(kind="pink", snr_db=24.0),))
    return replace(Scenario(seed=3, room=room), **changes)


@lru_cache(maxsize=1)
def good() -> Recording:
    """A healthy adult measured well with a good device."""
    return simulate(scenario()).recording


@lru_cache(maxsize=1)
def good_report() -> DeviceReport:
    return check_device(good())


def with_sound(samples: np.ndarray) -> Recording:
    return Recording(samples=samples.astype(np.float32), rate_hz=RATE_HZ, cuff=good().cuff)


def with_log(time_s: np.ndarray, mmhg: np.ndarray, rows_repeated: int = 0) -> Recording:
    log = CuffLog(time_s=time_s, pressure_mmhg=mmhg, rows_repeated=rows_repeated)
    return Recording(samples=good().samples, rate_hz=RATE_HZ, cuff=log)


def damped(time_s: float) -> Recording:
    """The log as a first-order manometer shows it (scipy's own, in continuous time)."""
    log = good().cuff
    shown = signal.lsim(([1.0], [time_s, 1.0]), log.pressure_mmhg, log.time_s)[1]
    return with_log(log.time_s, shown.round(1))


def changed(report: DeviceReport) -> dict[str, str]:
    """Checks whose state is another than in the good recording."""
    before = {one.check: one.state for one in good_report().findings}
    after = {one.check: one.state for one in report.findings}
    assert list(before) == list(after)
    return {check: str(state) for check, state in after.items() if state is not before[check]}


def test_a_good_device() -> None:
    report = good_report()
    assert report.verdict is Verdict.POSSIBLE
    assert report.why == ()
    assert report.untold == ("drift",)
    assert {one.state for one in report.findings} == {GOOD, UNKNOWN}
    assert report.sound.gain is Gain.NOT_SEEN
    assert report.log.pulse_seen is True
    assert report.trial.lag_s == 0.0
    assert len({one.check for one in report.findings}) == len(report.findings)


def test_reports_are_equal_and_hold_no_arrays() -> None:
    assert check_device(good()) == good_report()


@pytest.mark.parametrize("kind", ["int16", "int32", "float64"])
def test_sample_types(kind: str) -> None:
    samples = good().samples
    scale = {"int16": 32768, "int32": 2**31, "float64": 1}[kind]
    given = (samples.astype(np.float64) * scale).astype(kind)
    assert measure_sound(given, RATE_HZ).peak_dbfs == good_report().sound.peak_dbfs


def test_levels() -> None:
    time_s = np.arange(20_000) / RATE_HZ
    tone = 0.5 * np.sin(2 * np.pi * 100.0 * time_s) + 0.25 * np.sin(2 * np.pi * 700.0 * time_s)
    found = measure_sound(tone, RATE_HZ)
    assert found.rms_dbfs == pytest.approx(10 * np.log10((0.25 + 0.0625) / 2), abs=0.1)
    assert found.band_rms_dbfs == pytest.approx(10 * np.log10(0.125), abs=0.2)
    assert found.peak_dbfs == pytest.approx(20 * np.log10(np.abs(tone).max()), abs=0.1)
    assert found.band_peak_dbfs == pytest.approx(20 * np.log10(0.5), abs=0.5)
    assert found.band_noise_dbfs == pytest.approx(10 * np.log10(0.125), abs=0.2)


# ------------------------------------------------------------------ the sound, one fault each


def clipped(share: float, level: float) -> Change:
    def change(x: np.ndarray) -> np.ndarray:
        ceiling = np.quantile(np.abs(x), 1 - share)
        return np.clip(x, -ceiling, ceiling) * (level / ceiling)

    return change


def filtered(kind: str, corner_hz: float, order: int) -> Change:
    def change(x: np.ndarray) -> np.ndarray:
        sos = signal.butter(order, corner_hz, kind, fs=RATE_HZ, output="sos")
        floor = 1e-6 * np.random.default_rng(2).standard_normal(x.size)
        return np.asarray(signal.sosfilt(sos, x.astype(np.float64))) + floor

    return change


def hum(x: np.ndarray) -> np.ndarray:
    level = 10 ** (good_report().sound.band_noise_dbfs / 20)  # type: ignore[operator]
    time_s = np.arange(x.size) / RATE_HZ
    return x + 4 * level * np.sin(2 * np.pi * 60.0 * time_s)


def lost(seconds: float, count: int) -> Change:
    def change(x: np.ndarray) -> np.ndarray:
        y, size = x.copy(), round(seconds * RATE_HZ)
        for at in np.linspace(0.2, 0.8, count) * x.size:
            y[int(at) : int(at) + size] = 0.0
        return y

    return change


def played_again(seconds: float, count: int) -> Change:
    def change(x: np.ndarray) -> np.ndarray:
        y, size = x.copy(), round(seconds * RATE_HZ)
        for at in np.linspace(0.2, 0.8, count) * x.size:
            y[int(at) : int(at) + size] = y[int(at) - size : int(at)]
        return y

    return change


def coarse(steps: int) -> Change:
    def change(x: np.ndarray) -> np.ndarray:
        step = 10 ** (good_report().sound.band_peak_dbfs / 20) / steps  # type: ignore[operator]
        return np.round(x / step) * step

    return change


@pytest.mark.parametrize(
    ("change", "moved"),
    [
        (clipped(0.01, 1.0), {"clipped at full scale": "limits"}),
        (clipped(0.01, 0.4), {"flat below full scale": "limits"}),
        (
            clipped(0.2, 0.1),
            # What is left of the sounds is hardly louder than the noise.
            {"flat below full scale": "prevents", "sounds over noise": "limits"},
        ),
        (filtered("highpass", 110.0, 6), {"low end": "limits"}),
        (
            filtered("lowpass", 120.0, 10),
            {"upper edge": "limits", "cut by a filter": "limits"},
        ),
        (lambda x: x + 0.2, {"offset": "limits"}),
        (hum, {"mains hum over noise": "limits"}),
        (lost(0.4, 1), {"dead stretches": "limits"}),
        (lost(0.03, 60), {"dead stretches": "limits"}),
        (lost(0.3, 40), {"dead stretches": "prevents"}),
        (lost(0.02, 5), {}),
        (played_again(0.1, 5), {}),
        (played_again(0.1, 20), {"repeated blocks": "limits"}),
    ],
)
def test_one_fault_of_the_sound(change: Change, moved: dict[str, str]) -> None:
    report = check_device(with_sound(change(good().samples.astype(np.float64))))
    ignored = {"automatic gain", "trial reading", "lag", "repeated blocks"}
    found = {k: v for k, v in changed(report).items() if k in moved or k not in ignored}
    assert found == moved
    states = set(moved.values()) | {str(one.state) for one in report.findings}
    assert report.verdict is (
        Verdict.NOT_POSSIBLE
        if "prevents" in states
        else Verdict.LIMITED
        if "limits" in states
        else Verdict.POSSIBLE
    )
    told = [report.finding(check).sentence for check in moved]
    assert set(told) <= set(report.why)
    assert not moved or report.verdict is not Verdict.POSSIBLE


def test_hum_that_drowns_sounds_prevents_though_a_reading_comes() -> None:
    report = check_device(simulated("hum_6db", 4100).recording)
    assert report.trial.status == "ok"
    assert report.verdict is Verdict.NOT_POSSIBLE
    told = report.finding("mains hum over noise").sentence
    assert "hides the first and last sounds, also where a reading comes" in told


def test_what_is_measured_of_the_faults() -> None:
    x = good().samples.astype(np.float64)
    flat = measure_sound(clipped(0.01, 0.4)(x), RATE_HZ)
    assert flat.flat_top_share == pytest.approx(0.01, abs=0.002)
    assert flat.flat_top_dbfs == pytest.approx(20 * np.log10(0.4), abs=0.1)
    assert flat.full_scale_share == 0.0
    full = measure_sound(clipped(0.01, 1.0)(x), RATE_HZ)
    assert full.full_scale_share == pytest.approx(0.01, abs=0.002)
    assert full.flat_top_share == 0.0
    # With an offset one side is clipped at full scale, and neither below it.
    loud = 1.4 * x / np.quantile(np.abs(x), 0.99)
    moved = measure_sound(np.clip(loud + 0.3, -1.0, 1.0), RATE_HZ)
    assert moved.full_scale_share > 0.004
    assert moved.flat_top_share == 0.0
    humming = measure_sound(hum(x), RATE_HZ)
    assert humming.hum_hz == 60.0
    assert humming.hum_over_noise_db == pytest.approx(10 * np.log10(8), abs=1.5)
    assert measure_sound(x + 0.2, RATE_HZ).offset_share == pytest.approx(0.2, abs=1e-3)
    dead = measure_sound(lost(0.4, 3)(x), RATE_HZ)
    assert (dead.dead_count, dead.longest_dead_s) == (3, 0.4)
    again = measure_sound(played_again(0.1, 4)(x), RATE_HZ)
    assert (again.repeats, again.repeated_s) == (4, pytest.approx(0.4, abs=0.002))


def test_noise_that_drowns_every_sound() -> None:
    loud = 0.3 * np.random.default_rng(4).standard_normal(good().samples.size)
    sos = signal.butter(4, [25.0, 250.0], "bandpass", fs=RATE_HZ, output="sos")
    x = good().samples + np.clip(2.5 * signal.sosfilt(sos, loud), -0.9, 0.9)
    found = changed(check_device(with_sound(x)))
    assert found["background noise"] == "prevents"
    assert found["trial reading"] == "limits"


def test_sounds_close_to_the_noise() -> None:
    noisy = scenario(room=Room(noises=(Noise(kind="pink", snr_db=5.0),)))
    report = check_device(simulate(noisy).recording)
    one = report.finding("sounds over noise")
    assert one.state is LIMITS
    assert report.finding("background noise").state is GOOD
    assert report.trial.signal_to_noise_db is not None
    assert report.trial.signal_to_noise_db < 8.0


@pytest.mark.parametrize(("steps", "state"), [(100, GOOD), (20, LIMITS), (4, PREVENTS)])
def test_resolution(steps: int, state: DeviceState) -> None:
    report = check_device(with_sound(coarse(steps)(good().samples.astype(np.float64))))
    assert report.finding("loudest, in steps").state is state


@pytest.mark.parametrize("gain_s", [0.5, 0.8])
def test_automatic_gain_is_seen(gain_s: float) -> None:
    sensor = Sensor(gain_swing_db=20.0, gain_s=gain_s)
    report = check_device(simulate(scenario(sensor=sensor)).recording)
    assert report.sound.gain is Gain.SEEN
    assert report.sound.gain_swing_db is not None
    assert report.sound.gain_swing_db > 3.0
    assert report.finding("automatic gain").state is LIMITS
    assert report.verdict is Verdict.LIMITED


def test_automatic_gain_cannot_be_told_without_loud_sounds_or_time() -> None:
    noise = 0.01 * np.random.default_rng(1).standard_normal(30 * 4000)
    assert measure_sound(noise, RATE_HZ).gain is Gain.CANNOT_TELL
    assert measure_sound(good().samples[: 10 * 4000], RATE_HZ).gain is Gain.CANNOT_TELL


def test_a_room_that_falls_silent_once_is_no_gain() -> None:
    rng = np.random.default_rng(5)
    time_s = np.arange(40 * 4000) / RATE_HZ
    noise = 0.01 * rng.standard_normal(time_s.size) * np.where(time_s < 20.0, 1.0, 0.4)
    taps = np.where((time_s > 20.0) & (time_s % 0.8 < 0.06), 0.3, 0.0)
    assert measure_sound(noise + taps * np.sin(500.0 * time_s), RATE_HZ).gain is not Gain.SEEN


def test_edges_of_a_spectrum() -> None:
    noise = np.random.default_rng(2).standard_normal(80_000)
    for rate_hz in (8000.0, 44100.0):
        floor = 1e-4 * np.random.default_rng(3).standard_normal(noise.size)
        sos = signal.butter(12, 1000.0, fs=rate_hz, output="sos")
        low, high, cut = find_edges(signal.sosfilt(sos, noise) + floor, rate_hz)
        assert (low, high is not None and 1000 < high < 2500) == (0.0, True)
        assert cut == pytest.approx(1000.0, rel=0.2)
    low, high, cut = find_edges(signal.resample(noise[:20_000], 80_000), 16000.0)
    assert cut == pytest.approx(2000.0, rel=0.15)  # upsampled from 4 kHz
    assert find_edges(noise, RATE_HZ) == (0.0, None, None)  # white: no end is seen
    assert find_edges(np.zeros(80_000), RATE_HZ) == (None, None, None)
    assert find_edges(noise[:100], RATE_HZ) == (None, None, None)


def test_pink_noise_has_no_edge() -> None:
    rng = np.random.default_rng(6)
    spectrum = np.fft.rfft(rng.standard_normal(80_000))
    pink = np.fft.irfft(spectrum / np.sqrt(np.arange(spectrum.size) + 1.0))
    assert find_edges(pink, RATE_HZ) == (0.0, RATE_HZ / 2, None)


def test_a_low_edge_without_a_filter_is_left_open() -> None:
    time_s = np.arange(20 * 4000) / RATE_HZ
    floor = 0.001 * np.random.default_rng(8).standard_normal(time_s.size)
    rumble = filtered("lowpass", 60.0, 1)(np.random.default_rng(9).standard_normal(time_s.size))
    report = check_device(
        Recording(samples=floor + 0.003 * rumble, rate_hz=RATE_HZ, cuff=good().cuff)
    )
    one = report.finding("upper edge")
    assert isinstance(one.found, float)
    assert one.found < 250.0
    assert one.state is UNKNOWN


@pytest.mark.parametrize("bits", [16, 24])
@pytest.mark.parametrize(
    ("order", "corner_hz", "verdict"),
    [
        (8, 40.0, Verdict.NOT_POSSIBLE),
        (8, 60.0, Verdict.LIMITED),
        (8, 80.0, Verdict.LIMITED),
        (8, 100.0, Verdict.LIMITED),
        (4, 60.0, Verdict.LIMITED),
        (4, 100.0, Verdict.LIMITED),
        (12, 150.0, Verdict.LIMITED),
    ],
)
def test_a_band_that_ends_too_low_is_told(
    order: int, corner_hz: float, verdict: Verdict, bits: int
) -> None:
    whole = fixture("ordinary")
    sos = signal.butter(order, corner_hz, fs=whole.rate_hz, output="sos")
    x = signal.sosfilt(sos, whole.samples.astype(np.float64))
    x = np.round(x * 2.0 ** (bits - 1)) / 2.0 ** (bits - 1)
    report = check_device(replace(whole, samples=x))
    assert report.sound.cut_hz == pytest.approx(corner_hz, rel=0.15)
    assert report.sound.upper_edge_hz is not None
    assert corner_hz < report.sound.upper_edge_hz < 2.2 * corner_hz
    assert report.finding("cut by a filter").state is LIMITS
    assert report.finding("upper edge").state in (LIMITS, PREVENTS)
    assert report.verdict is verdict


def test_a_gentle_filter_is_not_told_from_sounds_that_end_low() -> None:
    whole = fixture("ordinary")
    sos = signal.butter(2, 40.0, fs=whole.rate_hz, output="sos")
    x = np.round(signal.sosfilt(sos, whole.samples.astype(np.float64)) * 2**15) / 2**15
    report = check_device(replace(whole, samples=x))
    assert report.sound.upper_edge_hz is not None
    assert report.sound.upper_edge_hz < 250.0
    assert report.sound.cut_hz is None
    assert {"upper edge", "cut by a filter"} <= set(report.untold)
    assert "no more came, or it was lost" in report.finding("upper edge").sentence


@pytest.mark.parametrize("group", ["hum_6db", "quiet_room", "heart_8db", "weak", "ectopic"])
@pytest.mark.parametrize("seed", [4100, 4101, 4102])
def test_neither_hum_nor_a_quiet_room_is_taken_for_a_filter(group: str, seed: int) -> None:
    one = simulated(group, seed).recording
    assert measure_sound(one.samples, one.rate_hz).cut_hz is None


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_heart_sounds_are_not_taken_for_a_filter(seed: int) -> None:
    # They fall by 17 dB within an octave, and fill more than half of the time.
    heart = Room(noises=(Noise(kind="heart", snr_db=-8.0), Noise(kind="pink", snr_db=36.0)))
    person = Person(heart_rate_per_min=95.0)
    one = simulate(scenario(seed=seed, person=person, sound=Sound(present=False), room=heart))
    assert measure_sound(one.recording.samples, one.recording.rate_hz).cut_hz is None


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_is_told_from_noise(mains_hz: float) -> None:
    rng = np.random.default_rng(7)
    time_s = np.arange(24_000) / 2000.0
    noise = rng.standard_normal(time_s.size)
    assert find_hum(noise, 2000.0).mains_hz is None
    for tone_hz in (mains_hz, mains_hz + 0.3):
        found = find_hum(noise + np.sin(2 * np.pi * tone_hz * time_s), 2000.0)
        assert found.mains_hz == mains_hz
        assert found.power == pytest.approx(0.5, rel=0.25)
    assert find_hum(noise[:8000], 2000.0).told is False
    assert find_hum(noise + np.sin(2 * np.pi * 55.0 * time_s), 2000.0).mains_hz is None


def test_dead_stretches_and_clipping_are_told_apart() -> None:
    x = np.random.default_rng(1).standard_normal(8000)
    x[1000:1200], x[3000:3200] = x.max(), 0.1
    assert np.flatnonzero(find_dead(x, RATE_HZ)).tolist() == list(range(3000, 3200))
    assert find_dead(np.zeros(100), RATE_HZ).all()
    assert find_dead(np.zeros(0), RATE_HZ).size == 0


@pytest.mark.parametrize("share", [0.3, 0.49, 0.51, 0.6, 0.8, 0.95])
@pytest.mark.parametrize("level", [0.01, 1.5e-4])
def test_dead_stretches_are_found_however_much_of_the_sound_they_take(
    share: float, level: float
) -> None:
    x = level * np.random.default_rng(1).standard_normal(30 * 4000)
    lost_there = np.arange(x.size) % 4000 < share * 4000
    x[lost_there] = 0.0
    x = np.round(x * 2**15) / 2**15
    report = check_device(with_sound(x))
    one = report.finding("dead stretches")
    assert (one.found, one.state) == (30.0, PREVENTS)
    # A zero beside a stretch counts as part of it.
    assert report.sound.dead_s == pytest.approx(30 * share, rel=0.01)
    assert report.verdict is Verdict.NOT_POSSIBLE


def test_a_noise_gate_is_seen() -> None:
    x = fixture("ordinary").samples.astype(np.float64)
    open_there = np.convolve(np.abs(x) > 0.01, np.ones(400), "same") > 0
    gated = np.where(open_there, x, 0.0)
    assert np.mean(gated == 0.0) > 0.5
    found = measure_sound(gated, fixture("ordinary").rate_hz)
    assert found.dead_s == pytest.approx(np.mean(~open_there) * found.heard_s, rel=0.02)
    assert found.longest_dead_s > 0.3
    report = check_device(replace(fixture("ordinary"), samples=gated))
    assert report.finding("dead stretches").state is PREVENTS
    assert "a gate shuts it off" in report.finding("dead stretches").sentence


@pytest.mark.parametrize("steps", [4, 10])
@pytest.mark.parametrize("name", ["ordinary", "weak", "silent_gap"])
def test_silence_finer_than_a_step_is_not_dead(name: str, steps: int) -> None:
    x = fixture(name).samples.astype(np.float64)
    held = np.round(x / np.abs(x).max() * steps) / steps
    longest = np.diff(np.flatnonzero(np.diff(held, prepend=1.0))).max()
    assert longest > 0.02 * fixture(name).rate_hz
    assert measure_sound(held, fixture(name).rate_hz).dead_count == 0


def test_one_is_not_told_as_many() -> None:
    x = good().samples.astype(np.float64)
    once = check_device(with_sound(lost(0.4, 1)(x))).finding("dead stretches")
    assert once.sentence.startswith("One value is held for 0.4 s: the driver loses sound")
    again = check_device(with_sound(played_again(0.1, 1)(x))).finding("repeated blocks")
    assert again.sentence == "One block of samples comes twice, of 0.1 s."


def test_repeats_that_are_none() -> None:
    rng = np.random.default_rng(1)
    nothing = np.zeros(8000, bool)
    assert find_repeats(rng.standard_normal(8000), RATE_HZ, nothing) == []
    assert find_repeats(np.tile(rng.standard_normal(80), 100), RATE_HZ, nothing) is None
    assert find_repeats(np.round(rng.standard_normal(8000)), RATE_HZ, nothing) is None
    across = rng.standard_normal((1 << 20) + 4000)
    across[(1 << 20) - 100 : (1 << 20) + 100] = across[(1 << 20) - 300 : (1 << 20) - 100]
    assert find_repeats(across, RATE_HZ, np.zeros(across.size, bool)) == [0.05]


# ------------------------------------------------------------------ the log, one fault each


def rows_at(rate_hz: float) -> tuple[np.ndarray, np.ndarray]:
    cuff = good().cuff
    time_s = np.arange(cuff.time_s[0], cuff.time_s[-1], 1 / rate_hz)
    return time_s, np.interp(time_s, cuff.time_s, cuff.pressure_mmhg)


def held(rate_hz: float) -> Recording:
    time_s, mmhg = rows_at(60.0)
    every = round(60.0 / rate_hz)
    return with_log(time_s, mmhg[np.arange(time_s.size) // every * every])


def filled(rate_hz: float) -> Recording:
    """A log whose rows between measured ones lie on straight lines."""
    time_s, mmhg = rows_at(60.0)
    every = round(60.0 / rate_hz)
    return with_log(time_s, np.interp(time_s, time_s[::every], mmhg[::every]))


def late(by_s: float) -> Recording:
    time_s, mmhg = rows_at(20.0)
    shifted = np.sort(time_s + np.random.default_rng(3).uniform(0.0, by_s, time_s.size))
    return with_log(shifted, mmhg)


def without(start_s: float, end_s: float) -> Recording:
    time_s, mmhg = rows_at(50.0)
    kept = (time_s < start_s) | (time_s > end_s)
    return with_log(time_s[kept], mmhg[kept])


def rounded(step_mmhg: float) -> Recording:
    cuff = good().cuff
    return with_log(cuff.time_s, np.round(cuff.pressure_mmhg / step_mmhg) * step_mmhg + 0.0)


def longer(by_s: float) -> Recording:
    cuff = good().cuff
    extra_s = cuff.time_s[-1] + np.arange(1, round(by_s * 50)) / 50
    mmhg = np.append(cuff.pressure_mmhg, np.zeros(extra_s.size))
    return with_log(np.append(cuff.time_s, extra_s), mmhg)


@pytest.mark.parametrize(
    ("make", "moved"),
    [
        (lambda: with_log(*rows_at(4.0)), {"log rate": "limits", "cuff pulse": "limits"}),
        (lambda: with_log(*rows_at(0.4)), {"log rate": "prevents", "cuff pulse": "limits"}),
        (lambda: held(10.0), {}),
        (lambda: damped(0.4), {"cuff pulse": "limits"}),
        (lambda: held(3.0), {"pressure renewed": "limits", "cuff pulse": "limits"}),
        (lambda: filled(3.0), {"pressure renewed": "limits", "cuff pulse": "limits"}),
        (lambda: held(0.4), {"pressure renewed": "prevents", "cuff pulse": "limits"}),
        (lambda: late(0.15), {"jitter of rows": "limits"}),
        (lambda: late(0.6), {"jitter of rows": "prevents"}),
        (lambda: without(20.0, 22.0), {"holes in the log": "limits"}),
        (lambda: without(20.0, 20.5), {}),
        (lambda: rounded(2.0), {"log rounding": "limits"}),
        (lambda: rounded(5.0), {"log rounding": "prevents"}),
        (lambda: longer(3.0), {"drift": "limits"}),
        (lambda: longer(1.0), {}),
        (lambda: with_log(good().cuff.time_s, good().cuff.pressure_mmhg, 7), {}),
    ],
)
def test_one_fault_of_the_log(make: Callable[[], Recording], moved: dict[str, str]) -> None:
    report = check_device(make())
    found = changed(report)
    # What a fault takes with it: a reading, its lag, and the pulse.
    taken = {"trial reading", "sounds over noise", "lag", "cuff pulse"} - set(moved)
    assert {k: v for k, v in found.items() if k not in taken} == moved
    assert set(found) & taken == set() or moved
    if "prevents" in moved.values():
        assert report.verdict is Verdict.NOT_POSSIBLE


def test_what_is_measured_of_the_log() -> None:
    found = good_report().log
    assert (found.rate_hz, found.jitter_s, found.rounding_mmhg) == (50.0, 0.0, 0.1)
    assert found.rows == good().cuff.time_s.size
    assert found.highest_mmhg > 145.0
    assert found.falls_mmhg == pytest.approx(100.0, abs=5.0)
    assert measure_log(held(10.0).cuff).held_rate_hz == pytest.approx(10.0, rel=0.01)
    hole = measure_log(without(20.0, 22.0).cuff)
    assert (hole.holes, hole.longest_hole_s) == (1, pytest.approx(2.0, abs=0.05))
    assert measure_log(rounded(2.0).cuff).rounding_mmhg == 2.0
    assert check_device(with_log(*rows_at(20.0), 7)).log.rows_repeated == 7


def test_holes_are_counted_in_words_that_fit() -> None:
    one = check_device(without(20.0, 22.0)).finding("holes in the log")
    assert one.sentence == "The log has 1 hole, of 2.04 s."
    time_s, mmhg = rows_at(50.0)
    kept = ((time_s < 20.0) | (time_s > 22.0)) & ((time_s < 30.0) | (time_s > 31.5))
    two = check_device(with_log(time_s[kept], mmhg[kept])).finding("holes in the log")
    assert two.sentence == "The log has 2 holes, the longest 2.04 s."


@pytest.mark.parametrize(
    ("top_mmhg", "state"),
    [(0.0, UNKNOWN), (7.9, UNKNOWN), (8.0, LIMITS), (17.0, LIMITS), (44.9, LIMITS), (45.0, GOOD)],
)
def test_a_log_that_may_be_in_another_unit(top_mmhg: float, state: DeviceState) -> None:
    time_s = np.arange(0.0, 20.0, 0.05)
    mmhg = np.interp(time_s, [0, 5, 10, 12], [0, 0, top_mmhg, 0])
    report = check_device(
        Recording(
            samples=good().samples[:80_000],
            rate_hz=RATE_HZ,
            cuff=CuffLog(time_s=time_s, pressure_mmhg=mmhg),
        )
    )
    one = report.finding("highest pressure")
    assert (one.found, one.state) == (top_mmhg, state)
    assert report.verdict is (Verdict.LIMITED if state is LIMITS else Verdict.NOT_TOLD)


def test_rows_in_bursts_are_no_fast_log() -> None:
    time_s, mmhg = rows_at(50.0)
    bursts_s = np.ceil((time_s + 1e-9) / 0.4) * 0.4 + np.arange(time_s.size) % 20 * 1e-4
    found = measure_log(CuffLog(time_s=bursts_s, pressure_mmhg=mmhg))
    assert found.rate_hz == pytest.approx(50.0, rel=0.02)
    assert found.jitter_s > 0.1


def test_repeated_rows_are_counted() -> None:
    log = CuffLog(time_s=np.array([0.0, 0.1, 0.1, 0.2]), pressure_mmhg=np.array([0.0, 5, 5, 6]))
    found = measure_log(log)
    assert (found.rows, found.rows_repeated) == (3, 1)


# ------------------------------------------------------------------ clocks and the trial


def test_lag_is_told_by_the_reading() -> None:
    cuff = good().cuff
    report = check_device(with_log(cuff.time_s + 1.2, cuff.pressure_mmhg))
    one = report.finding("lag")
    assert one.state is GOOD
    assert report.trial.lag_s == pytest.approx(1.2, abs=0.15)
    given = check_device(with_log(cuff.time_s + 1.2, cuff.pressure_mmhg), lag_s=1.2)
    assert given.trial.lag_s == 1.2
    assert "(given)" in given.finding("lag").sentence


def test_without_a_measurement_much_is_left_open() -> None:
    rest = CuffLog(time_s=np.arange(0, 12, 0.02), pressure_mmhg=np.zeros(600))
    report = check_device(Recording(samples=good().samples[:48_000], rate_hz=RATE_HZ, cuff=rest))
    assert report.verdict is Verdict.NOT_TOLD
    assert {"cuff pulse", "trial reading", "sounds over noise", "lag", "drift"} <= set(
        report.untold
    )
    assert report.trial.status is None
    # What was found against the device is told all the same.
    slow = with_log(np.arange(0, 12, 2.5), np.zeros(5))
    assert check_device(slow).verdict is Verdict.NOT_POSSIBLE


def test_log_and_sound_that_share_no_time() -> None:
    cuff = good().cuff
    report = check_device(with_log(cuff.time_s + 200.0, cuff.pressure_mmhg))
    assert changed(report)["sound and log shared"] == "prevents"
    assert report.verdict is Verdict.NOT_POSSIBLE


@pytest.mark.parametrize("level", [0.0, 0.25])
def test_a_sound_of_one_value(level: float) -> None:
    report = check_device(with_sound(np.full(good().samples.size, level)))
    assert report.verdict is Verdict.NOT_POSSIBLE
    assert report.finding("rms level").state is PREVENTS
    assert report.finding("dead stretches").state is PREVENTS


@pytest.mark.parametrize("count", [1, 5, 100, 4000])
def test_very_short_sounds(count: int) -> None:
    report = check_device(with_sound(good().samples[:count]))
    assert report.finding("length").state is UNKNOWN
    assert report.verdict is Verdict.NOT_POSSIBLE


def test_only_the_start_of_a_long_sound_is_looked_at() -> None:
    noise = 0.01 * np.random.default_rng(1).standard_normal(310_000).astype(np.float32)
    found = measure_sound(noise, 1000.0)
    assert (found.length_s, found.heard_s) == (310.0, 300.0)


def test_input_that_cannot_be_used() -> None:
    cuff = good().cuff
    with pytest.raises(AudioError, match=r"^audio has 0 samples; allowed a sound that lasts$"):
        check_device(with_sound(np.zeros(0)))
    with pytest.raises(AudioError, match=r"^audio rate is 900.0 Hz; allowed 1000 Hz or more$"):
        check_device(Recording(samples=good().samples, rate_hz=900.0, cuff=cuff))
    with pytest.raises(AudioError, match=r"^audio sample 1 is nan; allowed finite numbers$"):
        check_device(with_sound(np.array([0.0, np.nan])))
    with pytest.raises(MisuseError, match="allowed one dimension"):
        check_device(with_sound(np.zeros((4, 2))))
    for count in (0, 1):
        with pytest.raises(CuffLogError, match=rf"^cuff log has {count} rows; allowed 2 or more$"):
            check_device(with_log(cuff.time_s[:count], cuff.pressure_mmhg[:count]))
    with pytest.raises(CuffLogError, match=r"^log time runs back at 1 s"):
        check_device(with_log(np.array([0.0, 2.0, 1.0]), np.zeros(3)))
    with pytest.raises(CuffLogError, match=r"^log time 1 s has two pressures; allowed one$"):
        check_device(with_log(np.array([0.0, 1.0, 1.0]), np.array([0.0, 1.0, 2.0])))
    with pytest.raises(CuffLogError, match="NaN or infinity"):
        check_device(with_log(np.array([0.0, 1.0]), np.array([0.0, np.inf])))
    with pytest.raises(SettingError, match="lag_s"):
        check_device(good(), lag_s=100.0)
    with pytest.raises(KeyError):
        good_report().finding("colour")


@pytest.mark.parametrize("name", NAMES)
def test_every_fixture(name: str) -> None:
    report = check_device(fixture(name))
    wanted = {
        "no_sounds": {"trial reading"},
        "noisy": {"sounds over noise"},
        "slow_rounded_log": {"log rate", "log rounding", "cuff pulse"},
    }.get(name, set())
    assert {one.check for one in report.findings if one.state is not GOOD} - set(
        report.untold
    ) == wanted
    assert report.verdict is (Verdict.LIMITED if wanted else Verdict.POSSIBLE)
    assert report.sound.cut_hz is None
