"""The words of the listening page, in every language that ``texts.toml`` has."""

from __future__ import annotations

import functools
import tomllib
from importlib.resources import files
from types import MappingProxyType

from tapfall.errors import SettingError, shown

Words = MappingProxyType[str, str]

#: The words of a page that say what makes a systolic, a diastolic and neither: the rules of
#: ``tapfall.synth.rules``, by which every key is made.
RULES = ("rules_systolic", "rules_diastolic", "rules_alone")


@functools.cache
def _all() -> dict[str, dict[str, dict[str, str]]]:
    text = (files("tapfall.lesson") / "texts.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def languages() -> tuple[str, ...]:
    """Return the codes of the languages that the page can speak.

    Examples
    --------
    >>> languages()
    ('en', 'de')
    """
    return tuple(_all())


def words_of(language: str) -> tuple[Words, Words]:
    """Return the words of one language.

    Parameters
    ----------
    language
        Its code, such as ``"de"``.

    Returns
    -------
    page, run : mapping of str to str
        What stands in the page, and what is said while it runs.

    Raises
    ------
    SettingError
        A language that is not there.

    Examples
    --------
    >>> page, run = words_of("de")
    >>> page["begin"], run["left_one"]
    ('Beginnen', 'Noch 1 Wiederholung.')
    """
    if language not in _all():
        raise SettingError(f"--language: found {shown(language)}; allowed {', '.join(languages())}")
    table = _all()[language]
    return MappingProxyType(table["page"]), MappingProxyType(table["run"])
