"""Rules by which a learner passes, published ones and those that a teacher sets."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tapfall.errors import SettingError, shown


@dataclass(frozen=True, slots=True, kw_only=True)
class PassRule:
    """What has to hold for systolic and for diastolic, each by itself.

    ``shares`` are pairs of mmHg and the least share of errors within it; ``bias_mmhg`` is
    the largest mean error, None for any.
    """

    name: str
    shares: tuple[tuple[float, float], ...]
    bias_mmhg: float | None
    source: str


RULES: tuple[PassRule, ...] = (
    PassRule(
        name="expert-1991",
        shares=((5.0, 0.90), (10.0, 0.95)),
        bias_mmhg=None,
        source="against an expert, J Hum Hypertens 1991: within 5 mmHg in 90 %, "
        "within 10 mmHg in 95 %",
    ),
    PassRule(
        name="sequences-4",
        shares=((4.0, 1.0),),
        bias_mmhg=2.0,
        source="filmed sequences of trials: all within 4 mmHg, mean error within 2 mmHg (from "
        "memory, unsure)",
    ),
    PassRule(
        name="sequences-2",
        shares=((2.0, 1.0),),
        bias_mmhg=2.0,
        source="filmed sequences of trials: all within 2 mmHg, mean error within 2 mmHg (from "
        "memory, unsure)",
    ),
)
_OWN = re.compile(r"(\d{1,2}):(\d{1,3})")
_BIAS = re.compile(r"bias:(\d{1,2}(?:\.\d)?)")


def pass_rule(text: str) -> PassRule:
    """Return a rule by its name, or the teacher's own: ``MMHG:PERCENT,...,bias:MMHG``.

    Parameters
    ----------
    text
        A name, or pairs of mmHg and the percent of answers that lie within it.

    Returns
    -------
    PassRule
        Shares as fractions of 1, bounds in mmHg.

    Raises
    ------
    SettingError
        Neither a name nor pairs of mmHg and percent.

    Examples
    --------
    >>> pass_rule("4:80,8:100").shares
    ((4.0, 0.8), (8.0, 1.0))
    >>> pass_rule("5:90,bias:2").bias_mmhg
    2.0
    """
    for rule in RULES:
        if rule.name == text:
            return rule
    shares: list[tuple[float, float]] = []
    bias: float | None = None
    for part in text.split(","):
        pair, mean = _OWN.fullmatch(part.strip()), _BIAS.fullmatch(part.strip())
        if pair is not None and int(pair[1]) >= 1 and int(pair[2]) <= 100:
            shares.append((float(pair[1]), int(pair[2]) / 100))
        elif mean is not None and bias is None:
            bias = float(mean[1])
        else:
            names = ", ".join(rule.name for rule in RULES)
            raise SettingError(
                f"--pass: found {shown(text)}; allowed {names}, or pairs of mmHg and percent such "
                "as 4:80,8:100, with bias:2 for a mean error within 2 mmHg"
            )
    told = [f"within {within:g} mmHg in {share:.0%}".replace("%", " %") for within, share in shares]
    told += [] if bias is None else [f"mean error within {bias:g} mmHg"]
    return PassRule(
        name=text,
        shares=tuple(shares),
        bias_mmhg=bias,
        source=f"set by the teacher: {', '.join(told)}",
    )


def passes(rule: PassRule, errors_mmhg: Sequence[float], missing: int) -> bool:
    """Whether the errors of one measure keep a rule; a missing value is outside every bound.

    How many may be outside is told by the rule's shares; where it has none, none may.

    Examples
    --------
    >>> passes(pass_rule("bias:2"), [0.0] * 19, 0), passes(pass_rule("bias:2"), [0.0] * 19, 1)
    (True, False)
    >>> passes(RULES[0], [0.0] * 19 + [12.0], 0), passes(RULES[0], [0.0] * 19, 1)
    (True, True)
    >>> passes(RULES[0], [0.0] * 18, 2)
    False
    """
    errors = np.asarray(errors_mmhg, float)
    count = errors.size + missing
    if count == 0 or errors.size == 0:
        return False
    if missing and not rule.shares:
        return False
    for within, share in rule.shares:
        if float(np.sum(np.abs(errors) <= within)) < share * count - 1e-9:
            return False
    return rule.bias_mmhg is None or abs(float(errors.mean())) <= rule.bias_mmhg
