"""Names of files: shown safely, kept without their folders, opened with care."""

from __future__ import annotations

import io
import os
import stat
import sys
from pathlib import Path

from tapfall.errors import InputError, printable

#: What a caller may name a file by.
PathLike = str | os.PathLike[str]


def label_of(path: PathLike) -> str:
    """Name a file in a message: escaped, and visible also where it is empty.

    Examples
    --------
    >>> print(label_of("visits/arm.wav"), label_of(""))
    visits/arm.wav ''
    """
    return printable(os.fspath(path)) or "''"


def base_name(path: PathLike) -> str:
    """Return the name without its folder, as valid Unicode.

    Examples
    --------
    >>> base_name("visits/tuesday/arm.wav")
    'arm.wav'
    """
    name = Path(path).name
    return os.fsencode(name).decode("utf-8", "replace")


def check_there(path: PathLike, wanted: str) -> None:
    """Refuse what is no regular file that holds something, before its suffix is judged.

    Parameters
    ----------
    path
        The file.
    wanted
        What it should be, for the message.

    Raises
    ------
    InputError
        As of :func:`open_regular`.

    Examples
    --------
    >>> check_there("/", "a sound file")
    Traceback (most recent call last):
    ...
    tapfall.errors.InputError: /: found a folder; allowed a sound file
    """
    open_regular(path, InputError, wanted, sys.maxsize).close()


def open_regular(
    path: PathLike, error: type[InputError], wanted: str, largest_bytes: int
) -> io.FileIO:
    """Open a regular, non-empty file of bounded size for reading, unbuffered.

    Parameters
    ----------
    path
        The file.
    error
        The error type to raise.
    wanted
        What the file should be, for the message: ``"a sound file"``.
    largest_bytes
        The largest size accepted.

    Returns
    -------
    io.FileIO
        At its begin; the caller closes it.

    Raises
    ------
    InputError
        Of the given type: an empty name, no such file, a folder, a device, no permission,
        empty, or larger than ``largest_bytes``.
    """
    label = label_of(path)
    if not os.fspath(path):
        raise error(f"{label}: found an empty name; allowed {wanted}")
    try:
        status = Path(path).stat()
        if stat.S_ISDIR(status.st_mode):
            raise error(f"{label}: found a folder; allowed {wanted}")
        if not stat.S_ISREG(status.st_mode):
            raise error(f"{label}: found a pipe or device; allowed {wanted}")
        if status.st_size == 0:
            raise error(f"{label}: found 0 bytes; allowed {wanted}")
        if status.st_size > largest_bytes:
            raise error(
                f"{label}: found {status.st_size} bytes; allowed at most {largest_bytes} bytes"
            )
        return Path(path).open("rb", buffering=0)
    except error:
        raise
    except FileNotFoundError:
        raise error(f"{label}: found no such file; allowed {wanted}") from None
    except (OSError, ValueError) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else str(fault)
        raise error(f"{label}: cannot be opened ({reason}); allowed {wanted}") from None
