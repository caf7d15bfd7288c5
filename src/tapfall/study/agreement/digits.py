"""How often written-down values end in each digit."""

from __future__ import annotations

import numpy as np

from tapfall.model import FloatArray
from tapfall.study.agreement.result import Digits
from tapfall.visit.observer import LARGE_SCORE, LEAST_EXPECTED, UNLIKELY, chi_square

#: What its result is called, before who wrote.
NAME = "Last digits of the reference"
SOURCE = (
    "chi-square of the even digits against equal shares; digit score 100 sqrt(chi2 / (N (k - 1))) "
    "as in WHO MONICA (from memory)"
)


def digits_of(who: str, values_mmhg: FloatArray) -> Digits:
    """Return the last digits of the values that somebody wrote down.

    Parameters
    ----------
    who
        Whose values they are.
    values_mmhg
        The values, shape (n,); those that are not whole are counted and have no last digit.

    Examples
    --------
    >>> found = digits_of("observer 1", np.array([120.0, 130.0, 140.0, 150.0, 122.5] * 20))
    >>> found.counts[0], found.not_whole, found.score, found.look
    (80, 20, 100.0, True)
    """
    whole = values_mmhg == np.round(values_mmhg)
    last = np.mod(values_mmhg[whole].astype(np.int64), 10)
    counts = np.bincount(last, minlength=10)
    even = [int(one) for one in counts[::2]]
    found: tuple[float | None, float | None, float | None] = (None, None, None)
    if sum(even) >= len(even) * LEAST_EXPECTED:
        found = chi_square(even)
    statistic, p_value, score = found
    return Digits(
        who=who,
        values=len(values_mmhg),
        not_whole=int((~whole).sum()),
        counts=tuple(int(one) for one in counts),
        chi_square=statistic,
        p_value=p_value,
        score=score,
        look=p_value is not None
        and score is not None
        and p_value < UNLIKELY
        and score >= LARGE_SCORE,
    )
