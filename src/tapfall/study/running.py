"""A study from its manifest to its results, again and again until all is done.

At any moment at most ``at_once`` recordings are under way whose rows are not yet written:
so many, and no more, are read again after the process was killed.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tapfall.errors import MisuseError, SettingError, printable
from tapfall.files.names import PathLike
from tapfall.study.folder import Appending, locked
from tapfall.study.ledger import Ledger, Outline
from tapfall.study.manifest import Manifest, read_manifest
from tapfall.study.pool import UNGUARDED, LocalPool, ThisProcess, can_spawn, cores, refuse_again
from tapfall.study.record import StudyCounts
from tapfall.study.rows import COLUMNS
from tapfall.study.tables import Tables, compare_all, write_tables
from tapfall.study.task import Choices, Outcome, Task, work

#: Most workers of one machine, and recordings under way (our choice).
MOST_WORKERS = 1024
#: So many recordings in a row without any outcome: not they, but the workers are at fault.
LOST_IN_A_ROW = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far a study is.

    ``done`` of ``total`` recordings have their row, ``kept`` of them from earlier runs,
    ``failed`` without a reading; ``left_s`` is the time left, ``None`` while unknown.
    """

    done: int
    total: int
    failed: int
    kept: int
    left_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """What a run came to.

    Of ``simulated`` recordings it is known that no person was measured.
    ``kept`` recordings were read before and not again; ``dropped`` rows of earlier runs
    belong to recordings that the manifest no longer names; ``outline`` tells what became of
    each, ``tables`` hold the readings against the observers.
    """

    folder: Path
    manifest: Manifest
    read: int
    failed: int
    simulated: int
    kept: int
    dropped: int
    outline: Outline
    tables: Tables


def run(
    manifest: Manifest | PathLike,
    folder: PathLike,
    *,
    executor: Executor | None = None,
    workers: int | None = None,
    at_once: int | None = None,
    choices: Choices | None = None,
    allow_outside: bool = False,
    told: Callable[[Progress], None] | None = None,
) -> Study:
    """Read every recording of a study; what is done already is not done again.

    Parameters
    ----------
    manifest
        The file, or what :func:`tapfall.study.read_manifest` made of it.
    folder
        Where the results go: ``results.csv``, ``readings`` and the tables of
        :mod:`tapfall.study.tables`; made where it is missing.
    executor
        What reads recordings, each by a call of its own; it is not shut down.  Worker
        processes of this machine unless one is given.
    workers
        How many of those; as many as there are cores unless given.  A script from standard
        input, which no worker could run again, reads by itself unless they are given.
    at_once
        How many recordings are handed out at a time; as many as there are workers, or
        cores, unless given.
    choices
        What is chosen for all recordings.
    allow_outside
        Whether the manifest may name files outside its folder.
    told
        Called with the progress after every row.

    Returns
    -------
    Study
        Counts, and where everything is.

    Raises
    ------
    ManifestError
        The manifest cannot be used; nothing was read.
    InputError
        The folder cannot be used, or another study is at work in it.
    SettingError
        A number is outside what is allowed.
    MisuseError
        The executor takes no more work, nothing comes back, or no worker can begin, because
        a script calls this without the guard below; all rows so far are kept.
    KeyboardInterrupt
        Ctrl-C: it says how many recordings are done; all rows so far are kept.

    Examples
    --------
    >>> import pathlib, tempfile
    >>> from concurrent.futures import ThreadPoolExecutor
    >>> from tapfall.files import save
    >>> from tapfall.synth import Scenario, simulate
    >>> recording = simulate(Scenario(seed=3)).recording
    >>> with tempfile.TemporaryDirectory() as place, ThreadPoolExecutor(1) as executor:
    ...     here = pathlib.Path(place)
    ...     save(recording, here / "r1.wav", here / "r1.csv")
    ...     _ = (here / "study.csv").write_text(
    ...         "recording,subject,audio,cuff\\nr1,p1,r1.wav,r1.csv\\n"
    ...     )
    ...     found = run(here / "study.csv", here / "results", executor=executor)
    ...     (here / "results" / "results.csv").exists()
    True

    With worker processes of this machine, each of which runs the script again::

        if __name__ == "__main__":
            run("study.csv", "results", workers=4)
    """
    refuse_again()
    chosen = choices or Choices()
    own = workers if workers is not None else cores()
    window = at_once if at_once is not None else own
    for name, count in (("workers", own), ("at_once", window)):
        if not 1 <= count <= MOST_WORKERS:
            raise SettingError(f"{name} is {count}; allowed 1 to {MOST_WORKERS}")
    if not isinstance(manifest, Manifest):
        manifest = read_manifest(
            manifest,
            allow_outside=allow_outside,
            cuff_needed=chosen.cuff_channel is None,
            reserved=COLUMNS,
        )
    if executor is None and workers is None and not can_spawn():
        executor, window = ThisProcess(), 1
    with locked(folder) as home:
        ledger = Ledger(home, manifest, chosen)
        ledger.begin()
        todo = [ledger.tasks[one] for one in ledger.missing()]
        if todo:
            with Appending(home) as results, _executor(executor, min(own, len(todo))) as taker:
                _keep(ledger, results, _outcomes(taker, todo, window), told)
        ledger.write()
        tables = compare_all(home, manifest, ledger.read, ledger.simulated)
        counts = StudyCounts(
            recordings=len(ledger.rows),
            read=len(ledger.read),
            failed=ledger.failed,
            subjects=len({entry.subject for entry in manifest.entries}),
            simulated=len(ledger.simulated),
        )
        write_tables(home, manifest, chosen, counts, tables)
        return Study(
            folder=home,
            manifest=manifest,
            read=counts.read,
            failed=ledger.failed,
            simulated=len(ledger.simulated),
            kept=len(ledger.rows) - len(todo),
            dropped=ledger.dropped,
            outline=ledger.outline(),
            tables=tables,
        )


def _keep(
    ledger: Ledger,
    results: Appending,
    outcomes: Iterator[Outcome],
    told: Callable[[Progress], None] | None,
) -> None:
    """Keep outcomes as they come, and tell how far the study is after each."""
    began_s, kept, total = time.monotonic(), len(ledger.rows), len(ledger.tasks)
    try:
        for count, outcome in enumerate(outcomes, 1):
            results.add(ledger.take(outcome))
            if told is not None:
                took_s = time.monotonic() - began_s
                told(
                    Progress(
                        done=kept + count,
                        total=total,
                        failed=ledger.failed,
                        kept=kept,
                        left_s=took_s / count * (total - kept - count),
                    )
                )
    except KeyboardInterrupt:
        raise KeyboardInterrupt(
            f"{len(ledger.rows)} of {total} recordings are done and kept; the same command goes "
            "on with the others"
        ) from None


@contextmanager
def _executor(given: Executor | None, workers: int) -> Iterator[Executor]:
    """The executor that was given, or one of our own that ends with the block."""
    if given is not None:
        yield given
        return
    pool = LocalPool(workers)
    try:
        yield pool
    except BaseException:
        pool.kill()
        raise
    pool.shutdown()


def _outcomes(executor: Executor, todo: Sequence[Task], at_once: int) -> Iterator[Outcome]:
    """Hand out tasks, a few at a time, and yield outcomes as they come."""
    left, under_way, lost = deque(todo), dict[Future[Outcome], Task](), 0
    came = False  # whether anything did
    try:
        while left or under_way:
            while left and len(under_way) < at_once:
                try:
                    future = executor.submit(work, left[0])
                except RuntimeError as fault:  # shut down, or broken
                    if under_way:
                        break
                    raise _ended(str(fault)) from None
                under_way[future] = left.popleft()
            for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                _check_begun(executor, future, came)
                came = True
                task = under_way.pop(future)
                outcome = _outcome(future, task)
                lost = 0 if outcome.key else lost + 1
                yield outcome
            if lost >= LOST_IN_A_ROW:
                raise _ended(f"{lost} recordings in a row came to nothing: {outcome.reason}")
    finally:
        for future in under_way:
            future.cancel()


def _check_begun(executor: Executor, future: Future[Outcome], came: bool) -> None:
    """Refuse worker processes that end before they begin: no recording is at fault.

    Of a pool of the standard library, which breaks as a whole, only results can tell that.
    """
    if future.cancelled() or not isinstance(future.exception(), BrokenExecutor):
        return
    ours = isinstance(executor, LocalPool) and not executor.begun()
    if ours or (isinstance(executor, ProcessPoolExecutor) and not came):
        raise MisuseError(UNGUARDED)


def _outcome(future: Future[Outcome], task: Task) -> Outcome:
    """What a future came to; without an outcome the recording is tried again next time."""
    try:
        return future.result()
    # Some executors cancel with what is no Exception; Ctrl-C must pass.
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException as fault:
        reason = (
            f"the worker ended while it read this recording ({type(fault).__name__}); "
            "it is read again when the study is run again"
        )
    return Outcome(recording=task.recording, key="", reason=printable(reason))


def _ended(why: str) -> MisuseError:
    first = printable(why.partition("\n")[0])
    return MisuseError(
        f"the workers take no more recordings ({first}); allowed to run the study again: "
        "what is done is kept"
    )
