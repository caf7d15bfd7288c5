"""The sounds of the artery under the cuff, and its slow thump."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import signal

from tests.second.cuff import Cuff
from tests.second.heart import Beats
from tests.second.person import Person, Voice
from tests.second.waves import RATE_HZ, FloatArray, add_at, coloured, loudest_near, ratio

#: Length that one sound is rendered over.
SOUND_S = 0.2
#: Loudness during the inflation: veins not yet congested (our choice).
INFLATION_GAIN = 0.6
#: Loudness of the weak beats of alternans beside their lower pressure (our choice).
WEAK_GAIN = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Sounds:
    """The sounds as heard through the ear piece at 4 kHz; other arrays hold one per beat.

    ``onset_s`` is where a beat's sound starts or would start, ``cuff_mmhg`` the smooth
    cuff pressure there; ``amplitude`` is 0 where the artery makes no sound.
    """

    wave: FloatArray
    onset_s: FloatArray
    cuff_mmhg: FloatArray
    amplitude: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """Where between systolic and diastolic a sound lies."""

    below_systolic_mmhg: float
    above_diastolic_mmhg: float
    share: float
    dip: float
    muffled: float


def draw_sounds(
    rng: np.random.Generator, kind: str, person: Person, cuff: Cuff, beats: Beats
) -> Sounds:
    """Render the sound of every beat that has one."""
    count = len(beats.foot_s)
    wave = np.zeros(int(cuff.end_s * RATE_HZ))
    onset_s, amplitude = np.zeros(count), np.zeros(count)
    for index in range(count):
        onset_s[index] = _onset_s(person, cuff, beats, index)
        cuff_mmhg = cuff.at(onset_s[index])
        place = _place(person.voice, beats, index, cuff_mmhg)
        if place is None or kind == "no_sounds":
            continue
        loud = _loudness(person, place, cuff_mmhg)
        jitter_db = person.voice.jitter_db * rng.standard_normal()
        loud *= ratio(person.breath.loudness_db * beats.breath[index] + jitter_db)
        if beats.weak[index]:
            loud *= WEAK_GAIN
        if cuff.inflation_s < onset_s[index] < cuff.hold_s:
            loud *= INFLATION_GAIN
        amplitude[index] = loud
        start = np.ceil(onset_s[index] * RATE_HZ)
        grid = np.arange(int(SOUND_S * RATE_HZ)) + start
        shape = _shape(rng, person.voice, place, grid / RATE_HZ - onset_s[index])
        add_at(wave, start / RATE_HZ, shape, loud)
    return Sounds(
        wave=signal.sosfilt(person.ear_piece, wave),
        onset_s=onset_s,
        cuff_mmhg=cuff.at(onset_s),
        amplitude=amplitude,
    )


def _onset_s(person: Person, cuff: Cuff, beats: Beats, index: int) -> float:
    """When arterial pressure climbs through cuff pressure, as heard at the ear piece.

    Late in the upstroke near systolic, at its foot near diastolic (mechanism: classic
    papers, from memory).
    """
    foot_s, pulse = beats.foot_s[index], person.pulse
    systolic_mmhg, diastolic_mmhg = beats.systolic_mmhg[index], beats.diastolic_mmhg[index]
    opening_s = foot_s + 0.5 * pulse.upstroke_s
    for _ in range(4):
        above_mmhg = cuff.at(opening_s) - diastolic_mmhg
        share = np.clip(above_mmhg / (systolic_mmhg - diastolic_mmhg), 0, 1)
        opening_s = foot_s + np.interp(share, pulse.rise_height, pulse.rise_time_s)
    return opening_s + person.delay_s


def _place(voice: Voice, beats: Beats, index: int, cuff_mmhg: float) -> _Place | None:
    systolic_mmhg, diastolic_mmhg = beats.systolic_mmhg[index], beats.diastolic_mmhg[index]
    below_mmhg = systolic_mmhg - voice.first_below_mmhg - cuff_mmhg
    above_mmhg = cuff_mmhg - diastolic_mmhg - voice.last_above_mmhg
    if below_mmhg <= 0 or above_mmhg <= 0:
        return None
    sounding_mmhg = systolic_mmhg - diastolic_mmhg - voice.first_below_mmhg - voice.last_above_mmhg
    share = above_mmhg / max(sounding_mmhg, 5)
    return _Place(
        below_systolic_mmhg=below_mmhg,
        above_diastolic_mmhg=above_mmhg,
        share=share,
        dip=np.exp(-0.5 * ((share - voice.murmur_centre) / voice.murmur_width) ** 2),
        muffled=np.clip(1 - above_mmhg / voice.muffling_mmhg, 0, 1),
    )


def _loudness(person: Person, place: _Place, cuff_mmhg: float) -> float:
    """How loud a sound is, about 1 at the most.

    Loudest about a third of the way from diastolic to systolic (study at static cuff
    pressures), softer in the murmur phase and where muffled, next to nothing in a gap.
    """
    voice = person.voice
    least = ratio(voice.threshold_db)
    grown = 1 - np.exp(-place.below_systolic_mmhg / voice.growth_mmhg)
    loud = least + (1 - least) * grown
    loud *= 0.75 + 0.25 * np.exp(-0.5 * ((place.share - 0.35) / 0.25) ** 2)
    loud *= ratio(-voice.murmur_dip_db * place.dip)
    loud *= ratio(voice.muffling_db * place.muffled**1.2)
    if person.gap is not None:
        soft_mmhg = 0.4 * person.gap.edge_mmhg
        under = 1 / (1 + np.exp(-(person.gap.upper_mmhg - cuff_mmhg) / soft_mmhg))
        silent = under / (1 + np.exp(-(cuff_mmhg - person.gap.lower_mmhg) / soft_mmhg))
        if silent > 0.02:
            loud *= ratio(-60 * silent)
    return loud


def _shape(
    rng: np.random.Generator, voice: Voice, place: _Place, since_s: FloatArray
) -> FloatArray:
    """One sound: three decaying tones, with a murmur in the second phase.

    Low frequencies dominate where it is muffled (intra-arterial study of 13 patients); the
    second phase is longer and murmur-like (clinical study 2 on frequency analysis).
    """
    muffled = place.muffled
    corner_hz = 500 * (voice.muffled_hz / 500) ** (muffled**0.8)
    time_s = since_s[:, None]
    tone_hz = voice.tone_hz * (1 + 0.03 * rng.standard_normal(3)) * (1 - 0.2 * muffled)
    gain = voice.gain * ratio(1.0 * rng.standard_normal(3)) / (1 + (tone_hz / corner_hz) ** 2)
    glide_s = voice.glide * 0.012 * (1 - np.exp(-time_s / 0.012))
    phase_rad = 2 * np.pi * tone_hz * (time_s + glide_s) + voice.phase_rad
    tones = (gain * np.exp(-time_s / voice.decay_s) * np.sin(phase_rad)).sum(1)
    shape = tones * (1 - np.exp(-since_s / (voice.attack_s * (1 + 2 * muffled))))
    if voice.murmur_gain and place.dip > 0.1:
        length_s = rng.uniform(0.07, 0.14)
        swell = np.clip(since_s / 0.025, 0, 1)
        swell = swell * np.clip((length_s - since_s) / (0.4 * length_s), 0, 1)
        murmur = coloured(rng, len(shape), 1.0, 90, 500)
        shape = shape + voice.murmur_gain * place.dip * swell * murmur
    return shape


def draw_thump(
    rng: np.random.Generator, person: Person, beats: Beats, sounds: Sounds
) -> FloatArray:
    """The slow pulse of the artery at every beat, too low to be heard.

    It goes on above systolic and below diastolic (Blank 1988).
    """
    voice, middle_s = person.voice, 0.6 * person.pulse.upstroke_s
    thump = np.zeros(len(sounds.wave))
    half = int(0.12 * RATE_HZ)
    since_s = np.arange(-half, half) / RATE_HZ
    wave = -since_s / voice.thump_s * np.exp(0.5 - 0.5 * (since_s / voice.thump_s) ** 2)
    squeezed = 0.35 + 0.65 / (1 + np.exp((sounds.cuff_mmhg - beats.systolic_mmhg) / 6))
    for index, foot_s in enumerate(beats.foot_s):
        if sounds.cuff_mmhg[index] > 8:
            gain = squeezed[index] * (1 + 0.05 * rng.standard_normal())
            add_at(thump, foot_s + middle_s - 0.12, wave, gain)
    thump = signal.sosfilt(person.ear_piece, thump)
    level = np.median(loudest_near(thump, beats.foot_s + middle_s - 0.05)) + 1e-9
    highest = voice.thump_peak * 4 / (np.abs(thump).max() + 1e-9)
    return thump * min(ratio(voice.thump_db) / level, highest)
