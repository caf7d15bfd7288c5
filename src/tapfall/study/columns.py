"""Names of a manifest's columns: those with a meaning, near misses of them, and notes."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

from tapfall.study.cells import PARSERS

#: From this likeness on a name is taken for a known one misspelt (our choice): ``age_year``
#: and ``device_id`` are, ``cuff_id`` is not.
LIKENESS = 0.8
_OBSERVER = "observer"


def misspelt(names: Sequence[str]) -> dict[str, str]:
    """Return the columns that look like a known one misspelt, with the one that is nearest.

    Whatever begins with ``observer`` is one; others only where the known one is missing.

    Parameters
    ----------
    names
        All columns, known ones as they are spelt in :data:`tapfall.study.cells.PARSERS`.

    Examples
    --------
    >>> misspelt(["subject", "observer_1_sistolic_mmHg", "age", "ward", "subject_2"])
    {'observer_1_sistolic_mmHg': 'observer_1_systolic_mmHg', 'age': 'age_years'}
    """
    missing = {one.lower(): one for one in PARSERS if one not in names}
    observers = {one.lower(): one for one in PARSERS if one.startswith(_OBSERVER)}
    found: dict[str, str] = {}
    for name in names:
        plain = "_".join(name.lower().replace("-", " ").split())
        if name in PARSERS:
            continue
        if plain.startswith(_OBSERVER):
            likeness = {_likeness(plain, one): one for one in reversed(observers)}
            found[name] = observers[likeness[max(likeness)]]
            continue
        whole = [one for one in missing if plain and one.startswith(f"{plain}_")]
        for one in (whole or difflib.get_close_matches(plain, missing, 1, LIKENESS))[:1]:
            found[name] = missing[one]
    return found


def _likeness(one: str, other: str) -> float:
    return difflib.SequenceMatcher(None, one, other).ratio()


def kept(names: Sequence[str]) -> tuple[str, ...]:
    """Return the columns without a meaning, which are kept as they are.

    Examples
    --------
    >>> kept(["recording", "ward", "notes"])
    ('ward',)
    """
    return tuple(name for name in names if name not in PARSERS)
