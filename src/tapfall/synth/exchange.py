"""Truth as plain values for JSON: keys end in ``_mmHg``, missing is None, never NaN."""

from __future__ import annotations

from typing import Any

from tapfall.convert import from_json, to_json
from tapfall.errors import ReadingError, ScenarioError
from tapfall.synth.truth import Truth


def truth_to_dict(truth: Truth) -> dict[str, Any]:
    """Turn a truth into a dict of plain values.

    Parameters
    ----------
    truth
        What is true of a simulated recording.

    Returns
    -------
    dict
        JSON values; times in s, pressures in mmHg.

    Examples
    --------
    >>> from tapfall.synth import Scenario, simulate
    >>> truth = simulate(Scenario(seed=2)).truth
    >>> truth_from_dict(truth_to_dict(truth)) == truth
    True
    """
    values: dict[str, Any] = to_json(truth)
    return values


def truth_from_dict(values: dict[str, Any]) -> Truth:
    """Rebuild a truth from a dict of plain values.

    Parameters
    ----------
    values
        What :func:`truth_to_dict` returned.

    Returns
    -------
    Truth
        Equal to the one that was turned into values.

    Raises
    ------
    ScenarioError
        A field is missing, unknown or of another type.

    Examples
    --------
    >>> try:
    ...     truth_from_dict({})
    ... except ScenarioError as fault:
    ...     print(fault)
    truth: found no 'beats'; allowed an object that has it
    """
    try:
        return from_json(Truth, values, "truth")
    except ReadingError as error:
        raise ScenarioError(str(error)) from error
