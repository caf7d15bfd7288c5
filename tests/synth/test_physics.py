"""The simulator against published facts; the source stands beside each number."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from tapfall.model import Phase
from tapfall.synth import Cuff, Person, Room, Scenario, Sensor, Sound, Truth, sample, simulate
from tapfall.synth.artery import crossing_s, pulse_train, upstroke
from tapfall.synth.heart import heart_sounds, s1_gain, s2_gain
from tapfall.synth.log import bell
from tapfall.synth.render import render
from tapfall.synth.rhythm import beats_of, breath_of

STEADY = Person(
    interval_breath_share=0.0,
    interval_sd_share=0.0,
    breath_swing_mmhg=0.0,
    slow_swing_mmhg=0.0,
    beat_sd_mmhg=0.0,
    upstroke_s=0.13,
    upstroke_shape=0.0,
)
PLAIN = Scenario(seed=5, person=STEADY, cuff=Cuff(wobble_share=0.0), room=Room(noises=()))


def audible(truth: Truth) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Delay after the foot in seconds and cuff pressure in mmHg of the audible beats."""
    beats = [beat for beat in truth.beats if beat.audible_in_quiet]
    return (
        np.array([beat.time_s - beat.foot_s for beat in beats]),
        np.array([beat.cuff_mmhg for beat in beats]),
    )


def test_sounds_come_earlier_in_the_pulse_as_the_cuff_falls() -> None:
    # Mechanism: classic papers (Rodbard), literature on the QKD interval; from memory.
    delay_s, cuff_mmhg = audible(simulate(PLAIN).truth)
    assert np.all(np.diff(cuff_mmhg) < 0)
    assert np.all(np.diff(delay_s) < 0)


@pytest.mark.parametrize("upstroke_s", [0.08, 0.13, 0.2])
def test_delay_spans_about_the_upstroke(upstroke_s: float) -> None:
    # 80-150 ms between systolic and diastolic (QKD literature, from memory).
    person = replace(STEADY, upstroke_s=upstroke_s)
    delay_s, _ = audible(simulate(replace(PLAIN, person=person)).truth)
    assert 0.8 * upstroke_s < np.ptp(delay_s) < 1.0 * upstroke_s
    assert delay_s.max() < upstroke_s + PLAIN.sound.delay_s + 1e-6


def test_a_straight_upstroke_shifts_by_3_ms_per_mmhg() -> None:
    # Computed: 120 ms over a pulse pressure of 40 mmHg.
    person = replace(STEADY, systolic_mmhg=120.0, diastolic_mmhg=80.0, upstroke_s=0.12)
    delay_s, cuff_mmhg = audible(simulate(replace(PLAIN, person=person)).truth)
    slope = np.polyfit(cuff_mmhg, delay_s, 1)[0]
    assert slope == pytest.approx(0.003, abs=0.0002)


def test_the_sound_starts_where_the_wave_crosses_the_cuff() -> None:
    simulation = simulate(PLAIN)
    beats = [beat for beat in simulation.truth.beats if beat.audible_in_quiet]
    for beat in beats:
        share = (beat.time_s - PLAIN.sound.delay_s - beat.foot_s) / STEADY.upstroke_s
        height = float(upstroke(np.array([share]), STEADY.upstroke_shape)[0])
        arterial = beat.diastolic_mmhg + height * (beat.systolic_mmhg - beat.diastolic_mmhg)
        assert arterial == pytest.approx(beat.cuff_mmhg, abs=0.5)


@pytest.mark.parametrize("shape", [0.0, 0.4, 1.0])
def test_crossing_inverts_the_upstroke(shape: float) -> None:
    person = replace(STEADY, upstroke_shape=shape)
    height = np.linspace(0.02, 0.98, 40)
    back = upstroke(crossing_s(height, person) / person.upstroke_s, shape)
    assert back == pytest.approx(height, abs=1e-3)


def test_only_beats_between_their_own_pressures_are_audible() -> None:
    for seed in range(8):
        truth = simulate(replace(sample(seed), sensor=Sensor(rate_hz=2000.0))).truth
        heard = [beat for beat in truth.beats if beat.audible_in_quiet]
        assert heard
        assert all(b.diastolic_mmhg < b.cuff_mmhg < b.systolic_mmhg for b in heard)
        assert all(b.audible_in_quiet for b in truth.beats if b.audible_in_noise)


def test_wave_has_foot_top_and_notch() -> None:
    beats = beats_of(STEADY, breath_of(STEADY, 1), 5.0, 1)
    foot_s = beats.foot_s[3]
    time_s = foot_s + np.arange(0, 0.8, 0.001)
    wave = pulse_train(time_s, beats.foot_s, replace(STEADY, notch_share=0.3))
    assert wave[0] == pytest.approx(0.0, abs=1e-9)
    assert time_s[wave.argmax()] - foot_s == pytest.approx(STEADY.upstroke_s, abs=0.002)
    later = wave[wave.argmax() :]
    assert np.any(np.diff(later) > 0), "the dicrotic notch rises again"


def test_bell_width_follows_liu_2014() -> None:
    # Liu 2014, deflation, 10 people: 57 (11) mmHg wide at 50 %, 89 (12) at 30 % of the height.
    distance = np.linspace(-100, 100, 20_001)
    height = bell(Cuff(), distance)
    for share, width in ((0.5, 57.0), (0.3, 89.0)):
        inside = distance[height >= share]
        assert np.ptp(inside) == pytest.approx(width, abs=0.05)


def test_pulse_on_the_log_is_the_bell_of_liu_2014() -> None:
    cuff = Cuff(
        top_mmhg=190, end_mmhg=30, rounding_mmhg=0, noise_sd_mmhg=0, log_rate_hz=200,
        wobble_share=0, pulse_mmhg=3.0, rest_before_s=1.0,
    )  # fmt: skip
    scenario = replace(PLAIN, cuff=cuff, sensor=Sensor(rate_hz=1000.0))
    simulation, layers = simulate(scenario), render(scenario)
    log = simulation.recording.cuff
    rest = log.pressure_mmhg - layers.outline.trend.at(log.time_s)
    sizes, cuffs = [], []
    for beat in simulation.truth.beats:
        inside = (log.time_s >= beat.foot_s) & (log.time_s < beat.foot_s + 0.8)
        sizes.append(np.ptp(rest[inside]))
        cuffs.append(beat.cuff_mmhg)
    size, cuff_mmhg = np.array(sizes), np.array(cuffs)
    # 3.0 (0.8) mmHg (Liu 2014), at 0.45 SBP + 0.55 DBP (Chandrasekhar 2019).
    assert size.max() == pytest.approx(3.0, abs=0.15)
    assert cuff_mmhg[size.argmax()] == pytest.approx(0.45 * 120 + 0.55 * 75, abs=6)
    wide = cuff_mmhg[size >= 0.5 * size.max()]
    assert np.ptp(wide) == pytest.approx(57, abs=6)
    assert size[cuff_mmhg > 150].min() > 0.2, "pulses persist above systolic"


def test_levels_of_people_span_28_db() -> None:
    # Celler 2017: loudest sounds of 3.3-84 mV, 28 dB, in 90 recordings.
    peaks = []
    for seed in range(90):
        scenario = sample(seed)
        peaks.append(scenario.sound.peak_dbfs)
    assert 24 < np.ptp(peaks) <= 28
    made = [render(replace(sample(s), sensor=Sensor(rate_hz=2000.0))) for s in range(4)]
    for one, seed in zip(made, range(4), strict=True):
        loud_db = 20 * np.log10(np.abs(one.sounds).max())
        assert loud_db == pytest.approx(sample(seed).sound.peak_dbfs, abs=1e-6)


def test_first_heart_sound_falls_as_in_sakai_1971() -> None:
    # Sakai 1971: first sound -6.5 to -7.5 dB per octave; second -6 dB per octave to 80 Hz,
    # flat from 80 to 140 Hz.
    hz = np.array([40.0, 80.0, 140.0])
    first_db = 20 * np.log10(s1_gain(hz, Room().s1_slope_db, Room().heart_corner_hz))
    assert 6.5 <= first_db[0] - first_db[1] <= 7.5
    second_db = 20 * np.log10(s2_gain(hz, Room().heart_corner_hz))
    assert second_db[0] - second_db[1] == pytest.approx(6.0)
    assert second_db[1] == pytest.approx(second_db[2])


def test_rendered_heart_sounds_keep_that_slope() -> None:
    rate_hz, n = 2000.0, 40_000
    room = Room(s2_db=-20.0)
    power = np.zeros(n // 2 + 1)
    for seed in range(30):
        beats = beats_of(STEADY, breath_of(STEADY, seed), n / rate_hz, seed)
        track = heart_sounds(room, beats, breath_of(STEADY, seed), rate_hz, n, seed)
        power += np.abs(np.fft.rfft(track)) ** 2
    hz = np.fft.rfftfreq(n, 1 / rate_hz)
    edges = 40.0 * 2.0 ** (np.arange(5) / 2)
    bands = [power[(hz >= a) & (hz < a * 2**0.5)].mean() for a in edges]
    slope = np.polyfit(np.arange(5) / 2, 10 * np.log10(bands), 1)[0]
    assert slope == pytest.approx(-7.0, abs=1.0)


def test_heart_sounds_are_blind_to_the_cuff() -> None:
    person, room = STEADY, Room(heart_breath_db=0.0)
    beats = beats_of(person, breath_of(person, 2), 40.0, 2)
    track = heart_sounds(room, beats, breath_of(person, 2), 2000.0, 80_000, 2)
    level = np.array(
        [np.sqrt(np.mean(track[int((t - 0.15) * 2000) : int((t + 0.3) * 2000)] ** 2))
         for t in beats.foot_s if 1 < t < 38]
    )  # fmt: skip
    assert level.std() / level.mean() < 0.15


def centroid_hz(track: NDArray[np.float64], rate_hz: float, starts_s: list[float]) -> float:
    power = np.zeros(2049)
    for start_s in starts_s:
        piece = track[int(start_s * rate_hz) : int((start_s + 0.2) * rate_hz)]
        power += np.abs(np.fft.rfft(piece / np.sqrt(np.sum(piece**2)), 4096)) ** 2
    hz = np.fft.rfftfreq(4096, 1 / rate_hz)
    return float(np.sum(hz * power) / np.sum(power))


def test_muffled_sounds_lose_their_high_frequencies() -> None:
    # Lower frequencies dominate toward diastolic (intra-arterial study); amplitude and bandwidth
    # are largest about the third phase and least in the fourth (Allen 2004, from memory).
    for seed in range(6):
        scenario = replace(sample(seed), sensor=Sensor(response="flat"))
        scenario = replace(scenario, sound=replace(scenario.sound, muffling_mmhg=9.0))
        truth, layers = simulate(scenario).truth, render(scenario)
        found = {
            phase: [b.time_s for b in truth.beats if b.phase is phase and b.audible_in_quiet]
            for phase in (Phase.K1, Phase.K2, Phase.K3, Phase.K4)
        }
        hz = {p: centroid_hz(layers.sounds, layers.rate_hz, s) for p, s in found.items() if s}
        assert hz[Phase.K4] < 0.75 * hz[Phase.K3]
        assert hz[Phase.K2] > hz[Phase.K4]
        outline = layers.outline
        loud = {
            phase: np.median([outline.levels[np.argmin(np.abs(outline.openings.onset_s - t))]
                              for t in starts])
            for phase, starts in found.items() if starts
        }  # fmt: skip
        assert loud[Phase.K4] < loud[Phase.K3]


def test_second_phase_has_the_highest_frequencies() -> None:
    # Murmur-like, highest frequencies of all phases (spectrographic studies).
    scenario = replace(PLAIN, sound=Sound(murmur_db=0.0), sensor=Sensor(response="flat"))
    truth, layers = simulate(scenario).truth, render(scenario)
    hz = {
        phase: centroid_hz(
            layers.sounds, 4000.0, [b.time_s for b in truth.beats if b.phase is phase]
        )
        for phase in (Phase.K1, Phase.K2, Phase.K3, Phase.K4)
    }
    assert max(hz, key=lambda phase: hz[phase]) is Phase.K2


def test_first_and_last_sounds_are_the_weakest() -> None:
    # Within the 10-20 dB below the loudest that the sounds start and end with (our choice).
    below_db = []
    for seed in range(12):
        layers = render(replace(sample(seed), sensor=Sensor(rate_hz=2000.0)))
        onset_s = layers.outline.openings.onset_s
        falling = (onset_s > layers.outline.trend.fall_s) & (
            onset_s < layers.outline.trend.release_s
        )
        level = layers.outline.levels[falling & (layers.outline.levels > 0)]
        below_db.append(20 * np.log10(layers.outline.loudest / level[[0, -1]]))
    assert np.min(below_db) > 2
    first_db, last_db = np.median(below_db, axis=0)
    assert 10 < first_db < 22
    assert 10 < last_db < 25


def test_inaudible_pulses_go_on_beyond_both_pressures() -> None:
    # A low-frequency pulse persists above systolic and below diastolic (Blank 1988).
    layers = render(PLAIN)
    inside = [
        (beat.time_s, beat.cuff_mmhg)
        for beat in simulate(PLAIN).truth.beats
        if beat.cuff_mmhg > 125 or beat.cuff_mmhg < 70
    ]
    for time_s, _ in inside:
        piece = layers.thumps[int((time_s - 0.2) * 4000) : int((time_s + 0.2) * 4000)]
        assert np.abs(piece).max() > 0.05 * np.abs(layers.thumps).max()
    power = np.abs(np.fft.rfft(layers.thumps)) ** 2
    hz = np.fft.rfftfreq(layers.thumps.size, 1 / 4000.0)
    assert power[hz > 25].sum() / power.sum() < 1e-3


def test_cuff_falls_by_rate_times_interval_from_beat_to_beat() -> None:
    # Computed: 2.5 mmHg/s at 75 beats a minute is 2 mmHg a beat.
    person = replace(STEADY, heart_rate_per_min=75.0)
    truth = simulate(replace(PLAIN, person=person)).truth
    cuff = np.array([b.cuff_mmhg for b in truth.beats if b.cuff_mmhg < 145])
    assert -np.diff(cuff)[:-1] == pytest.approx(2.0, abs=0.05)
    assert truth.deflation_mmhg_per_beat == pytest.approx(2.0, abs=0.05)


def test_breath_moves_systolic_and_loudness() -> None:
    # Respiration modulates the sounds' amplitude in all of 30 people (Zheng 2014).
    person = replace(STEADY, breath_swing_mmhg=10.0)
    scenario = replace(PLAIN, person=person, sound=Sound(breath_db=4.0, level_sd_db=0.0))
    layers = render(scenario)
    wave = layers.outline.breath.at(layers.outline.beats.foot_s)
    swing = np.corrcoef(wave, layers.outline.pressures.systolic_mmhg)[0, 1]
    assert swing > 0.99
    assert np.ptp(layers.outline.pressures.systolic_mmhg) == pytest.approx(10.0, abs=1.0)
    middle = (layers.outline.openings.depth > 0.55) & (layers.outline.openings.depth < 0.7)
    assert np.corrcoef(wave[middle], layers.outline.openings.level_db[middle])[0, 1] > 0.8


def test_an_early_beat_is_weak() -> None:
    person = replace(STEADY, rhythm="bigeminy", heart_rate_per_min=80.0)
    layers = render(replace(PLAIN, person=person))
    early = ~layers.outline.beats.expected
    assert early.mean() == pytest.approx(0.5, abs=0.05)
    systolic = layers.outline.pressures.systolic_mmhg
    assert systolic[early].mean() < systolic[~early].mean() - 8


def test_muffling_lies_as_far_above_diastolic_as_in_hammond_1995() -> None:
    # Hammond 1995: K4 minus K5 is 6.3 (2.6) mmHg at 25 years, 4,633 people aged 5-30.
    drawn = [sample(seed) for seed in range(400)]
    apart = [scenario.sound.muffling_mmhg for scenario in drawn]
    assert np.mean(apart) == pytest.approx(6.3, abs=0.5)
    assert np.std(apart) == pytest.approx(2.6, abs=0.4)
    # The truth of a recording keeps that distance, within a beat's step.
    slow = [replace(one, cuff=replace(one.cuff, deflation_mmhg_per_s=1.0)) for one in drawn[:12]]
    for scenario in slow:
        truth = simulate(scenario).truth.in_quiet
        assert truth.muffling.mmhg is not None
        assert truth.diastolic.mmhg is not None
        far = truth.muffling.mmhg - truth.diastolic.mmhg
        assert far == pytest.approx(scenario.sound.muffling_mmhg, abs=4.0)
