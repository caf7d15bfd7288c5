"""What the ear piece picks up besides the artery, at 4 kHz and on any scale.

Ranges are our choice; the character of each source is from memory unless a source
stands beside it.
"""

from __future__ import annotations

import numpy as np
from scipy import signal

from tests.second import files
from tests.second.cuff import STEP_S, Cuff
from tests.second.heart import Beats
from tests.second.person import Person
from tests.second.waves import RATE_HZ, FloatArray, add_at, band_rms, coloured, ratio, slow_curve

#: What a recording without sounds may hold, drawn evenly; heart sounds deceive most.
WITHOUT_SOUNDS = (
    *("pink_6db", "breath_6db", "hum_6db", "speech_4db", "friction_4db"),
    *("heart_8db", "heart_8db", "heart_8db", "room", "room"),
)


def draw_noise(
    rng: np.random.Generator, kind: str, person: Person, cuff: Cuff, beats: Beats, count: int
) -> tuple[FloatArray | None, FloatArray]:
    """The noise that names the kind, if any, and the background that all kinds have."""
    room = _room(rng, count)
    time_s = np.arange(count) / RATE_HZ
    rate_s = np.arange(len(cuff.rate_mmhg_per_s)) * STEP_S + cuff.deflation_s
    flow = np.interp(time_s, rate_s, cuff.rate_mmhg_per_s, 0, 0)
    hiss = coloured(rng, count, -0.3, 60) * flow / 2.5
    background = room + rng.uniform(0, 0.5) * hiss
    heart = None
    if rng.random() < 0.3:
        heart = signal.sosfilt(person.ear_piece, _heart(rng, beats, count))
    background = signal.sosfilt(person.ear_piece, background)
    background /= band_rms(background)
    if heart is not None:
        background = background + rng.uniform(0.1, 0.5) * heart / band_rms(heart)
    if kind == "no_sounds":
        kind = str(rng.choice(WITHOUT_SOUNDS))
    return _named(rng, kind, person, beats, count), background


def _named(
    rng: np.random.Generator, kind: str, person: Person, beats: Beats, count: int
) -> FloatArray | None:
    if kind == "hum_6db":
        return _hum(rng, count)
    if kind == "pink_6db":
        noise = coloured(rng, count, 1.0)
    elif kind == "breath_6db":
        noise = _breath(rng, person, count)
    elif kind == "speech_4db":
        noise = _speech(rng, count)
    elif kind == "friction_4db":
        noise = _friction(rng, count)
    elif kind == "heart_8db":
        noise = _heart(rng, beats, count)
    else:
        return None
    return signal.sosfilt(person.ear_piece, noise)


def _room(rng: np.random.Generator, count: int) -> FloatArray:
    """Steady noise of a room, real hiss in three of ten; its level wanders."""
    if rng.random() < 0.3 and files.there(files.HISS):
        hiss = files.sound(files.HISS)
        start = rng.integers(0, len(hiss))
        hiss = np.clip(hiss, -3.5, 3.5)  # its loud crackles are not a room's
        looped = np.resize(np.roll(hiss, start), count)
        noise = looped / hiss.std() + 0.7 * coloured(rng, count, rng.uniform(0.5, 1.5))
    else:
        exponent, high_hz = rng.uniform(0.3, 1.6), rng.uniform(400, 1800)
        noise = coloured(rng, count, exponent, high_hz=high_hz)
    return noise * ratio(rng.uniform(0, 2) * slow_curve(rng, count, 4))


def _breath(rng: np.random.Generator, person: Person, count: int) -> FloatArray:
    """Breath sounds, 100-1,000 Hz: in, then out more softly."""
    cycles = person.breath.rate_hz * (np.arange(count) / RATE_HZ)
    wander = 0.1 * slow_curve(rng, count, 6)
    phase = (cycles + person.breath.phase_rad / (2 * np.pi) + wander) % 1
    inward = np.sin(np.pi * np.minimum(phase / 0.4, 1)).clip(0) ** 1.5
    outward = np.sin(np.pi * np.clip((phase - 0.45) / 0.4, 0, 1)) ** 2
    envelope = np.where(phase < 0.4, inward, rng.uniform(0.3, 0.8) * outward) + 0.05
    band_hz = [rng.uniform(60, 130), rng.uniform(400, 900)]
    band = signal.butter(2, band_hz, "bandpass", fs=RATE_HZ, output="sos")
    return signal.sosfilt(band, rng.standard_normal(count)) * envelope


def _hum(rng: np.random.Generator, count: int) -> FloatArray:
    """Mains hum: 50 or 60 Hz and six harmonics, inside the band of the sounds."""
    time_s = np.arange(count) / RATE_HZ
    mains_hz = rng.choice([50, 60]) * (1 + rng.uniform(-0.001, 0.001))
    hum = np.zeros(count)
    for order in range(1, 8):
        gain = 1.0
        if order > 1:
            gain = rng.uniform(0.05, 0.7) / order * (1.5 if order % 2 else 0.8)
        phase_rad = 2 * np.pi * mains_hz * order * time_s + rng.uniform(0, 6.3)
        hum += gain * np.sin(phase_rad + 0.1 * order * slow_curve(rng, count, 8))
    return hum * (1 + 0.15 * slow_curve(rng, count, 6))


def _speech(rng: np.random.Generator, count: int) -> FloatArray:
    """One or two people reading aloud beside the arm, in pieces of seconds."""
    track = np.zeros(count)
    at = int(rng.uniform(0, 0.5) * RATE_HZ)
    voices = rng.permutation(len(files.SPEECH))[: int(rng.integers(1, 3))]
    speed = rng.uniform(0.9, 1.12)
    while at < count:
        name = files.SPEECH[voices[rng.integers(len(voices))]]
        spoken = files.sound(name) if files.there(name) else _murmuring(rng)
        size = int(len(spoken) / speed)
        place = np.linspace(0, len(spoken) - 1, size)
        spoken = np.interp(place, np.arange(len(spoken)), spoken) * ratio(rng.uniform(-3, 3))
        start = rng.integers(0, size // 2)
        spoken = spoken[start : start + int(rng.uniform(2, 6) * RATE_HZ)]
        spoken = spoken * signal.windows.tukey(len(spoken), 0.05)
        end = min(count, at + len(spoken))
        track[at:end] += spoken[: end - at]
        at = end + int(rng.exponential(1.2) * RATE_HZ)
    wall = signal.butter(1, rng.uniform(200, 900), fs=RATE_HZ, output="sos")
    return signal.sosfilt(wall, track)


def _murmuring(rng: np.random.Generator) -> FloatArray:
    """Twelve seconds of syllables without words."""
    count = 12 * RATE_HZ
    syllables = slow_curve(rng, count, 0.12).clip(0) * slow_curve(rng, count, 0.8).clip(0)
    voice = coloured(rng, count, 1.2, 120, 1500) * syllables
    return voice / np.sqrt(np.mean(voice**2))


def _friction(rng: np.random.Generator, count: int) -> FloatArray:
    """Rubbing, knocks at the tube, and cloth that sticks and slips: bursts at any time."""
    track = np.zeros(count)
    at_s = rng.uniform(0, 2)
    while at_s < count / RATE_HZ:
        which = rng.random()
        if which < 0.25 and files.there(files.RUB):
            rub, size = files.sound(files.RUB), int(rng.uniform(0.2, 1.2) * RATE_HZ)
            start = rng.integers(0, len(rub) - size)
            burst = rub[start : start + size] * signal.windows.tukey(size, 0.4)
        elif which < 0.45 and files.there(*files.KNOCKS):
            knock = files.sound(files.KNOCKS[rng.integers(len(files.KNOCKS))])
            burst = knock[: int(0.5 * RATE_HZ)] * 0.9
        else:
            burst = _cloth(rng)
        add_at(track, at_s, burst, ratio(rng.normal(0, 4)))
        at_s += rng.exponential(1.1) + 0.1
    return track


def _cloth(rng: np.random.Generator) -> FloatArray:
    size = int(rng.uniform(0.08, 1.0) * RATE_HZ)
    swell = np.sin(np.pi * np.linspace(0, 1, size)) ** rng.uniform(0.4, 1.5)
    swell = swell * np.exp(0.6 * slow_curve(rng, size, 0.03))
    band_hz = [rng.uniform(40, 120), rng.uniform(300, 1200)]
    band = signal.butter(1, band_hz, "bandpass", fs=RATE_HZ, output="sos")
    return signal.sosfilt(band, rng.standard_normal(size)) * swell * 2


def _heart(rng: np.random.Generator, beats: Beats, count: int) -> FloatArray:
    """Heart sounds conducted to the arm, 20-150 Hz, softened by a slope of 6 dB per octave.

    Six of ten are cut from real chest recordings; the others are made.
    """
    track = np.zeros(count)
    before_s = rng.uniform(0.10, 0.18)  # first sound before the foot at the arm
    pool, base = None, 0
    if rng.random() < 0.6 and files.there(*files.CHEST_FILES):
        pool = files.heart_sounds()
        base = rng.integers(len(pool))
    first_hz, second_hz = rng.uniform(28, 50), rng.uniform(40, 70)
    made = _made_heart(first_hz, second_hz, rng.uniform(0.3, 1.1))
    for index, foot_s in enumerate(beats.foot_s):
        interval_s = beats.interval_s[max(index - 1, 0)]
        second_s = foot_s - before_s + np.clip(0.2 + 0.13 * interval_s, 0.2, 0.42)
        gain = ratio(rng.normal(0, 1)) * (1 + 0.15 * beats.breath[index])
        first, second = made
        if pool is not None:
            first, second = pool[(base + rng.integers(0, 3)) % len(pool)]
        add_at(track, foot_s - before_s, first, gain)
        add_at(track, second_s, second, gain)
    tissue = signal.butter(1, rng.uniform(90, 220), fs=RATE_HZ, output="sos")
    return signal.sosfilt(tissue, track)


def _made_heart(
    first_hz: float, second_hz: float, second_gain: float
) -> tuple[FloatArray, FloatArray]:
    time_s = np.arange(int(0.15 * RATE_HZ)) / RATE_HZ

    def burst(middle_s: float, width_s: float, phase_rad: FloatArray) -> FloatArray:
        return np.exp(-0.5 * ((time_s - middle_s) / width_s) ** 2) * np.sin(phase_rad)

    valve_rad = 2 * np.pi * 1.7 * first_hz * time_s + 1
    first = burst(0.05, 0.018, 2 * np.pi * first_hz * time_s)
    first = first + 0.5 * burst(0.075, 0.012, valve_rad)
    return first, second_gain * burst(0.04, 0.012, 2 * np.pi * second_hz * time_s)


def draw_machine(rng: np.random.Generator, person: Person, cuff: Cuff, count: int) -> FloatArray:
    """Noise of bulb or pump, valve and release, outside the deflation but for a click."""
    track = _bulb(rng, cuff, count) if cuff.strokes else _pump(rng, cuff, count)
    track *= ratio(rng.uniform(-12, 6))
    since_s = np.arange(count) / RATE_HZ - cuff.release_s
    rush = (since_s > 0) * np.exp(-np.maximum(since_s, 0) / 0.5) * np.clip(since_s / 0.02, 0, 1)
    track += ratio(rng.uniform(-8, 10)) * rush * coloured(rng, count, -0.2, 50)
    if rng.random() < 0.6:
        time_s = np.arange(int(0.08 * RATE_HZ)) / RATE_HZ
        click = np.exp(-time_s / 0.01) * np.sin(2 * np.pi * 150 * time_s)
        add_at(track, cuff.deflation_s, click, rng.uniform(0.1, 0.5))
    return signal.sosfilt(person.ear_piece, track)


def _bulb(rng: np.random.Generator, cuff: Cuff, count: int) -> FloatArray:
    track = np.zeros(count)
    time_s = np.arange(int(0.05 * RATE_HZ)) / RATE_HZ
    for start_s, length_s in cuff.strokes:
        size = int((length_s + 0.1) * RATE_HZ)
        swell = np.sin(np.pi * np.linspace(0, 1, size)) ** 2
        add_at(track, start_s, coloured(rng, size, 0.7, 40, 900) * swell * rng.uniform(0.5, 1))
        tone = np.sin(2 * np.pi * rng.uniform(120, 400) * time_s)
        add_at(track, start_s + length_s, np.exp(-time_s / 0.006) * tone, 1.5)
    return track


def _pump(rng: np.random.Generator, cuff: Cuff, count: int) -> FloatArray:
    """A motor that slows down as the pressure rises."""
    time_s = np.arange(count) / RATE_HZ
    running = (time_s > cuff.inflation_s) & (time_s < cuff.hold_s)
    way = (time_s - cuff.inflation_s) / (cuff.hold_s - cuff.inflation_s)
    turn_hz = rng.uniform(35, 95) * (1 - 0.15 * np.clip(way, 0, 1))
    turn_rad = 2 * np.pi * np.cumsum(turn_hz) / RATE_HZ
    tones = np.zeros(count)
    for order in range(1, 6):
        gain = rng.uniform(0.2, 1) / order
        tones += gain * np.sin(order * turn_rad + rng.uniform(0, 6))
    return running * (tones + 0.4 * coloured(rng, count, 0.5))
