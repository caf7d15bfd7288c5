"""Run a study on a cluster of two worker processes and kill one of them in the middle.

A program of its own: Dask leaves threads and settings behind in the process it ran in.
"""

from __future__ import annotations

import json
import os
import signal
import sys

from tapfall.errors import SettingError
from tapfall.study import Progress, cluster, remote, run


def main(manifest: str, folder: str) -> None:
    """Print what came of it, as JSON."""
    import distributed  # here: whoever only looks at this file need not have it

    killed: list[int] = []
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as local:
        first = next(iter(local.workers.values())).pid

        def kill_one(progress: Progress) -> None:
            if progress.done == 1:
                os.kill(first, signal.SIGKILL)
                killed.append(first)

        with cluster(local.scheduler_address) as (executor, threads):
            study = run(manifest, folder, executor=executor, at_once=threads, told=kill_one)
    remote.PATIENCE_S = 0.5
    try:
        with cluster("tcp://127.0.0.1:1"):
            nobody = ""
    except SettingError as fault:
        nobody = str(fault)
    counts = {"killed": len(killed), "threads": threads, "read": study.read}
    print(json.dumps({**counts, "failed": study.failed, "nobody": nobody}))


if __name__ == "__main__":
    main(*sys.argv[1:])
