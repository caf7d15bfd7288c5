"""JSON files, read strictly: UTF-8, finite numbers, no key twice, bounded size."""

from __future__ import annotations

import json
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

    Raises
    ------
    InputError
        Of the given type: the file cannot be read, or is not JSON; the message names the
        line.
    """
    label = label_of(path)
    with open_regular(path, error, wanted, largest_bytes) as file:
        data = file.read(largest_bytes)

    def constant(name: str) -> NoReturn:
        raise error(f"{label}: found {name}; allowed finite numbers")

    def pairs(items: list[tuple[str, Any]]) -> dict[str, Any]:
        result = dict(items)
        if len(result) != len(items):
            keys = [key for key, _ in items]
            twice = next(key for key in keys if keys.count(key) > 1)
            raise error(f"{label}: found {shown(twice)} twice; allowed once in an object")
        return result

    try:
        return json.loads(data.decode("utf-8"), parse_constant=constant, object_pairs_hook=pairs)
    except InputError:
        raise
    except UnicodeDecodeError:
        raise error(f"{label}: found bytes that are not UTF-8; allowed {wanted}") from None
    except json.JSONDecodeError as fault:
        raise error(
            f"{label}: line {fault.lineno}: found what is not JSON ({fault.msg}); allowed {wanted}"
        ) from None
    except RecursionError:
        raise error(f"{label}: found too deep a nesting; allowed {wanted}") from None
    except ValueError:
        raise error(f"{label}: found too long a number; allowed {wanted}") from None
