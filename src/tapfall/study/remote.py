"""Work handed to a Dask cluster that is there already; needs the extra ``cluster``.

Scheduler and workers have to see the files of the study under the same paths (a shared
folder), and the workers need this version of tapfall with the same fitted numbers, which
is checked.  A scheduler runs whatever it is sent: use only a cluster that is trusted.
"""

from __future__ import annotations

import importlib
import re
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from typing import Any

from tapfall.errors import InputError, SettingError, printable, shown
from tapfall.study.task import Ear, own_ear

#: How long to wait for the scheduler, seconds (our choice).
PATIENCE_S = 10.0

_ADDRESS = re.compile(r"(tcp|tls|ws|wss)://[\w.:\[\]-]+:\d{1,5}", re.ASCII)
_WANTED = "the address of a Dask scheduler, such as tcp://host:8786"


@contextmanager
def cluster(address: str) -> Iterator[tuple[Executor, int]]:
    """Connect to a cluster for as long as the block lasts.

    Parameters
    ----------
    address
        Of the scheduler: ``tcp://host:8786``.

    Yields
    ------
    executor, threads
        What takes tasks, and how many it works on at once.

    Raises
    ------
    SettingError
        Dask is not installed, or nobody answers there.
    InputError
        There are no workers, or one of them has another tapfall.

    Examples
    --------
    >>> try:
    ...     with cluster("nowhere"):
    ...         pass
    ... except SettingError as fault:
    ...     print(str(fault).partition(";")[0])
    --scheduler: found 'nowhere'

    And where a scheduler listens::

        with cluster("tcp://localhost:8786") as (executor, threads):
            run("study.csv", "results", executor=executor, at_once=threads)
    """
    label = printable(address)
    # Checked here: a client that was given anything else is slow to end, and noisy.
    if not _ADDRESS.fullmatch(address):
        raise SettingError(f"--scheduler: found {shown(address)}; allowed {_WANTED}")
    try:
        distributed: Any = importlib.import_module("distributed")
    except ImportError:
        raise SettingError(
            "--scheduler: found no package distributed; allowed once it is installed "
            "(pip install 'tapfall[cluster]')"
        ) from None
    try:
        client = distributed.Client(address, timeout=PATIENCE_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as fault:
        reason = printable(str(fault).partition("\n")[0] or type(fault).__name__)
        raise SettingError(
            f"--scheduler: {label}: found no Dask scheduler ({reason}); allowed {_WANTED}"
        ) from None
    with client:
        threads = sum(client.nthreads().values())
        if not threads:
            raise InputError(f"--scheduler: {label}: found no workers; allowed one or more")
        _check_ears(label, client)
        # Each outcome is asked for once and written down here: nothing is to be kept there.
        yield client.get_executor(pure=False), threads


def _check_ears(label: str, client: Any) -> None:
    try:
        ears: dict[str, Ear] = client.run(own_ear)
    except Exception as fault:  # a worker without tapfall raises whatever it likes
        reason = printable(f"{type(fault).__name__}: {fault}".partition("\n")[0])
        raise InputError(
            f"--scheduler: {label}: found a worker that has no such tapfall ({reason}); allowed "
            f"workers with tapfall {own_ear().version}"
        ) from None
    for worker, ear in ears.items():
        if ear != own_ear():
            raise InputError(
                f"--scheduler: {label}: found tapfall {printable(ear.version)} with fitted numbers "
                f"{printable(ear.fitted_sha256[:8])} on {printable(worker)}; allowed "
                f"{own_ear().version} with {own_ear().fitted_sha256[:8]}, as here"
            )
