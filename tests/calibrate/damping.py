"""How late the pulses of a damped log are marked: logs of many waves, and the fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any
from unittest import mock

import numpy as np
from scipy.optimize import minimize

from tapfall.ear.network import CLIP_SD
from tapfall.synth import log as synth_log
from tapfall.synth.streams import stream
from tests.calibrate.gather import logged, widened_log
from tests.calibrate.waves import draw_upstroke_s, draw_wave

#: Share of manometers that lag, and their time constants: drawn evenly over the logarithm.
DAMPED, DAMPING_S = 0.3, (0.05, 1.0)
#: Share of logs with waves of the wider family, and of these with another upstroke.
OTHER_WAVES, OTHER_UPSTROKES = 0.75, 0.7
#: Logs whose marks scatter more than this about their own median teach nothing.
MOST_SCATTER_S = 0.06
#: The network: units, penalty on squared weights, and the error from which on it counts in
#: proportion, not squared.
UNITS, RIDGE, HUBER_S = 24, 1.0, 0.02


def marked(case: tuple[str, int], wide: bool) -> dict[str, Any] | None:
    """The shape that the pulses of a log share, and how late their marks come; no sound."""
    from tapfall.ear.damping import shared_wave
    from tapfall.ear.pulses import mark_pulses
    from tapfall.synth.artery import pulse_train
    from tests.accuracy.groups import draw

    group, seed = case
    scenario = draw(group, seed)
    if wide and seed % 3:
        scenario = widened_log(scenario, seed)
    person, cuff = scenario.person, scenario.cuff
    if cuff.pulse_mmhg == 0:
        return None
    rng, train, half = stream(seed, f"waves of {group}"), pulse_train, 0.5
    if rng.random() < DAMPED:
        damping_s = round(float(np.exp(rng.uniform(*np.log(DAMPING_S)))), 3)
        cuff = replace(cuff, damping_s=damping_s)
    if wide and rng.random() < OTHER_WAVES:
        wave = draw_wave(rng)
        train, half = wave.train, wave.half
        if rng.random() < OTHER_UPSTROKES:
            person = replace(person, upstroke_s=draw_upstroke_s(rng, person))
    with mock.patch.object(synth_log, "pulse_train", train):
        found = logged(person, cuff, scenario.seed)
    if found is None:
        return None
    beats, deflation, laid = found
    pulses = mark_pulses(laid, deflation.log_rate_hz)
    if not pulses.usable:
        return None
    mark_s = pulses.time_s[pulses.seen]
    rise_s = beats.foot_s + cuff.pulse_offset_s + half * person.upstroke_s
    rise_s = rise_s * (1 + cuff.drift_ppm * 1e-6) + cuff.lag_s
    late_s = mark_s - rise_s[np.abs(mark_s[:, None] - rise_s).argmin(axis=1)]
    middle_s = float(np.median(late_s))
    return {
        "wave": shared_wave(laid, mark_s),
        "late_s": middle_s,
        "scatter_s": float(np.quantile(np.abs(late_s - middle_s), 0.7)),
        "damping_s": cuff.damping_s,
    }


def fit_damping(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """A network of one hidden layer from the shared wave to how late the marks come, in seconds.

    By L-BFGS on Huber's loss.
    """
    known = [row for row in rows if row["scatter_s"] < MOST_SCATTER_S]
    waves = np.array([row["wave"] for row in known])
    late = np.array([row["late_s"] for row in known]) / HUBER_S
    mean, spread = waves.mean(axis=0), waves.std(axis=0) + 1e-3
    z = np.clip((waves - mean) / spread, -CLIP_SD, CLIP_SD)
    m = z.shape[1]
    cuts = np.cumsum([m * UNITS, UNITS, UNITS])

    def loss(x: np.ndarray) -> tuple[float, np.ndarray]:
        hidden, bias, out = x[: cuts[0]].reshape(m, UNITS), x[cuts[0] : cuts[1]], x[cuts[1] : -1]
        unit = np.tanh(z @ hidden + bias)
        error = unit @ out + x[-1] - late
        small = np.abs(error) < 1
        miss = np.clip(error, -1, 1)
        value = float(np.sum(np.where(small, 0.5 * error**2, np.abs(error) - 0.5)))
        value += 0.5 * RIDGE * float(np.sum(hidden**2) + np.sum(out**2))
        back = np.outer(miss, out) * (1 - unit**2)
        slope = [
            (z.T @ back + RIDGE * hidden).ravel(),
            back.sum(axis=0),
            unit.T @ miss + RIDGE * out,
            [miss.sum()],
        ]
        return value, np.concatenate(slope)

    rng = np.random.Generator(np.random.PCG64(0))
    start = [rng.normal(0, m**-0.5, m * UNITS), np.zeros(UNITS), rng.normal(0, 0.2, UNITS), [0.0]]
    limits = {"maxiter": 600, "maxfun": 1200}
    found = minimize(loss, np.concatenate(start), jac=True, method="L-BFGS-B", options=limits)
    x = np.asarray(found.x)
    return {
        "mean": mean,
        "spread": spread,
        "hidden": x[: cuts[0]].reshape(m, UNITS),
        "bias": x[cuts[0] : cuts[1]],
        "out": x[cuts[1] : -1] * HUBER_S,
        "offset": float(x[-1]) * HUBER_S,
    }
