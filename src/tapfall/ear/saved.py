"""A listener's state as plain arrays: what it takes to go on elsewhere.

Nothing here is pickled.  Small things are one JSON text; sound, log and the filters'
memory are arrays.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from tapfall.convert import from_json, to_json
from tapfall.ear.course import Now
from tapfall.ear.frontend import FrontEnd
from tapfall.ear.memory import Memory
from tapfall.errors import InputError, MisuseError
from tapfall.model import Settings

#: Changes whenever a state of before can no longer be used.
FORM = "tapfall.listener/5"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain:
    """The small things a listener knows, named as it names them."""

    settings: Settings
    announce: bool
    rate_hz: float
    kind: str | None
    last_row: tuple[float, ...] | None
    behind: bool
    finished: bool
    now: Now


def packed(plain: Plain, memory: Memory, front: FrontEnd) -> dict[str, np.ndarray]:
    """Pack a listener into arrays."""
    text = json.dumps(to_json(plain), allow_nan=False)
    return {
        "form": np.array(FORM),
        "plain": np.array(text),
        **memory.arrays(),
        **front.arrays(),
    }


def plain_of(state: Mapping[str, Any]) -> Plain:
    """Read the small things back.

    Raises
    ------
    MisuseError
        If it is not the state of a listener of this form.
    """
    try:
        form, text = str(state["form"]), str(state["plain"])
    except (KeyError, TypeError):
        raise MisuseError("state holds no listener; allowed what Listener.state returns") from None
    if form != FORM:
        raise MisuseError(f"state has form {form!r}; allowed {FORM!r}")
    try:
        return from_json(Plain, json.loads(text), "state")
    except (InputError, ValueError) as fault:
        raise MisuseError(f"state cannot be read: {fault}") from None


def restore(state: Mapping[str, Any], memory: Memory, front: FrontEnd) -> None:
    """Put sound, log and filters back into those of a fresh listener.

    Raises
    ------
    MisuseError
        If an array is missing, or is none that such a listener could have.
    """
    kept, filters = memory.arrays(), front.arrays()
    for name, blank in (*kept.items(), *filters.items()):
        _check(state, name, blank, any_length=name in kept)
    for one, other in (("sound", "marks"), ("log_s", "log_mmHg")):
        if np.size(state[one]) != np.size(state[other]):
            raise MisuseError(
                f"state arrays {one!r} and {other!r} have {np.size(state[one])} and "
                f"{np.size(state[other])} values; allowed the same number"
            )
    memory.restore(state)
    front.restore(state)


def _check(state: Mapping[str, Any], name: str, blank: np.ndarray, *, any_length: bool) -> None:
    """Whether an array of a state is like that of a fresh listener, the first length apart."""
    try:
        found = np.asarray(state[name])
    except (KeyError, ValueError):
        raise MisuseError(
            f"state holds no array {name!r}; allowed what Listener.state returns"
        ) from None
    shape, wanted = (x.shape[1:] if any_length else x.shape for x in (found, blank))
    if found.ndim != blank.ndim or shape != wanted or found.dtype.kind not in "biuf":
        raise MisuseError(
            f"state array {name!r} has type {found.dtype} and shape {found.shape}; "
            "allowed what Listener.state returns"
        )
    # Before the first samples there is nothing to compare with, and no step.
    known = found[[0, 1, 3]] if name == "tops" else found
    if not np.isfinite(known).all():
        raise MisuseError(f"state array {name!r} holds nan or inf; allowed finite numbers")
