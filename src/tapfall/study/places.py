"""Where the files of a study lie: names in cells of a manifest never lead elsewhere."""

from __future__ import annotations

import hashlib
import os
import re
from pathlib import Path

from tapfall.errors import InputError, shown
from tapfall.files.audio import MAX_BYTES
from tapfall.files.lab import opener_of
from tapfall.files.names import PathLike, open_regular

_PLAIN = re.compile(r"[a-z0-9][a-z0-9._-]{0,59}", re.ASCII)


def place_of(folder: PathLike, name: str, *, allow_outside: bool) -> str:
    """Return the real path of a file that a cell names; links are resolved.

    Parameters
    ----------
    folder
        The folder of the manifest.
    name
        The cell.
    allow_outside
        Whether the file may lie outside that folder.

    Raises
    ------
    InputError
        The name is empty, no name, leads out of the folder, or no file is there.
    """
    if not name:
        raise InputError("found nothing; allowed the name of a file")
    try:
        home, place = os.path.realpath(folder), os.path.realpath(Path(folder) / name)
        inside = Path(place).is_relative_to(home) and not Path(name).is_absolute()
        # Before anything is said of a file outside: not even whether it is there.
        if not inside and not allow_outside:
            raise InputError(
                f"found {shown(name)}, which lies outside the manifest's folder; allowed files "
                "inside it (or --allow-outside)"
            )
        if not Path(place).is_file():
            found = "a folder, pipe or device" if Path(place).exists() else "no such file"
            raise InputError(f"found {shown(name)}: {found}; allowed the name of a file")
    except InputError:
        raise
    except (OSError, ValueError) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else str(fault)
        raise InputError(f"found {shown(name)} ({reason}); allowed the name of a file") from None
    return place


def file_name(recording: str) -> str:
    """Return a name for a file of a recording that is safe on every system.

    Plain names stay; of others what is not plain is replaced, and a hash keeps them apart.

    Examples
    --------
    >>> file_name("p01-r2"), file_name("../P 1")
    ('p01-r2', 'p-1-9319ea85860a')
    """
    if _PLAIN.fullmatch(recording) and not recording.endswith("."):
        return recording
    plain = re.sub(r"[^a-z0-9_]+", "-", recording.lower()).strip("-")[:40].strip("-")
    digest = hashlib.sha256(recording.encode("utf-8", "surrogatepass")).hexdigest()[:12]
    return f"{plain or 'recording'}-{digest}"


def content_hash(path: PathLike) -> str:
    """Return the SHA-256 of a file, as the record of a reading names it.

    Raises
    ------
    InputError
        The file cannot be opened.
    """
    opener = opener_of(path)
    if opener is not None:  # several files, for some forms
        return opener(path, InputError).sha256
    with open_regular(path, InputError, "a file", MAX_BYTES) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
