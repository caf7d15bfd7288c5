"""JSON files, read strictly: UTF-8, finite numbers, no key twice, bounded size."""

from __future__ import annotations

import json
from collections import Counter
from typing import Any, NoReturn

from tapfall.errors import InputError, shown
from tapfall.files.names import PathLike, label_of, open_regular


def read_json(path: PathLike, error: type[InputError], wanted: str, largest_bytes: int) -> Any:
    """Read the values of a JSON file.

    Parameters
    ----------
    path
        The file.
    error
        The error type to raise.
    wanted
        What the file should be, for the message.
    largest_bytes
        The largest size accepted.

    Returns
    -------
    dict, list, str, float, int, bool or None
        As :func:`json.loads` has them.

    Raises
    ------
    InputError
        Of the given type: the file cannot be read, or is not JSON; the message names the
        line.
    """
    label = label_of(path)
    with open_regular(path, error, wanted, largest_bytes) as file:
        data = file.read(largest_bytes)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise error(f"{label}: found bytes that are not UTF-8; allowed {wanted}") from None
    return json_values(label, text, error, wanted)


def json_values(label: str, text: str, error: type[InputError], wanted: str) -> Any:
    """Read the values of a text in JSON.

    Parameters
    ----------
    label
        The file it comes from, for the message.
    text
        The text.
    error, wanted
        As for :func:`read_json`.

    Returns
    -------
    dict, list, str, float, int, bool or None
        As :func:`json.loads` has them.

    Raises
    ------
    InputError
        Of the given type: it is not JSON, or holds a key twice or a number that is none.

    Examples
    --------
    >>> json_values("a.json", '{"mmHg": [120, 80]}', InputError, "pressures in JSON")
    {'mmHg': [120, 80]}
    """

    def constant(name: str) -> NoReturn:
        raise error(f"{label}: found {name}; allowed finite numbers")

    def pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
        result = dict(items)
        if len(result) != len(items):
            counts = Counter(key for key, _ in items)
            twice = next(key for key, count in counts.items() if count > 1)
            raise error(f"{label}: found {shown(twice)} twice; allowed once in an object")
        return result

    try:
        return json.loads(text, parse_constant=constant, object_pairs_hook=pairs)
    except InputError:
        raise
    except json.JSONDecodeError as fault:
        raise error(
            f"{label}: line {fault.lineno}: found what is not JSON ({fault.msg}); allowed {wanted}"
        ) from None
    except RecursionError:
        raise error(f"{label}: found too deep a nesting; allowed {wanted}") from None
    except ValueError:
        raise error(f"{label}: found too long a number; allowed {wanted}") from None
