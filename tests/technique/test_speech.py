"""Speech told by pitch that glides: made voices, and what resembles them.

Syllables last about a fifth of a second, voices have 87 to 357 Hz (common practice).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from tapfall.technique.speech import voiced_share

RATE_HZ = 4000.0


def noise(lasts_s: float, rate_hz: float = RATE_HZ) -> np.ndarray:
    return 0.01 * np.random.default_rng(5).standard_normal(round(lasts_s * rate_hz))


def with_voice(
    starts_s: np.ndarray | list[float],
    lasts_s: float = 0.2,
    pitch_hz: float = 140.0,
    glide_hz_per_s: float = 60.0,
    total_s: float = 20.0,
    rate_hz: float = RATE_HZ,
) -> np.ndarray:
    """Noise with voiced syllables, each with seven harmonics."""
    sound = noise(total_s, rate_hz)
    time_s = np.arange(sound.size) / rate_hz
    for start_s in starts_s:
        here = (time_s >= start_s) & (time_s < start_s + lasts_s)
        own_s = time_s[here] - start_s
        phase = 2 * np.pi * (pitch_hz * own_s + glide_hz_per_s * own_s**2)
        sound[here] += 0.1 * sum(np.sin(n * phase) / n for n in range(1, 8))
    return sound


def test_the_share_is_that_of_the_time_spoken() -> None:
    # Five and ten syllables of 0.2 s in 20 s: 5 and 10 %, less the rise and end of each.
    few = voiced_share(with_voice(np.arange(2.0, 18.0, 3.2)), RATE_HZ)
    many = voiced_share(with_voice(np.arange(2.0, 18.0, 1.6)), RATE_HZ)
    assert few == pytest.approx(0.05, abs=0.012)
    assert many == pytest.approx(0.10, abs=0.025)


@pytest.mark.parametrize("pitch_hz", [100.0, 200.0, 300.0])
def test_voices_of_men_women_and_children(pitch_hz: float) -> None:
    sound = with_voice(np.arange(2.0, 18.0, 1.6), pitch_hz=pitch_hz, glide_hz_per_s=20.0)
    share = voiced_share(sound, RATE_HZ)
    assert share == pytest.approx(0.10, abs=0.03)


def test_neither_scale_nor_kind_of_number_matters() -> None:
    sound = with_voice(np.arange(2.0, 18.0, 1.6))
    share = voiced_share(sound, RATE_HZ)
    assert voiced_share(0.001 * sound, RATE_HZ) == pytest.approx(share, abs=1e-9)
    whole = np.round(sound / np.abs(sound).max() * 30000).astype(np.int16)
    assert voiced_share(whole, RATE_HZ) == pytest.approx(share, abs=0.005)


def test_a_long_sound_is_heard_throughout_and_counted_once() -> None:
    # Worked on in parts of 20 s: syllables around 20 and 40 s are cut by none of them.
    starts_s = [5.0, 19.9, 25.0, 39.9, 45.0]
    once = voiced_share(with_voice(starts_s, total_s=50.0), RATE_HZ)
    calm = voiced_share(with_voice([3.0, 8.0, 13.0, 28.0, 33.0], total_s=50.0), RATE_HZ)
    assert once == pytest.approx(5 * 0.2 / 50.0, abs=0.005)
    assert once == pytest.approx(calm, abs=0.001)


def test_what_is_too_short_or_jumps_is_no_syllable() -> None:
    starts_s = np.arange(2.0, 18.0, 1.6)
    assert voiced_share(with_voice(starts_s, lasts_s=0.05), RATE_HZ) == 0.0
    sound = noise(20.0)
    time_s = np.arange(sound.size) / RATE_HZ
    # Rubbing squeaks: another pitch every 20 ms.
    pitch_hz = np.random.default_rng(2).uniform(90.0, 350.0, 1000)[(time_s / 0.02).astype(int)]
    phase = 2 * np.pi * np.cumsum(pitch_hz) / RATE_HZ
    burst = (time_s % 1.6 > 1.2) & (time_s % 1.6 < 1.4)
    sound[burst] += 0.1 * sum(np.sin(n * phase[burst]) / n for n in range(1, 8))
    assert voiced_share(sound, RATE_HZ) < 0.015


@pytest.mark.parametrize("pitches_hz", [(130.0, 290.0), (130.0, 190.0, 280.0)])
def test_a_pitch_that_jumps_every_twentieth_of_a_second_is_no_voice(
    pitches_hz: tuple[float, ...],
) -> None:
    # Between jumps it is steady for five frames, and as loud and long as a voice.
    sound = noise(20.0)
    time_s = np.arange(sound.size) / RATE_HZ
    pitch_hz = np.array(pitches_hz)[(time_s / 0.05).astype(int) % len(pitches_hz)]
    phase = 2 * np.pi * np.cumsum(pitch_hz) / RATE_HZ
    burst = (time_s % 1.6 > 1.0) & (time_s % 1.6 < 1.4)
    sound[burst] += 0.1 * sum(np.sin(n * phase[burst]) / n for n in range(1, 8))
    assert voiced_share(sound, RATE_HZ) == 0.0


@pytest.mark.parametrize(
    ("pitch_hz", "mouth_hz", "wide_hz"),
    [
        # Low voices: what comes again after a turn of the mouth's resonance comes nearly as
        # well after the pitch, and the shortest lag jumps.
        (95.0, 700.0, 100.0), (110.0, 900.0, 150.0), (140.0, 700.0, 100.0),
        # High ones: what comes again after one pitch does so after two, and the best lag jumps.
        (140.0, 1100.0, 120.0), (200.0, 500.0, 150.0), (200.0, 700.0, 100.0),
        (260.0, 700.0, 200.0),
    ],
)  # fmt: skip
def test_voices_are_told_whatever_the_mouth_makes_of_them(
    pitch_hz: float, mouth_hz: float, wide_hz: float
) -> None:
    # Resonances of the mouth lie at 300 to 1200 Hz (common practice); glides of 80 Hz/s.
    sound = noise(20.0)
    time_s = np.arange(sound.size) / RATE_HZ
    for start_s in np.arange(2.0, 18.0, 1.6):
        here = (time_s >= start_s) & (time_s < start_s + 0.2)
        own_s = time_s[here] - start_s
        phase, now_hz = 2 * np.pi * (pitch_hz * own_s + 40.0 * own_s**2), pitch_hz + 80.0 * own_s
        for n in range(1, 16):
            size = np.exp(-0.5 * ((n * now_hz - mouth_hz) / wide_hz) ** 2)
            sound[here] += 0.1 * size * np.sin(n * phase)
    assert voiced_share(sound, RATE_HZ) == pytest.approx(0.10, abs=0.015)


def test_the_least_rate_and_length() -> None:
    assert voiced_share(noise(2.0, 2000.0), 2000.0) == 0.0
    assert voiced_share(noise(2.0, 2000.0)[1:], 2000.0) is None
    assert voiced_share(noise(20.0, 1999.0), 1999.0) is None
    heard = voiced_share(with_voice(np.arange(2.0, 18.0, 1.6), rate_hz=2000.0), 2000.0)
    assert heard == pytest.approx(0.10, abs=0.04)


def test_silence_is_no_speech() -> None:
    assert voiced_share(np.zeros(40_000), RATE_HZ) == 0.0


@pytest.mark.parametrize(("pitch_hz", "told"), [(82.0, False), (92.0, True)])
def test_a_pitch_below_those_of_voices_is_none(pitch_hz: float, told: bool) -> None:
    sound = with_voice(np.arange(2.0, 18.0, 1.6), pitch_hz=pitch_hz, glide_hz_per_s=5.0)
    share = voiced_share(sound, RATE_HZ)
    assert share == pytest.approx(0.10 if told else 0.0, abs=0.03)


@pytest.mark.parametrize(("loud_db", "told"), [(7.6, False), (8.6, True)])
def test_a_voice_counts_from_8_db_above_the_rest_on(loud_db: float, told: bool) -> None:
    # Of voice and noise together, between 250 and 1500 Hz (tuned, as is the bound).
    still = noise(20.0)
    voice = with_voice(np.arange(2.0, 18.0, 1.6), lasts_s=0.4, glide_hz_per_s=10.0) - still
    band = signal.butter(4, (250.0, 1500.0), "bandpass", fs=RATE_HZ, output="sos")
    since_s = (np.arange(still.size) / RATE_HZ - 2.0) % 1.6
    speaks = (since_s > 0.1) & (since_s < 0.3) & (np.abs(voice) > 0.0)
    rest = np.mean(signal.sosfilt(band, still) ** 2)
    spoken = np.mean(signal.sosfilt(band, voice)[speaks] ** 2)
    gain = np.sqrt((10.0 ** (loud_db / 10.0) - 1.0) * rest / spoken)
    share = voiced_share(still + gain * voice, RATE_HZ)
    assert share is not None
    assert (share > 0.09) if told else (share < 0.01)


@pytest.mark.parametrize(("lasts_s", "told"), [(0.065, False), (0.09, True)])
def test_a_syllable_lasts_eight_hundredths_of_a_second(lasts_s: float, told: bool) -> None:
    # Ten of them in 20 s; frames of 0.04 s see each a little longer or shorter.
    share = voiced_share(with_voice(np.arange(2.0, 18.0, 1.6), lasts_s=lasts_s), RATE_HZ)
    assert share == pytest.approx(10 * lasts_s / 20.0 if told else 0.0, abs=0.01)


@pytest.mark.parametrize(("per_s", "told"), [(4.8, True), (5.4, False)])
def test_a_pitch_that_glides_by_a_twentieth_each_hundredth_of_a_second_is_none(
    per_s: float, told: bool
) -> None:
    # From 110 Hz it grows by so much of itself a second (tuned, as is the bound).
    sound = noise(20.0)
    time_s = np.arange(sound.size) / RATE_HZ
    for start_s in np.arange(2.0, 18.0, 1.6):
        here = (time_s >= start_s) & (time_s < start_s + 0.2)
        phase = 2 * np.pi * 110.0 * np.expm1(per_s * (time_s[here] - start_s)) / per_s
        sound[here] += 0.1 * sum(np.sin(n * phase) / n for n in range(1, 8))
    assert voiced_share(sound, RATE_HZ) == pytest.approx(0.10 if told else 0.0, abs=0.01)


@pytest.mark.parametrize(("share", "told"), [(0.6, False), (0.7, True)])
def test_a_hoarse_voice_counts_while_most_of_it_comes_again(share: float, told: bool) -> None:
    # A pitch with breath over the same band, so much of the power in the pitch; six tenths
    # have to come again (tuned), and what noise brings of it comes on top or is lacking.
    sound, rng = noise(20.0), np.random.default_rng(7)
    time_s = np.arange(sound.size) / RATE_HZ
    band = signal.butter(4, (250.0, 1500.0), "bandpass", fs=RATE_HZ, output="sos")
    for start_s in np.arange(2.0, 18.0, 1.6):
        here = (time_s >= start_s) & (time_s < start_s + 0.3)
        own_s = time_s[here] - start_s
        phase = 2 * np.pi * (140.0 * own_s + 10.0 * own_s**2)
        voice = np.sum([np.sin(n * phase) / n for n in range(2, 8)], axis=0)
        breath = signal.sosfilt(band, rng.standard_normal(own_s.size))
        sound[here] += 0.1 * np.sqrt(share) * voice / voice.std()
        sound[here] += 0.1 * np.sqrt(1.0 - share) * breath / breath.std()
    found = voiced_share(sound, RATE_HZ)
    assert found is not None
    assert (found > 0.08) if told else (found < 0.015)
