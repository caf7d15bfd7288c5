"""How hard a grade is, measured: by a simulated novice's errors, and by the reading's doubt."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from scipy import signal

from tapfall.ear import take_reading
from tapfall.lesson.errors import misses
from tapfall.lesson.grades import Grade
from tapfall.lesson.making import Made, Order, make_items
from tapfall.lesson.nouns import Answer
from tapfall.model import FloatArray
from tapfall.synth import simulate
from tapfall.synth.streams import stream

#: The band in which a novice listens, and how long a sound is listened to.
BAND_HZ, SOUND_S = (40.0, 400.0), 0.06
#: A novice hears a sound that stands so far out of the noise around it, give or take so
#: much, and looks away at so many (our choice: nobody has measured it).
HEARS_DB, SCATTER_DB, LAPSES = 6.0, 3.0, 0.05
#: After so many silent beats a novice takes the sounds to be over (our choice).
OVER_AFTER = 3
#: Noise is taken from so far on either side of a beat, but not from so near.
AROUND_S, BESIDE_S = 1.5, 0.12
#: Items are drawn in sets of so many: a set covers the pressures and digits evenly.
AT_ONCE = 45
#: A value that a novice cannot give counts as so much error, mmHg (our choice).
MISSING_MMHG = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Difficulty:
    """How hard the items of a grade came out.

    ``confidence`` is the mean over items of the less sure of a reading's two values, 0 where
    it gives none; ``novice_mmhg`` the mean size of a simulated novice's error.  Each has its
    standard error over the items, None for a single one.
    """

    grade: str
    items: int
    confidence: float
    novice_mmhg: float
    confidence_error: float | None
    novice_error_mmhg: float | None


def novice_answer(made: Made, rng: np.random.Generator) -> Answer:
    """Let a simulated novice listen to an item.

    The novice writes down the dial at the first two sounds heard one after the other, and at
    the last one before a silence; a gap therefore ends the sounds.
    """
    beats = made.key.beats
    over_db = _over_noise(made.sound, made.rate_hz, np.array([beat.time_s for beat in beats]))
    heard = over_db + rng.normal(0.0, SCATTER_DB, over_db.size) >= HEARS_DB
    heard &= rng.random(heard.size) >= LAPSES
    heard &= np.array([beat.audible for beat in beats], bool)
    both = np.flatnonzero(heard[:-1] & heard[1:])
    high = low = None
    if both.size:
        first = last = int(both[0])
        for i in range(first, len(beats)):
            if heard[i]:
                last = i
            elif i - last >= OVER_AFTER:
                break
        high, low = (2.0 * round((beats[i].mmhg + made.key.offset_mmhg) / 2) for i in (first, last))
    return Answer(
        item=made.item.name, systolic_mmhg=high, diastolic_mmhg=low, marks_s=(), replays=0
    )


def difficulty(grade: Grade, count: int, seed: int) -> Difficulty:
    """Make items of a grade, read them, and let a novice listen to them.

    Parameters
    ----------
    grade, count, seed
        As for :class:`tapfall.lesson.making.Order`; more than one set of items has seeds that
        follow.
    """
    rng = stream(seed, "lesson", "novice", grade.name)
    sure, errors = [], []
    sizes = [min(AT_ONCE, count - done) for done in range(0, count, AT_ONCE)]
    orders = [Order(grade=grade, count=size, seed=seed + n) for n, size in enumerate(sizes)]
    for made in itertools.chain.from_iterable(make_items(order) for order in orders):
        reading = take_reading(simulate(made.scenario).recording)
        values = (reading.systolic.confidence, reading.diastolic.confidence)
        sure.append(min(0.0 if one is None else one for one in values))
        both = [
            MISSING_MMHG if one.error_mmhg is None else abs(one.error_mmhg)
            for one in misses(made.key, novice_answer(made, rng))
        ]
        errors.append(float(np.mean(both)))
    return Difficulty(
        grade=grade.name,
        items=count,
        confidence=float(np.mean(sure)),
        novice_mmhg=float(np.mean(errors)),
        confidence_error=_standard_error(sure),
        novice_error_mmhg=_standard_error(errors),
    )


def _standard_error(values: list[float]) -> float | None:
    if len(values) < 2:
        return None
    return float(np.std(values, ddof=1) / np.sqrt(len(values)))


def _over_noise(samples: np.ndarray, rate_hz: float, beat_s: FloatArray) -> FloatArray:
    """Level of each beat's sound over the noise around it, dB."""
    band = signal.butter(4, BAND_HZ, "bandpass", fs=rate_hz, output="sos")
    power = signal.sosfilt(band, np.asarray(samples, np.float64)) ** 2
    size = round(SOUND_S * rate_hz)
    total = np.concatenate([[0.0], np.cumsum(power)])
    level = (total[size:] - total[:-size]) / size
    hop = level[:: size // 2]
    hop_s = np.arange(hop.size) * (size // 2) / rate_hz
    at = np.clip(np.rint(beat_s * rate_hz).astype(int), 0, level.size - 1)
    over = np.empty(beat_s.size)
    for n, (time_s, index) in enumerate(zip(beat_s.tolist(), at.tolist(), strict=True)):
        near = np.abs(hop_s - time_s) <= AROUND_S
        beside = (np.abs(hop_s[:, None] - beat_s[None, :]) > BESIDE_S).all(axis=1)
        noise = float(np.median(hop[near & beside])) if (near & beside).any() else 0.0
        over[n] = 10 * np.log10((level[index] + 1e-15) / (noise + 1e-15))
    return over
