"""Whether answers belong to the keys that they are held against."""

from __future__ import annotations

from collections.abc import Sequence

from tapfall.errors import InputError, shown
from tapfall.lesson.answercells import check_known
from tapfall.lesson.answers import saved_at
from tapfall.lesson.nouns import NOT_DATED, Answers, Key


def check_answers(known_keys: Sequence[Key], given: Sequence[Answers]) -> None:
    """Raise where answers are to no set that there is a key of.

    Raises
    ------
    InputError
        A set or an item is none of the keys', or a session stands twice.
    """
    keys = {key.set_id: key for key in known_keys}
    seen: set[tuple[str, str, object]] = set()
    for one in given:
        who = f"answers of {shown(one.learner)[1:-1]}"
        if one.set_id not in keys:
            allowed = ", ".join(map(shown, keys))
            raise InputError(
                f"{who}: set_id: found {shown(one.set_id)}; allowed {allowed}, that of the key"
            )
        known = [item.name for item in keys[one.set_id].items]
        for answer in one.answers:
            check_known(answer.item, known, f"{who}: ")
        session = (one.learner.upper(), one.set_id, saved_at(one))
        if session in seen and one.saved == NOT_DATED:
            raise InputError(
                f"{who}: found two sessions on the set {shown(one.set_id)} without a date; allowed "
                "one, or the column 'saved' with the day of each"
            )
        if session in seen:
            raise InputError(f"{who}: found those of {shown(one.saved)} twice; allowed once")
        seen.add(session)
