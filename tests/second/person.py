"""One person: pressures, arterial pulse, the sounds of the artery, the cuff's own pulse."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import signal

from tests.second import files
from tests.second.kinds import WITH_GAP
from tests.second.waves import RATE_HZ, FloatArray, peaking


@dataclass(frozen=True, slots=True, kw_only=True)
class Breath:
    """What breathing changes (0.15-0.4 Hz, from memory; sizes our choice)."""

    rate_hz: float
    systolic_mmhg: float
    diastolic_mmhg: float
    loudness_db: float
    phase_rad: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulse:
    """The arterial pulse from foot to foot, 0 to 1, and its rise made monotonic."""

    time_s: FloatArray
    height: FloatArray
    upstroke_s: float
    rise_time_s: FloatArray
    rise_height: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Voice:
    """How the artery of one person sounds.

    A sound is three decaying tones.  It starts ``first_below_mmhg`` under the systolic
    pressure and ends ``last_above_mmhg`` over the diastolic one.
    """

    tone_hz: FloatArray
    decay_s: FloatArray
    gain: FloatArray
    phase_rad: FloatArray
    glide: float
    attack_s: float
    threshold_db: float
    growth_mmhg: float
    muffling_mmhg: float
    muffling_db: float
    muffled_hz: float
    first_below_mmhg: float
    last_above_mmhg: float
    murmur_gain: float
    murmur_centre: float
    murmur_width: float
    murmur_dip_db: float
    jitter_db: float
    thump_s: float
    thump_db: float
    thump_peak: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CuffPulse:
    """The pulse on the cuff: a bell over cuff pressure, its halves by standard deviation."""

    peak_mmhg: float
    centre_mmhg: float
    above_mmhg: float
    below_mmhg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SilentGap:
    """Pressures between which the sounds fall silent, and how soft the edges are."""

    upper_mmhg: float
    lower_mmhg: float
    edge_mmhg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """One person and the stethoscope at the arm; ``delay_s`` runs from cuff to ear piece."""

    systolic_mmhg: float
    diastolic_mmhg: float
    heart_rate_per_min: float
    breath: Breath
    pulse: Pulse
    delay_s: float
    voice: Voice
    cuff_pulse: CuffPulse
    gap: SilentGap | None
    alternans_mmhg: float
    ear_piece: FloatArray


def draw_person(rng: np.random.Generator, kind: str) -> Person:
    """Draw a person as a kind of recording needs one."""
    diastolic_mmhg = np.clip(rng.normal(78, 12), 52, 108)
    width_mmhg = np.clip(rng.normal(48, 13) + 0.25 * (diastolic_mmhg - 75), 31, 88)
    if kind in WITH_GAP:
        width_mmhg = rng.uniform(58, 90)
        diastolic_mmhg = rng.uniform(62, 100)
    if kind == "fast":
        width_mmhg = max(width_mmhg, 38)
    systolic_mmhg = diastolic_mmhg + width_mmhg
    heart_rate_per_min = rng.uniform(50, 110)
    if kind == "fast":
        heart_rate_per_min = rng.uniform(62, 110)
    breath = _breath(rng)
    pulse = _pulse(rng)
    delay_s = rng.uniform(0.003, 0.016)
    voice = _voice(rng, width_mmhg)
    return Person(
        systolic_mmhg=systolic_mmhg,
        diastolic_mmhg=diastolic_mmhg,
        heart_rate_per_min=heart_rate_per_min,
        breath=breath,
        pulse=pulse,
        delay_s=delay_s,
        voice=voice,
        cuff_pulse=_cuff_pulse(rng, diastolic_mmhg, width_mmhg),
        gap=_gap(rng, kind, systolic_mmhg - voice.first_below_mmhg, width_mmhg),
        # 5-10 by cuff, palpable at about 20: textbooks, from memory
        alternans_mmhg=rng.uniform(6, 20) if kind == "alternans" else 0.0,
        ear_piece=_ear_piece(rng),
    )


def _breath(rng: np.random.Generator) -> Breath:
    rate_hz = rng.uniform(0.17, 0.33)
    systolic_mmhg = rng.uniform(0.5, 3.0)
    return Breath(
        rate_hz=rate_hz,
        systolic_mmhg=systolic_mmhg,
        diastolic_mmhg=systolic_mmhg * rng.uniform(0.2, 0.6),
        loudness_db=rng.uniform(0, 1.8),
        phase_rad=rng.uniform(0, 2 * np.pi),
    )


def _pulse(rng: np.random.Generator) -> Pulse:
    """A real pulse or a made one; upstrokes of 90-190 ms (80-150 ms in papers, from memory)."""
    if rng.random() < 0.5 and files.there(files.PULSES):
        real = files.pulses()
        time_s, height = real[rng.integers(len(real))]
        time_s = time_s * rng.uniform(0.85, 1.2)
    else:
        time_s, height = _made_pulse(rng)
    top = int(np.argmax(height))
    rise = np.maximum.accumulate(np.clip(height[: top + 1], 0, 1)) + np.arange(top + 1) * 1e-6
    return Pulse(
        time_s=time_s,
        height=height,
        upstroke_s=time_s[top],
        rise_time_s=time_s[: top + 1],
        rise_height=(rise - rise[0]) / (rise[-1] - rise[0]),
    )


def _made_pulse(rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    up_s = rng.uniform(0.09, 0.19)
    time_s = np.arange(0, 0.9, 0.005)
    rise = 0.5 - 0.5 * np.cos(np.pi * (time_s / up_s) ** rng.uniform(0.75, 1.1))
    after_s = np.maximum(time_s - up_s, 0)
    fall = np.exp(-((after_s / rng.uniform(0.28, 0.5)) ** rng.uniform(1.0, 1.5)))
    height = np.where(time_s < up_s, rise, fall)
    wave, wave_s = rng.uniform(0, 0.18), rng.uniform(0.12, 0.2)
    height = height + wave * np.exp(-0.5 * ((time_s - up_s - wave_s) / 0.045) ** 2)
    notch = rng.uniform(0.02, 0.08)
    height = height - notch * np.exp(-0.5 * ((time_s - up_s - 0.22) / 0.02) ** 2)
    height = height - np.linspace(height[0], height[-1], len(height))
    return time_s, height / height.max()


def _voice(rng: np.random.Generator, width_mmhg: float) -> Voice:
    """How the sounds of one person are made.

    The spectrum peaks about 30-60 Hz (engineering papers, from memory).  The first sound
    lies below the intra-arterial systolic, the last usually above the diastolic
    (intra-arterial study of 13 patients; Babbs 2015).  The slow thump goes on above and
    below both (Blank 1988).  Muffling spans 6.3 (2.6) mmHg at 25 years (Hammond 1995).
    Other ranges are our choice.
    """
    lowest_hz = rng.uniform(34, 68)
    tone_hz = [lowest_hz, lowest_hz * rng.uniform(1.7, 2.6), lowest_hz * rng.uniform(3.0, 4.6)]
    return Voice(
        tone_hz=np.array(tone_hz),
        decay_s=np.array(
            [rng.uniform(0.013, 0.026), rng.uniform(0.007, 0.014), rng.uniform(0.004, 0.009)]
        ),
        gain=np.array([1, rng.uniform(0.5, 1.3), rng.uniform(0.2, 0.9)]),
        phase_rad=np.array(
            [rng.choice([0, np.pi]), rng.uniform(0, 2 * np.pi), rng.uniform(0, 2 * np.pi)]
        ),
        glide=rng.uniform(-0.15, 0.35),
        attack_s=rng.uniform(0.0015, 0.005),
        threshold_db=rng.uniform(-17, -9),
        growth_mmhg=rng.uniform(0.10, 0.24) * width_mmhg,
        muffling_mmhg=rng.uniform(3, 12),
        muffling_db=rng.uniform(-16, -9),
        muffled_hz=rng.uniform(45, 85),
        first_below_mmhg=rng.uniform(0, 5),
        last_above_mmhg=rng.uniform(0, 4),
        murmur_gain=rng.uniform(0.05, 0.45) if rng.random() < 0.75 else 0.0,
        murmur_centre=rng.uniform(0.62, 0.78),
        murmur_width=rng.uniform(0.07, 0.13),
        murmur_dip_db=rng.uniform(0, 4),
        jitter_db=rng.uniform(0.5, 1.5),
        thump_s=rng.uniform(0.016, 0.026),
        thump_db=rng.uniform(-42, -31),
        thump_peak=rng.uniform(0.2, 1.0),
    )


def _cuff_pulse(rng: np.random.Generator, diastolic_mmhg: float, width_mmhg: float) -> CuffPulse:
    """How large the cuff's pulse is, and where.

    Peak 1-4 mmHg (from memory), 3.0 (0.8) in Liu 2014, with its bell 57 (11) mmHg wide
    at 50 %; centre at 0.45 of the way from diastolic to systolic (Chandrasekhar 2019).
    """
    peak_mmhg = np.clip(rng.normal(2.3, 0.7) * (width_mmhg / 48) ** 0.5, 1.0, 4.0)
    centre_mmhg = diastolic_mmhg + width_mmhg * rng.uniform(0.36, 0.52)
    bell_mmhg = np.clip(rng.normal(57, 9), 38, 80) * (width_mmhg / 45) ** 0.5
    return CuffPulse(
        peak_mmhg=peak_mmhg,
        centre_mmhg=centre_mmhg,
        above_mmhg=bell_mmhg * rng.uniform(0.42, 0.55) / 1.177,
        below_mmhg=bell_mmhg * rng.uniform(0.5, 0.62) / 1.177,
    )


def _gap(
    rng: np.random.Generator, kind: str, first_sound_mmhg: float, width_mmhg: float
) -> SilentGap | None:
    """A silent gap; typical widths 10-50, commonly 20-40 mmHg (textbooks, from memory)."""
    if kind not in WITH_GAP:
        return None
    gap_mmhg = rng.uniform(9, min(40, width_mmhg - 30))
    upper_mmhg = first_sound_mmhg - rng.uniform(9, max(9.5, width_mmhg - gap_mmhg - 20))
    return SilentGap(
        upper_mmhg=upper_mmhg, lower_mmhg=upper_mmhg - gap_mmhg, edge_mmhg=rng.uniform(1.0, 2.5)
    )


def _ear_piece(rng: np.random.Generator) -> FloatArray:
    """What the stethoscope passes, as scipy's ``sos`` (our choice)."""
    order = int(rng.integers(1, 3))
    high = signal.butter(order, rng.uniform(10, 30), "highpass", fs=RATE_HZ, output="sos")
    low = signal.butter(2, rng.uniform(280, 1400), fs=RATE_HZ, output="sos")
    bell = peaking(rng.uniform(80, 220), rng.uniform(0, 8), rng.uniform(0.7, 1.8))
    tube = peaking(rng.uniform(350, 750), rng.uniform(-3, 6), rng.uniform(0.8, 2))
    return np.vstack([high, low, bell, tube])
