"""The recording's own sound: a small subspace learned from its loud beats.

Each beat is judged with a template that it did not help to learn (folds), so
that noise cannot vouch for itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapfall.ear.whiten import White
from tapfall.model import FloatArray

#: Rank of the subspace (three phases of waveform; a trial on simulations).
RANK = 3
#: Share of the strongest waveform's power below which another is rounding alone.
LEAST_POWER = 1e-12
#: Folds of the cross-validated templates.
FOLDS = 4
#: Lead of a window before the sound's start.
LEAD_S = 0.012
#: Reach of the alignment around a first guess.
ALIGN_S = 0.024
#: Beats that teach the template: at most and at least so many; each is judged by what the
#: others teach.
MOST_TEACHERS, LEAST_TEACHERS = 18, 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Template:
    """Orthonormal waveforms of one recording.

    ``basis`` has shape ``(FOLDS + 1, RANK, window)``: one for each fold and,
    last, one from all teachers.  ``fold`` gives each beat's fold, the last
    index for beats that taught nothing.  ``onset_s`` are the aligned starts of
    the teachers' sounds, ``teachers`` their beats, ``likeness`` the share of
    their energy that waveforms learned from others hold (median).
    """

    basis: FloatArray
    fold: np.ndarray
    teachers: np.ndarray
    onset_s: FloatArray
    likeness: float


def cut(white: White, start_s: FloatArray, length: int) -> FloatArray:
    """Windows of whitened sound that start at audio times.

    Parameters
    ----------
    white
        Whitened sound.
    start_s
        Audio times, any shape ``s``.
    length
        Samples per window.

    Returns
    -------
    ndarray
        Shape ``s + (length,)``; windows over an edge are moved inside.
    """
    first = np.clip(white.index(start_s), 0, max(white.samples.size - length, 0))
    view = np.lib.stride_tricks.sliding_window_view(white.samples, length)
    return np.asarray(view[first])


def _principal(segments: FloatArray) -> FloatArray:
    """First ``RANK`` orthonormal waveforms of rows, zero rows where there are fewer."""
    norm = np.sqrt(np.sum(segments**2, axis=1, keepdims=True))
    # Loud beats teach more, but sublinearly: one knock must not be the template.
    scaled = segments / np.maximum(norm, 1e-9) ** 0.6
    # The few rows' own products tell their mixtures in a third of an SVD's time.
    power, mixture = np.linalg.eigh(scaled @ scaled.T)
    power, mixture = power[::-1][:RANK], mixture[:, ::-1][:, :RANK]
    basis = np.zeros((RANK, segments.shape[1]))
    some = power > LEAST_POWER * power[0]
    basis[: power.size][some] = mixture.T[some] @ scaled / np.sqrt(power[some])[:, None]
    return basis


def learn_template(white: White, onset_s: FloatArray, weight: FloatArray) -> Template | None:
    """Learn the recording's own sound from its best beats.

    Parameters
    ----------
    white
        Whitened sound.
    onset_s
        Guessed start of each beat's sound, audio time, shape ``(n,)``.
    weight
        How likely each beat is a good teacher, shape ``(n,)``; zero excludes.

    Returns
    -------
    Template or None
        ``None`` where fewer than ``LEAST_TEACHERS`` beats can teach.
    """
    order = np.argsort(-weight, kind="stable")
    teachers = np.sort(order[:MOST_TEACHERS][weight[order[:MOST_TEACHERS]] > 0])
    if teachers.size < LEAST_TEACHERS:
        return None
    margin = round(ALIGN_S * white.rate_hz)
    wide = cut(
        white,
        onset_s[teachers] - LEAD_S - margin / white.rate_hz,
        white.window + 2 * margin,
    )
    shifts = np.lib.stride_tricks.sliding_window_view(wide, white.window, axis=1)
    at = np.full(teachers.size, margin)
    rows = np.arange(teachers.size)
    for _ in range(3):
        segments = shifts[rows, at]
        leader = _principal(segments)[0]
        # At each shift what the leader holds of the window, as one product for all.
        spread = np.concatenate([np.zeros(2 * margin), leader[::-1], np.zeros(2 * margin)])
        moved = np.lib.stride_tricks.sliding_window_view(spread, 2 * margin + 1)[::-1]
        match = wide @ np.ascontiguousarray(moved)
        # One sign for all: a template is a waveform, not its mirror image.
        if np.sum(match[rows, at]) < 0:
            match = -match
        near = np.exp(-0.5 * ((np.arange(2 * margin + 1) - margin) / (0.6 * margin + 1)) ** 2)
        at = np.argmax(match * near, axis=1)
    segments = shifts[rows, at]
    basis = np.zeros((FOLDS + 1, RANK, white.window))
    fold = np.full(onset_s.size, FOLDS)
    fold[teachers] = rows % FOLDS
    for f in range(FOLDS + 1):
        own = segments[rows % FOLDS != f] if f < FOLDS else segments
        basis[f] = _principal(own)
        if np.sum(own @ basis[f, 0]) < 0:
            basis[f, 0] *= -1.0
    energy = np.sum(segments**2, axis=1)
    inside = np.einsum("nrw,nw->nr", basis[fold[teachers]], segments)
    likeness = float(np.median(np.sum(inside**2, axis=1) / np.maximum(energy, 1e-9)))
    return Template(
        basis=basis,
        fold=fold,
        teachers=teachers,
        onset_s=onset_s[teachers] + (at - margin) / white.rate_hz,
        likeness=likeness,
    )
