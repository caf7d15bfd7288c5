"""The evidence of a sound at each expected beat.

A window of whitened sound is split into its energy in the template's subspace
and the rest.  Noise has several loudness states (steady, bursts, speech), each
more or less like the sound itself, with shares learned between the beats of
this recording.  A sound of level L adds to the subspace and, by a learned
share, to the rest.  The result is a table of log-likelihood ratios: beats by
levels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from tapfall.ear.template import FOLDS, LEAD_S, RANK, Template, cut
from tapfall.ear.whiten import White
from tapfall.model import FloatArray

#: Steps of the delay over which evidence is averaged.
DELAY_STEP_S = 0.006
#: Levels below the loudest sounds (28 dB between people and beats: Celler 2017).
LEVEL_STEP_DB, LEVELS = 3.0, 11
#: Noise states: loudness against the local floor, and likeness to the sound.
LOUDNESS = 2.0 ** np.array([-1, 0, 1, 2, 3, 4, 6, 8, 10, 12])
LIKENESS = np.array([0.5, 1.0, 2.0, 4.0, 8.0, 16.0])
#: Strength of the prior over noise states, in windows (tuned).
PRIOR_WINDOWS = 12.0
#: Noise windows looked at, at most, and their hop.
MOST_NOISE_WINDOWS, NOISE_HOP_S = 700, 0.02
#: A sound weaker than this share of the noise in its window is not audible in it
#: (masking; truth asks for equal levels over 60 ms; margin tuned).
LEAST_AGAINST_NOISE = 0.2
#: Nor one weaker than the heart sound that comes at the same place (tuned).
LEAST_AGAINST_FIXED = 1.5
#: Noise is never quite steady: its energy scatters as if it had fewer values (tuned).
MOST_DOF = 12.0
#: Spread of a sound's energy within one level (half a step each way, and variation).
LEVEL_SPREAD, REST_SPREAD = 0.45, 0.8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Noise:
    """Noise of one recording: local floor and shares of its states.

    ``time_s``, ``floor`` give the median rest energy per degree of freedom
    over time; ``loudness``, ``likeness``, ``log_share`` the states kept.
    """

    time_s: FloatArray
    floor: FloatArray
    loudness: FloatArray
    likeness: FloatArray
    log_share: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """Evidence at each beat.

    ``log_ratio`` has shape ``(n, LEVELS)``: log likelihood of a sound at each
    level (loudest first) over that of no sound.  ``delay_s`` is the most
    likely delay, ``own`` and ``rest`` the energies there per degree of
    freedom, ``floor`` the noise there.
    """

    log_ratio: FloatArray
    delay_s: FloatArray
    own: FloatArray
    rest: FloatArray
    floor: FloatArray


def _gamma_log_density(value: FloatArray, mean: FloatArray, variance: FloatArray) -> FloatArray:
    """Log density of a gamma variable given mean and variance."""
    shape = mean * mean / variance
    rate = mean / variance
    return np.asarray(
        shape * np.log(rate) - special.gammaln(shape) + (shape - 1) * np.log(value) - rate * value
    )


def _log_density(
    own: FloatArray,
    rest: FloatArray,
    floor: FloatArray,
    noise: FloatArray,
    power: FloatArray,
    rest_share: float,
    dof: float,
) -> FloatArray:
    """Log density of subspace and rest energy under noise plus a sound of ``power``.

    ``floor`` is the noise per value of the rest, ``noise`` that of the subspace.
    """
    own_density = _gamma_log_density(
        own,
        RANK * noise + power,
        2 * RANK * noise**2 + 4 * noise * power + (LEVEL_SPREAD * power) ** 2,
    )
    added = rest_share * power
    scatter = dof / min(dof, MOST_DOF)
    rest_density = _gamma_log_density(
        rest,
        dof * floor + added,
        2 * scatter * dof * floor**2 + 4 * scatter * floor * added + (REST_SPREAD * added) ** 2,
    )
    return own_density + rest_density


def split_energy(
    windows: FloatArray, basis: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Energy inside and outside a subspace; windows ``(..., w)``, basis ``(RANK, w)``."""
    inside = np.sum((windows @ basis.T) ** 2, axis=-1)
    whole = np.einsum("...w,...w->...", windows, windows)
    return inside + 1e-9, np.maximum(whole - inside, 1e-9)


def learn_noise(white: White, template: Template, busy_s: FloatArray, span_s: tuple[float, float]) -> Noise:
    """Learn what noise between the beats looks like.

    Parameters
    ----------
    white
        Whitened sound.
    template
        The recording's own sound.
    busy_s
        Starts of windows that may hold a sound, audio time, shape ``(n,)``.
    span_s
        Audio times of the deflation.

    Returns
    -------
    Noise
        Floor over time and shares of noise states.
    """
    width_s = white.window / white.rate_hz
    hop_s = max(NOISE_HOP_S, (span_s[1] - span_s[0]) / (3 * MOST_NOISE_WINDOWS))
    starts = np.arange(span_s[0], span_s[1] - width_s, hop_s)
    busy = np.sort(busy_s)
    after = np.searchsorted(busy, starts)
    to_next = np.where(after < busy.size, busy[np.minimum(after, busy.size - 1)], np.inf) - starts
    since = starts - np.where(after > 0, busy[np.maximum(after - 1, 0)], -np.inf)
    free = (to_next > width_s + 0.01) & (since > width_s + 0.03)
    if free.sum() < 40:
        free = (to_next > 0.5 * width_s) & (since > 0.7 * width_s)
    if free.sum() < 40:
        free = np.ones(starts.size, bool)
    starts = starts[free]
    if starts.size > MOST_NOISE_WINDOWS:
        starts = starts[:: starts.size // MOST_NOISE_WINDOWS + 1]
    own, rest = split_energy(cut(white, starts, white.window), template.basis[FOLDS])
    dof = max(white.dof - RANK, 4.0)
    level = rest / dof
    # Local floor: median within about a second, so that a steady change of noise follows.
    near = np.abs(starts[:, None] - starts[None, :]) <= 1.2
    floor = np.array([np.median(level[row]) for row in near])
    floor = np.maximum(floor, 0.5 * float(np.median(level)))
    loudness, likeness = (a.ravel() for a in np.meshgrid(LOUDNESS, LIKENESS, indexing="ij"))
    prior = np.exp(-0.9 * np.abs(np.log2(loudness)) - 0.9 * np.abs(np.log2(likeness)))
    prior /= prior.sum()
    density = _log_density(
        own[:, None],
        rest[:, None],
        floor[:, None] * loudness,
        floor[:, None] * loudness * likeness,
        np.zeros(1),
        0.0,
        dof,
    )
    density -= density.max(axis=1, keepdims=True)
    weight = np.exp(density)
    share = prior.copy()
    for _ in range(12):
        member = weight * share
        member /= member.sum(axis=1, keepdims=True)
        share = member.sum(axis=0) + PRIOR_WINDOWS * prior
        share /= share.sum()
    # Loud states stay possible even where none was met between the beats.
    share = np.maximum(share, 0.0005 * (likeness >= 1) * (likeness <= 4))
    keep = share >= 0.0005
    share = share[keep] / share[keep].sum()
    return Noise(
        time_s=starts,
        floor=floor,
        loudness=loudness[keep],
        likeness=likeness[keep],
        log_share=np.log(share),
    )


def weigh_beats(
    white: White,
    template: Template,
    noise: Noise,
    reference_s: FloatArray,
    delay_s: FloatArray,
    spread_s: FloatArray,
    loud_power: float,
    rest_share: float,
    fixed: tuple[FloatArray, FloatArray],
) -> Evidence:
    """Weigh each beat: sound of some level, or none.

    Parameters
    ----------
    white, template, noise
        Sound, waveforms and noise of the recording.
    reference_s
        Reference time of each beat, audio time, shape ``(n,)``.
    delay_s, spread_s
        Expected delay of the sound and its standard deviation, shape ``(n,)``.
    loud_power
        Subspace energy of the loudest sounds.
    rest_share
        Energy that a sound puts outside the subspace, per unit inside.
    fixed
        Noise that comes with every beat (heart sounds), inside and outside the
        subspace per value, each of shape ``(n, k)`` on :func:`delay_grid`.

    Returns
    -------
    Evidence
        Table of log ratios and what was found at the likeliest delay.
    """
    grid = delay_grid(spread_s)
    delays = delay_s[:, None] + grid[None, :]
    windows = cut(white, reference_s[:, None] + delays - LEAD_S, white.window)
    inside = np.einsum("nkw,nrw->nkr", windows, template.basis[template.fold])
    own = np.sum(inside**2, axis=2) + 1e-9
    rest = np.maximum(np.einsum("nkw,nkw->nk", windows, windows) - own, 1e-9)
    dof = max(white.dof - RANK, 4.0)
    floor = np.interp(reference_s + delay_s, noise.time_s, noise.floor)
    log_prior = -0.5 * (grid[None, :] / spread_s[:, None]) ** 2
    log_prior -= special.logsumexp(log_prior, axis=1, keepdims=True)
    reach = log_prior > log_prior.max(axis=1, keepdims=True) - 8.0
    own_fixed, rest_fixed = fixed
    local = floor[:, None] + rest_fixed
    state_floor = floor[:, None, None] * noise.loudness + rest_fixed[:, :, None]
    state_noise = (
        floor[:, None, None] * noise.loudness * noise.likeness + own_fixed[:, :, None]
    )
    least = LEAST_AGAINST_NOISE * dof * local / (1 + rest_share)
    least = np.minimum(least + LEAST_AGAINST_FIXED * RANK * own_fixed, 0.5 * loud_power)
    silent = special.logsumexp(
        _log_density(
            own[:, :, None], rest[:, :, None], state_floor, state_noise, np.zeros(1), 0.0, dof
        )
        + noise.log_share,
        axis=2,
    )
    ratio = np.empty((reference_s.size, LEVELS))
    best = np.full(reference_s.size, -np.inf)
    best_k = np.zeros(reference_s.size, np.intp)
    for level in range(LEVELS):
        power = np.maximum(loud_power * 10 ** (-LEVEL_STEP_DB * level / 10), least)
        sounding = special.logsumexp(
            _log_density(
                own[:, :, None],
                rest[:, :, None],
                state_floor,
                state_noise,
                power[:, :, None],
                rest_share,
                dof,
            )
            + noise.log_share,
            axis=2,
        )
        joint = np.where(reach, sounding - silent + log_prior, -np.inf)
        ratio[:, level] = special.logsumexp(joint, axis=1)
        top = np.argmax(joint, axis=1)
        value = joint[np.arange(top.size), top]
        better = value > best
        best, best_k = np.where(better, value, best), np.where(better, top, best_k)
    rows = np.arange(reference_s.size)
    return Evidence(
        log_ratio=ratio,
        delay_s=delays[rows, best_k],
        own=own[rows, best_k],
        rest=rest[rows, best_k] / dof,
        floor=local[rows, best_k],
    )


def delay_grid(spread_s: FloatArray) -> FloatArray:
    """Offsets around the expected delay: +-2.5 of the largest spread; shape ``(k,)``."""
    reach = max(DELAY_STEP_S, 2.5 * float(spread_s.max()))
    count = int(np.ceil(reach / DELAY_STEP_S))
    return np.arange(-count, count + 1) * DELAY_STEP_S
