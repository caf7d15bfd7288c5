"""Runs in a mask: where something holds without a break."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Half-open ranges in which a mask of shape ``(n,)`` is true, in order.

    Examples
    --------
    >>> runs(np.array([True, False, True, True]))
    [(0, 1), (2, 4)]
    """
    edges = _edges(mask).tolist()
    return list(zip(edges[::2], edges[1::2], strict=True))


def run_lengths(mask: NDArray[np.bool_]) -> NDArray[np.intp]:
    """How many true values each run of a mask of shape ``(n,)`` holds, in order.

    Examples
    --------
    >>> run_lengths(np.array([True, False, True, True])).tolist()
    [1, 2]
    """
    return np.diff(_edges(mask))[::2]


def _edges(mask: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Begin and end of each run, one after the other."""
    return np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]])))
