"""The cuff: rest, inflation, hold, deflation by hand, release."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import signal

from tests.second.person import Person
from tests.second.waves import FloatArray, slow_curve

#: Step of the pressure's grid.
STEP_S = 0.01
#: Longest deflation that is drawn.
LONGEST_S = 200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Cuff:
    """Smooth cuff pressure every 10 ms, and the instants of its parts.

    ``strokes`` are (start, length) in seconds of the squeezes of a bulb, empty for a
    pump; ``rate_mmhg_per_s`` is the fall over the deflation alone.
    """

    pressure_mmhg: FloatArray
    inflation_s: float
    hold_s: float
    deflation_s: float
    release_s: float
    end_s: float
    strokes: tuple[tuple[float, float], ...]
    rate_mmhg_per_s: FloatArray

    @property
    def time_s(self) -> FloatArray:
        """The grid."""
        return np.arange(len(self.pressure_mmhg)) * STEP_S

    def at(self, time_s: Any) -> Any:
        """Pressure in mmHg at one time or many."""
        return np.interp(time_s, self.time_s, self.pressure_mmhg)


def draw_cuff(rng: np.random.Generator, kind: str, person: Person) -> Cuff:
    """Draw how the cuff is worked.

    Inflated 18-40 mmHg over systolic (20-40: general reference), let down at 2-3 mmHg/s
    (AHA 2005, from memory; ``fast``: 5-7) to 14-28 below diastolic (10-20: teaching page).
    How bulb, pump and valve are worked is our choice.
    """
    top_mmhg, bottom_mmhg = _ends(rng, kind, person)
    rest_mmhg = rng.uniform(0.0, 2.0)
    parts = [np.full(int(rng.uniform(2.5, 6) / STEP_S), rest_mmhg)]
    inflation_s = _length_s(parts)
    strokes: list[tuple[float, float]] = []
    if rng.random() < 0.6:
        _squeeze(rng, parts, strokes, rest_mmhg, top_mmhg)
    else:
        speed_mmhg_per_s = rng.uniform(14, 32)
        way = np.linspace(0, 1, int((top_mmhg - rest_mmhg) / speed_mmhg_per_s / STEP_S))
        bend = rng.uniform(-0.12, 0.12) * np.sin(np.pi * way)
        parts.append(rest_mmhg + (top_mmhg - rest_mmhg) * (way + bend))
    hold_s = _length_s(parts)
    wait_s = rng.uniform(0.4, 2.5)
    if kind in ("fast", "into_gap"):
        wait_s = rng.uniform(1.0, 3.0)
    leak_mmhg_per_s = rng.uniform(0, 0.3)
    parts.append(parts[-1][-1] - leak_mmhg_per_s * np.arange(int(wait_s / STEP_S)) * STEP_S)
    deflation_s = _length_s(parts)
    rate_mmhg_per_s = _rate_mmhg_per_s(rng, kind)
    fall_mmhg = parts[-1][-1] - np.cumsum(rate_mmhg_per_s) * STEP_S
    if kind != "diastolic_not_reached":  # at least six beats below, also in a quick fall
        beats_mmhg = rate_mmhg_per_s.mean() * 6.5 * 60 / person.heart_rate_per_min
        bottom_mmhg = min(bottom_mmhg, person.diastolic_mmhg - beats_mmhg)
    end = int(np.argmax(fall_mmhg <= bottom_mmhg))
    parts.append(np.maximum(fall_mmhg[:end], 12.0))
    release_s = _length_s(parts)
    parts.append(_release_mmhg(rng, parts[-1][-1]))
    # corners of tube and bladder: 60 ms of smoothing, symmetric so that nothing is delayed
    kernel = signal.windows.hann(13)
    whole = np.pad(np.concatenate(parts), 6, mode="edge")
    pressure_mmhg = np.convolve(whole, kernel / kernel.sum(), "valid")
    return Cuff(
        pressure_mmhg=pressure_mmhg,
        inflation_s=inflation_s,
        hold_s=hold_s,
        deflation_s=deflation_s,
        release_s=release_s,
        end_s=len(pressure_mmhg) * STEP_S,
        strokes=tuple(strokes),
        rate_mmhg_per_s=rate_mmhg_per_s[:end],
    )


def _length_s(parts: list[FloatArray]) -> float:
    return sum(map(len, parts)) * STEP_S


def _ends(rng: np.random.Generator, kind: str, person: Person) -> tuple[float, float]:
    """Pressures that the deflation starts and ends at."""
    voice = person.voice
    systolic_mmhg, diastolic_mmhg = person.systolic_mmhg, person.diastolic_mmhg
    top_mmhg = systolic_mmhg + rng.uniform(18, 40)
    bottom_mmhg = diastolic_mmhg - rng.uniform(14, 28)
    if kind == "systolic_not_reached":
        top_mmhg = (
            systolic_mmhg
            - voice.first_below_mmhg
            - rng.uniform(0.25, 0.5) * (systolic_mmhg - diastolic_mmhg)
        )
    if kind == "far_above":  # our choice: whoever never asks for the last reading pumps so far
        top_mmhg = min(systolic_mmhg + rng.uniform(50, 140), 295.0)
    if kind == "into_gap":
        assert person.gap is not None
        gap_mmhg = person.gap.upper_mmhg - person.gap.lower_mmhg
        top_mmhg = person.gap.lower_mmhg + rng.uniform(5, min(18, gap_mmhg - 2.5))
    if kind == "diastolic_not_reached":
        bottom_mmhg = (
            diastolic_mmhg
            + voice.last_above_mmhg
            + voice.muffling_mmhg
            + rng.uniform(2, 0.35 * (systolic_mmhg - diastolic_mmhg))
        )
    return top_mmhg, bottom_mmhg


def _squeeze(
    rng: np.random.Generator,
    parts: list[FloatArray],
    strokes: list[tuple[float, float]],
    rest_mmhg: float,
    top_mmhg: float,
) -> None:
    """Append the strokes of a bulb, 10-24 mmHg each, each with a little overshoot."""
    now_mmhg = rest_mmhg
    while now_mmhg < top_mmhg - 0.5:
        stroke_mmhg = min(rng.uniform(10, 24), top_mmhg - now_mmhg)
        if top_mmhg - now_mmhg - stroke_mmhg < 5:
            stroke_mmhg = top_mmhg - now_mmhg
        rise, wait = int(rng.uniform(0.22, 0.4) / STEP_S), int(rng.uniform(0.12, 0.35) / STEP_S)
        last = abs(now_mmhg + stroke_mmhg - top_mmhg) < 0.5
        over_mmhg = stroke_mmhg * rng.uniform(0, 0.12)
        way = np.linspace(0, 1, rise)
        strokes.append((_length_s(parts), rise * STEP_S))
        parts.append(now_mmhg + (stroke_mmhg + over_mmhg) * way * way * (3 - 2 * way))
        parts.append(now_mmhg + stroke_mmhg + over_mmhg * np.exp(-np.arange(wait) / 6.0))
        now_mmhg = now_mmhg + stroke_mmhg
        if last:
            break


def _rate_mmhg_per_s(rng: np.random.Generator, kind: str) -> FloatArray:
    """How fast the pressure falls: a valve that wanders, and a hand that corrects it."""
    wanted = rng.uniform(5, 7) if kind == "fast" else rng.uniform(2.0, 3.0)
    count = int(LONGEST_S / STEP_S)
    size = rng.uniform(0.04, 0.14)
    wander = 1 + size * slow_curve(rng, count, rng.uniform(1.5, 5), STEP_S)
    for _ in range(int(rng.integers(0, 4))):
        start = int(rng.uniform(3, 60) / STEP_S)
        wander[start:] *= rng.uniform(0.88, 1.13)
    opening = 1 - np.exp(-np.arange(count) * STEP_S / rng.uniform(0.15, 0.5))
    slowing = 1 + rng.uniform(0, 0.25) * np.linspace(0.5, -1.5, count)
    return np.clip(wanted * wander * slowing, 0.75 * wanted, 1.25 * wanted) * opening


def _release_mmhg(rng: np.random.Generator, start_mmhg: float) -> FloatArray:
    fall_s, count = rng.uniform(0.3, 0.7), int(rng.uniform(6, 8) / STEP_S)
    rest_mmhg = rng.uniform(0, 1.5)
    since_s = np.maximum(np.arange(count) * STEP_S - 0.1, 0)
    return rest_mmhg + (start_mmhg - rest_mmhg) * np.exp(-since_s / fall_s)
