"""How pressures were written down: last digits, repeats, and what lies about a threshold.

Every test is against chance; none proves a habit.  A finding says ``look`` where chance
alone is unlikely (p below 0.01) and the effect is large: both bounds are our choice, for
the literature has no agreed share that is too much.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from scipy.special import bdtrc, chdtrc, ndtr

from tapfall.errors import SettingError
from tapfall.model import FindingState

#: From where on a finding asks for a look (our choice).
UNLIKELY, LARGE_SCORE = 0.01, 15.0
#: Repeats this many times as often as by chance, and this small a dip, are large (our choice).
LARGE_REPEATS, DEEP_DIP = 1.5, 0.67
#: Least values for a digit: the usual rule for chi-square.
LEAST_EXPECTED = 5
#: Least values about a threshold (our choice).
LEAST_NEAR = 30
#: Width of the ranges compared: each holds every last digit once, mmHg.
RANGE_MMHG = 10
#: Lowest and highest pressure that can be written down, mmHg.
LOWEST_MMHG, HIGHEST_MMHG = 0, 400

_DIGITS = "chi-square; digit score 100 sqrt(chi2 / (N (k - 1))) as in WHO MONICA (from memory)"
_ZEROS = (
    "31 to 45 % of systolic readings end in zero in offices studied (PubMed 16448884, 14705725)"
)
_EVEN = "AHA 2019: pressures are read to the nearest even number"
_REPEATS = "our choice: readings equal to the one before, against a random order of the same ones"
_DIP = (
    "dips just above 140/90 mmHg: ABC review of measurement "
    "(scilit.net/publications/d4bbf9bf481ac259187b2f6c152d3c7a)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ObserverFinding:
    """What one check of written-down values found.

    ``state`` is ``ok``, ``look``, or ``unknown`` where there are too few values.
    ``statistic`` is chi-square on ``freedom`` degrees, or the z of a dip, or a count;
    ``effect`` is the digit score (0 to 100), or a ratio to what chance gives.
    """

    check: str
    state: FindingState
    statistic: float | None
    freedom: int | None
    p_value: float | None
    effect: float | None
    sentence: str
    source: str


def check_observer(
    values_mmhg: Sequence[float], *, threshold_mmhg: int = 140, systolic: bool = True
) -> tuple[ObserverFinding, ...]:
    """Check a series of pressures as they were written down.

    Parameters
    ----------
    values_mmhg
        Whole mmHg in the order of reading, systolic or diastolic, not both.
    threshold_mmhg
        The threshold that may have been avoided: 140 for systolic, 90 for diastolic.
    systolic
        Whether they are systolic: shares of zeros elsewhere are known of those alone.

    Returns
    -------
    tuple of ObserverFinding
        All digits, even digits, equal neighbours, the threshold; always these four.

    Raises
    ------
    SettingError
        A value is not a whole number of 0 to 400 mmHg.

    Examples
    --------
    >>> found = check_observer([120, 130, 140, 150, 160] * 20)
    >>> found[1].check, str(found[1].state), round(found[1].statistic), found[1].effect
    ('even digits', 'look', 400, 100.0)
    """
    values = [_whole(number, one) for number, one in enumerate(values_mmhg, 1)]
    digits = f"{_DIGITS}; {_ZEROS}" if systolic else _DIGITS
    return (
        _all_digits(values, digits),
        _even_digits(values, digits),
        _neighbours(values),
        _threshold(values, threshold_mmhg),
    )


def _whole(number: int, value: float) -> int:
    if not (LOWEST_MMHG <= value <= HIGHEST_MMHG and value == int(value)):
        raise SettingError(
            f"value {number}: found {value:g}; allowed whole numbers, "
            f"{LOWEST_MMHG} to {HIGHEST_MMHG} mmHg"
        )
    return int(value)


def chi_square(counts: Sequence[int]) -> tuple[float, float, float]:
    """Return chi-square against equal shares, its p, and the digit score.

    Examples
    --------
    >>> statistic, p_value, score = chi_square([54, 50, 54, 46, 50])
    >>> round(statistic, 2), round(p_value, 2), round(score, 1)
    (0.88, 0.93, 2.9)
    """
    total = sum(counts)
    expected = total / len(counts)
    statistic = math.fsum((count - expected) ** 2 for count in counts) / expected
    score = 100.0 * math.sqrt(statistic / (total * (len(counts) - 1)))
    return statistic, float(chdtrc(len(counts) - 1, statistic)), score


def _all_digits(values: Sequence[int], source: str) -> ObserverFinding:
    check, digits = "all digits", Counter(one % 10 for one in values)
    odd = sum(one % 2 for one in values)
    if len(values) < 10 * LEAST_EXPECTED:
        return _too_few(check, len(values), 10 * LEAST_EXPECTED, _EVEN)
    statistic, p_value, score = chi_square([digits[one] for one in range(10)])
    if odd == 0:
        state = FindingState.OK
        sentence = f"All {len(values)} values are even, as readings to the nearest 2 mmHg are."
    else:
        state = _state(p_value, score >= LARGE_SCORE)
        sentence = (
            f"{odd} of {len(values)} values are odd: read to the nearest 2 mmHg none would be. "
            f"{_of_zeros(digits[0], len(values), 10)}"
        )
    return ObserverFinding(
        check=check, state=state, statistic=statistic, freedom=9, p_value=p_value, effect=score,
        sentence=sentence, source=f"{_EVEN}; {source}",
    )  # fmt: skip


def _even_digits(values: Sequence[int], source: str) -> ObserverFinding:
    check, digits = "even digits", Counter(one % 10 for one in values if one % 2 == 0)
    total = digits.total()
    if total < 5 * LEAST_EXPECTED:
        return _too_few(check, total, 5 * LEAST_EXPECTED, source)
    statistic, p_value, score = chi_square([digits[one] for one in range(0, 10, 2)])
    return ObserverFinding(
        check=check, state=_state(p_value, score >= LARGE_SCORE), statistic=statistic, freedom=4,
        p_value=p_value, effect=score, sentence=_of_zeros(digits[0], total, 5), source=source,
    )  # fmt: skip


def _of_zeros(zeros: int, total: int, digits: int) -> str:
    kind = "even values" if digits == 5 else "values"
    return (
        f"{zeros} of {total} {kind} end in zero ({100.0 * zeros / total:.0f} %; by chance "
        f"{100 // digits} %)."
    )


def _neighbours(values: Sequence[int]) -> ObserverFinding:
    check, pairs = "equal neighbours", len(values) - 1
    if pairs + 1 < 5 * LEAST_EXPECTED:
        return _too_few(check, len(values), 5 * LEAST_EXPECTED, _REPEATS)
    equal = sum(one == other for one, other in pairwise(values))
    # In a random order of the same values each neighbour is equal with this probability.
    chance = sum(n * (n - 1) for n in Counter(values).values()) / (len(values) * pairs)
    expected = chance * pairs
    p_value = float(bdtrc(equal - 1, pairs, chance)) if equal else 1.0
    ratio = equal / expected if expected else 0.0
    return ObserverFinding(
        check=check, state=_state(p_value, ratio >= LARGE_REPEATS), statistic=float(equal),
        freedom=None, p_value=p_value, effect=ratio,
        sentence=(
            f"{equal} values equal the one before; in a random order {expected:.1f} would. "
            "Readings of one person in a row are alike by nature."
        ),
        source=_REPEATS,
    )  # fmt: skip


def _threshold(values: Sequence[int], threshold: int) -> ObserverFinding:
    """Compare the range above a threshold with those on its two sides.

    Each range holds every last digit, so preferred digits cancel.  Where numbers rise or
    fall by one factor from range to range, the middle one is the geometric mean of its
    neighbours; where they are bell-shaped it is more.  A dip is less.
    """
    check = f"above {threshold} mmHg"
    below, above, beyond = (
        sum(low <= one < low + RANGE_MMHG for one in values)
        for low in (threshold - RANGE_MMHG, threshold, threshold + RANGE_MMHG)
    )
    near = below + above + beyond
    if near < LEAST_NEAR:
        return _too_few(check, near, LEAST_NEAR, _DIP)
    a, m, c = (count + 0.5 for count in (below, above, beyond))  # half a value keeps zeros finite
    dip = math.log(m / math.sqrt(a * c))
    z = dip / math.sqrt(1.0 / m + (1.0 / a + 1.0 / c) / 4.0)
    p_value, ratio = float(ndtr(z)), math.exp(dip)
    ranges = [f"{low} to {low + RANGE_MMHG - 1}" for low in (threshold, threshold - RANGE_MMHG)]
    return ObserverFinding(
        check=check, state=_state(p_value, ratio <= DEEP_DIP), statistic=z, freedom=None,
        p_value=p_value, effect=ratio,
        sentence=(
            f"{above} values lie in {ranges[0]} mmHg, {below} in {ranges[1]} and {beyond} in "
            f"{threshold + RANGE_MMHG} to {threshold + 2 * RANGE_MMHG - 1}: "
            f"{ratio:.2f} times as many as the ranges beside it lead to expect."
        ),
        source=_DIP,
    )  # fmt: skip


def _state(p_value: float, large: bool) -> FindingState:
    return FindingState.LOOK if p_value < UNLIKELY and large else FindingState.OK


def _too_few(check: str, found: int, wanted: int, source: str) -> ObserverFinding:
    values = "value is" if found == 1 else "values are"
    return ObserverFinding(
        check=check, state=FindingState.UNKNOWN, statistic=None, freedom=None, p_value=None,
        effect=None, sentence=f"{found} {values} too few to tell; {wanted} are needed.",
        source=source,
    )  # fmt: skip
