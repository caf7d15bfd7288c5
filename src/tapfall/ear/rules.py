"""The rules of the trade, applied to which expected beats sound.

All functions work on many stories at once: ``heard`` has shape ``(m, n)``,
one row for each story, one column for each expected beat in order of time.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, fields

import numpy as np

from tapfall.model import FloatArray

#: Silent expected beats before the first sound, and after the last, without
#: which a threshold was not reached (the project's definition).
SILENT_BEFORE, SILENT_AFTER = 2, 3
#: A beat is expected if the interval before it is at least this share of the median of so
#: many intervals on either side (the project's definition).
LEAST_SHARE, AROUND = 0.8, 4
#: A silent gap: at least two beats and 4 mmHg (the project's definition).
GAP_BEATS, GAP_MMHG = 2, 4.0
#: No gap is so wide: the usual ones span 10 to 50 mmHg (textbooks, from memory).
WIDEST_GAP_MMHG = 60.0
#: Silences so near a threshold that recur at the breathing period (8-30 a minute;
#: common practice) are the breath's, not gaps (the project's definition).
BREATH_REACH_MMHG, BREATH_S = 15.0, (2.0, 8.0)
#: Sounds within so much of a threshold, and then a short silence: the breath moves systolic
#: and diastolic by that much (below 10 mmHg in the healthy; common practice), so that this
#: cannot be told from its coming and going (tuned).
BREATH_SWING_MMHG = 4.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ruled:
    """What the rules say about each story; index ``-1`` where nothing counts.

    ``first`` and ``last`` are the systolic beat and the last sound,
    ``alternating_first`` and ``alternating_last`` whether only the rule for
    alternate beats finds them, ``systolic_seen`` and ``diastolic_seen``
    whether enough silence lies beyond, ``gap_upper`` and ``gap_lower`` the
    beats at the edges of the widest gap; each of shape ``(m,)``.
    """

    first: np.ndarray
    last: np.ndarray
    alternating_first: np.ndarray
    alternating_last: np.ndarray
    systolic_seen: np.ndarray
    diastolic_seen: np.ndarray
    gap_upper: np.ndarray
    gap_lower: np.ndarray
    lone_above: np.ndarray

    def some(self, stories: np.ndarray) -> Ruled:
        """The same of some stories, given by their indices."""
        found = {one.name: getattr(self, one.name)[stories] for one in fields(self)}
        return Ruled(**found)


def _first_true(table: np.ndarray) -> np.ndarray:
    """Column of the first true cell of each row, a large number where there is none."""
    none = np.full(table.shape[0], np.iinfo(np.intp).max)
    return np.where(table.any(axis=1), table.argmax(axis=1), none) if table.shape[1] else none


def _starts(heard: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First beat of a pair, and first of three on alternate beats, for each row."""
    pair = heard[:, :-1] & heard[:, 1:]
    third = heard[:, :-4] & ~heard[:, 1:-3] & heard[:, 2:-2] & ~heard[:, 3:-1] & heard[:, 4:]
    return _first_true(pair), _first_true(third)


def apply_rules(heard: np.ndarray, cuff_mmhg: FloatArray) -> Ruled:
    """Find systolic beat, last sound and widest gap of each story.

    Parameters
    ----------
    heard
        Shape ``(m, n)``, boolean.
    cuff_mmhg
        Cuff pressure at each expected beat, shape ``(n,)``.

    Returns
    -------
    Ruled
        Indices into the ``n`` beats.

    Examples
    --------
    >>> story = np.array([[0, 0, 1, 0, 0, 1, 1, 1, 0, 0, 1, 1, 0, 0, 0]], bool)
    >>> ruled = apply_rules(story, np.arange(150.0, 105.0, -3.0))
    >>> int(ruled.first[0]), int(ruled.last[0]), int(ruled.gap_upper[0]), int(ruled.gap_lower[0])
    (5, 11, 7, 10)
    """
    m, n = heard.shape
    pair, third = _starts(heard)
    first = np.minimum(pair, third)
    back_pair, back_third = _starts(heard[:, ::-1])
    last = n - 1 - np.minimum(back_pair, back_third)
    none = first >= n
    first = np.where(none, -1, first)
    last = np.where(none, -1, last)
    index = np.arange(n)
    gap_upper = np.full(m, -1)
    gap_lower = np.full(m, -1)
    for members in _alike(heard):
        if none[members[0]]:
            continue
        edges = _widest_gap(heard[members[0]], cuff_mmhg)
        if edges is not None:
            gap_upper[members], gap_lower[members] = edges
    silent_before = (~heard & (index < first[:, None])).sum(axis=1)
    silent_after = (~heard & (index > last[:, None])).sum(axis=1)
    lone = (heard & (index < first[:, None])).any(axis=1) & ~none
    return Ruled(
        first=first,
        last=last,
        alternating_first=~none & (third < pair),
        alternating_last=~none & (back_third < back_pair),
        systolic_seen=~none & (silent_before >= SILENT_BEFORE),
        diastolic_seen=~none & (silent_after >= SILENT_AFTER),
        gap_upper=gap_upper,
        gap_lower=gap_lower,
        lone_above=lone,
    )


def _alike(heard: np.ndarray) -> list[np.ndarray]:
    """Rows that are equal: draws of one posterior tell few different stories."""
    alike: dict[bytes, list[int]] = {}
    for row, told in enumerate(np.packbits(heard, axis=1)):
        alike.setdefault(told.tobytes(), []).append(row)
    return [np.array(rows) for rows in alike.values()]


def without_far_sounds(
    heard: np.ndarray, cuff_mmhg: FloatArray, log_odds: FloatArray
) -> np.ndarray:
    """Leave out what sounds beyond a silence wider than any gap.

    Parameters
    ----------
    heard
        Shape ``(m, n)``, boolean.
    cuff_mmhg, log_odds
        Cuff pressure, and what speaks for a sound, at each beat, shape ``(n,)``.

    Returns
    -------
    ndarray of bool
        The stories with the sounds on one side of each such silence: those for which most speaks.

    Examples
    --------
    >>> story = np.array([[0, 1, 1, 0, 0, 0, 0, 1, 1, 1, 0]], bool)
    >>> without_far_sounds(story, 300.0 - 15.0 * np.arange(11), np.ones(11)).astype(int).tolist()
    [[0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 0]]
    """
    at_all = np.flatnonzero(heard.any(axis=0))
    if not at_all.size or cuff_mmhg[at_all[0]] - cuff_mmhg[at_all[-1]] < WIDEST_GAP_MMHG:
        return heard
    kept = heard.copy()
    for members in _alike(heard):
        sounds = np.flatnonzero(heard[members[0]])
        apart = np.flatnonzero(-np.diff(cuff_mmhg[sounds]) > WIDEST_GAP_MMHG) + 1
        if apart.size:
            runs = np.split(sounds, apart)
            chosen = max(runs, key=lambda run: float(np.maximum(log_odds[run], 0.0).sum()))
            kept[members] = False
            kept[np.ix_(members, chosen)] = True
    return kept


def _widest_gap(heard: np.ndarray, cuff_mmhg: FloatArray) -> tuple[int, int] | None:
    """Edges of the widest silence between two runs of at least two sounds."""
    sounds = np.flatnonzero(heard)
    # Runs broken by one missed beat are one run.
    runs = np.split(sounds, np.flatnonzero(np.diff(sounds) > GAP_BEATS) + 1)
    # A run of two is a pair; lone sounds on alternate beats make one from three on.
    runs = [run for run in runs if run.size >= 3 or (run.size == 2 and run[1] - run[0] == 1)]
    best: tuple[float, int, int] | None = None
    for above, below in itertools.pairwise(runs):
        width = float(cuff_mmhg[above[-1]] - cuff_mmhg[below[0]])
        if width >= GAP_MMHG and (best is None or width > best[0]):
            best = (width, int(above[-1]), int(below[0]))
    return None if best is None else best[1:]


def breath_silences(
    heard: np.ndarray, cuff_mmhg: FloatArray, time_s: FloatArray, first: int, last: int
) -> list[int]:
    """Silences near a threshold that are the breath's.

    Parameters
    ----------
    heard
        One story, shape ``(n,)``.
    cuff_mmhg, time_s
        Pressure and time of each expected beat, shape ``(n,)``.
    first, last
        Systolic beat and last sound.

    Returns
    -------
    list of int
        First beat of each silence between sounds, shorter than half the longest
        breath, that has another one 2-8 s (8-30 breaths a minute) away, both
        within 15 mmHg of one threshold; or whose sounds beyond lie within what
        the breath moves a threshold by.

    Examples
    --------
    >>> story = np.array([0, 0, 1, 1, 0, 0, 1, 1, 0, 1, 1, 1, 1, 1, 0, 0, 0], bool)
    >>> breath_silences(story, 140 - 2.0 * np.arange(17), 0.8 * np.arange(17), 2, 13)
    [4, 8]
    """
    inside = heard[first : last + 1].copy()
    inside[[0, -1]] = True
    edges = np.flatnonzero(np.diff(inside.astype(int)))
    begins, ends = first + edges[::2] + 1, first + edges[1::2]
    short = time_s[ends + 1] - time_s[begins - 1] <= BREATH_S[1] / 2
    begins, ends = begins[short], ends[short]
    middle_s = 0.5 * (time_s[begins] + time_s[ends])
    pressure = 0.5 * (cuff_mmhg[begins] + cuff_mmhg[ends])
    found: set[int] = set()
    for threshold, edge in (
        (cuff_mmhg[first], cuff_mmhg[begins - 1]),
        (cuff_mmhg[last], cuff_mmhg[ends + 1]),
    ):
        near = np.flatnonzero(np.abs(pressure - threshold) <= BREATH_REACH_MMHG)
        apart_s = np.abs(middle_s[near][:, None] - middle_s[near][None, :])
        again = ((apart_s >= BREATH_S[0]) & (apart_s <= BREATH_S[1])).any(axis=1)
        found |= set(begins[near[again]].tolist())
        found |= set(begins[np.abs(edge - threshold) <= BREATH_SWING_MMHG].tolist())
    return sorted(found)


def expected_beats(time_s: FloatArray) -> np.ndarray:
    """Which beats count as expected: all but ectopic ones.

    Parameters
    ----------
    time_s
        Beats in order of time, shape ``(n,)``, or several clocks, ``(k, n)``.

    Returns
    -------
    ndarray of bool
        False where the interval before a beat is below 80 % of the local
        median interval, that of the eight around it (the project's definition;
        fewer at the ends, and of fewer than four beats all count), shape as that
        of ``time_s``.

    Examples
    --------
    >>> expected_beats(np.array([0, 0.8, 1.6, 2.1, 3.2, 4.0, 4.8])).tolist()
    [True, True, True, False, True, True, True]
    """
    keep = np.ones(time_s.shape, bool)
    if time_s.shape[-1] < 4:
        return keep
    interval = np.diff(time_s)
    beyond = np.full((*interval.shape[:-1], AROUND), np.inf)
    padded = np.concatenate([beyond, interval, beyond], axis=-1)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * AROUND + 1, axis=-1)
    around = np.sort(np.delete(around, AROUND, axis=-1), axis=-1)  # those beyond come last
    half = np.isfinite(around).sum(axis=-1, keepdims=True)
    low = np.take_along_axis(around, (half - 1) // 2, axis=-1)
    high = np.take_along_axis(around, half // 2, axis=-1)
    keep[..., 1:] = interval >= LEAST_SHARE * (0.5 * (low + high))[..., 0]
    return keep
