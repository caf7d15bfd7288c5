"""A run over real processes: some die, some are killed, some are a cluster."""

from __future__ import annotations

import importlib.util
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import BrokenExecutor
from pathlib import Path

import pytest

from tapfall.errors import MisuseError, SettingError
from tapfall.study import cluster, run
from tapfall.study.pool import LocalPool
from tests.signals import heed_interrupts
from tests.study.made import Counting, Poisoned, rows_of, study_of

ROOT = Path(__file__).parents[2]


@pytest.fixture
def pool() -> Iterator[LocalPool]:
    """Two worker processes."""
    found = LocalPool(2)
    yield found
    found.kill()


def test_a_worker_that_dies_takes_only_its_own_task_along(pool: LocalPool) -> None:
    pids = [pool.submit(os.getpid).result(), pool.submit(os.getpid).result()]
    dying, living = pool.submit(os._exit, 3), pool.submit(time.sleep, 0.3)
    with pytest.raises(BrokenExecutor):
        dying.result()
    assert living.result() is None
    after = {pool.submit(os.getpid).result() for _ in range(4)}
    assert os.getpid() not in {*pids, *after}
    assert after - set(pids)


def test_workers_run_one_thread_and_leave_ctrl_c_to_the_study(pool: LocalPool) -> None:
    before = dict(os.environ)
    assert pool.submit(os.getenv, "OPENBLAS_NUM_THREADS").result() == "1"
    assert pool.submit(signal.getsignal, signal.SIGINT).result() == signal.SIG_IGN
    assert dict(os.environ) == before


def test_workers_can_be_ended_in_the_middle(pool: LocalPool) -> None:
    running = pool.submit(time.sleep, 60.0)
    pool.kill()
    with pytest.raises(BrokenExecutor):
        running.result(timeout=30)


def test_a_recording_that_kills_its_worker_is_one_failed_row(
    tmp_path: Path, made: Path, pool: LocalPool
) -> None:
    manifest = study_of(tmp_path, made, 4)
    study = run(manifest, tmp_path / "out", executor=Poisoned(pool, "r1"), at_once=2)
    assert (study.read, study.failed) == (3, 1)
    rows = rows_of(tmp_path / "out" / "results.csv")
    assert [row["outcome"] for row in rows] == ["read", "failed", "read", "read"]
    assert "(BrokenProcessPool)" in rows[1]["reason"]
    executor = Counting()
    assert run(manifest, tmp_path / "out", executor=executor).failed == 0
    assert executor.given == ["r1"]


SCRIPT = """
import tapfall.study
print("run")
tapfall.study.run("study.csv", "out"{how})
"""


def run_script(folder: Path, *argv: str, text: str | None = None) -> tuple[int, str, str]:
    """What a script leaves: its code, output and errors."""
    done = subprocess.run(
        [sys.executable, *argv],
        cwd=folder,
        input=text,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    return done.returncode, done.stdout, done.stderr


def test_a_script_without_its_guard_is_told_so_once(tmp_path: Path, made: Path) -> None:
    study_of(tmp_path, made, 3)
    (tmp_path / "plain.py").write_text(SCRIPT.format(how=", workers=2"))
    code, _, err = run_script(tmp_path, "plain.py")
    assert code == 1
    assert [line.partition(" ")[0] for line in err.splitlines() if line[0] != " "] == [
        "Traceback",
        "tapfall.errors.MisuseError:",
    ]
    assert 'below if __name__ == "__main__": alone' in err.splitlines()[-1]
    assert rows_of(tmp_path / "out" / "results.csv") == []
    guarded = SCRIPT.format(how="").replace(
        "tapfall.study.run", "__name__ == '__main__' and tapfall.study.run"
    )
    (tmp_path / "guarded.py").write_text(guarded)
    assert run_script(tmp_path, "guarded.py")[0] == 0
    assert [row["outcome"] for row in rows_of(tmp_path / "out" / "results.csv")] == ["read"] * 3


def test_a_pool_of_ones_own_without_the_guard(tmp_path: Path, made: Path) -> None:
    study_of(tmp_path, made, 3)
    pool = ", executor=ProcessPoolExecutor(2, multiprocessing.get_context('spawn'))"
    head = "import multiprocessing\nfrom concurrent.futures import ProcessPoolExecutor"
    (tmp_path / "plain.py").write_text(head + SCRIPT.format(how=pool))
    code, _, err = run_script(tmp_path, "plain.py")
    assert code == 1
    assert "tapfall.errors.MisuseError: no worker process came to a result" in err
    assert rows_of(tmp_path / "out" / "results.csv") == []


def test_a_script_from_standard_input_reads_by_itself(tmp_path: Path, made: Path) -> None:
    study_of(tmp_path, made, 2)
    code, out, err = run_script(tmp_path, "-", text=SCRIPT.format(how=""))
    assert (code, out, err) == (0, "run\n", "")
    assert [row["outcome"] for row in rows_of(tmp_path / "out" / "results.csv")] == ["read"] * 2
    code, _, err = run_script(
        tmp_path, "-", text=SCRIPT.format(how=", workers=1").replace("out", "o")
    )
    assert code == 1
    assert "no worker process came to a result" in err.splitlines()[-1]


def test_a_worker_of_others_that_runs_the_script_again_is_refused(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(multiprocessing.current_process(), "_inheriting", True, raising=False)
    with pytest.raises(MisuseError, match="allowed, in a script, a call of run below"):
        run(tmp_path / "none.csv", tmp_path / "out", executor=Counting())
    assert not (tmp_path / "out").exists()


def children_of(pid: int) -> set[int]:
    """Processes whose parent is another; none where that cannot be told."""
    found = set()
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = path.read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[1]) == pid and fields[0] != "Z":
            found.add(int(path.parent.name))
    return found


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc to see children")
def test_killed_in_the_middle(tmp_path: Path, made: Path) -> None:
    manifest, out = study_of(tmp_path, made, 6), tmp_path / "out"
    whole = tmp_path / "whole"
    run(manifest, whole, executor=Counting())
    command = [sys.executable, "-m", "tapfall", "study", str(manifest), "-o", str(out)]
    process = subprocess.Popen(
        [*command, "--workers", "1"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    results = out / "results.csv"
    while process.poll() is None and not (
        results.exists() and results.read_bytes().count(b"\n") > 1
    ):
        time.sleep(0.005)
    workers = children_of(process.pid)
    process.kill()
    process.wait()
    written = [row["recording"] for row in rows_of(results)]
    executor = Counting()
    study = run(manifest, out, executor=executor)
    assert (study.read, study.failed) == (6, 0)
    assert written
    assert not set(executor.given) & set(written)
    assert results.read_bytes() == (whole / "results.csv").read_bytes()
    # The workers saw that nobody is left to work for.
    assert workers
    for _ in range(400):
        if not [pid for pid in workers if b"spawn_main" in cmdline(pid)]:
            break
        time.sleep(0.05)
    else:
        pytest.fail("workers go on")


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ended_by_a_signal(tmp_path: Path, made: Path, number: signal.Signals) -> None:
    study_of(tmp_path, made, 6)
    process = subprocess.Popen(
        [sys.executable, "-m", "tapfall", "study", "study.csv", "-o", "out", "--workers", "2"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=heed_interrupts,
    )
    results = tmp_path / "out" / "results.csv"
    while process.poll() is None and not (
        results.exists() and results.read_bytes().count(b"\n") > 1
    ):
        time.sleep(0.005)
    process.send_signal(number)
    out, err = process.communicate(timeout=60)
    done = len(rows_of(results))
    assert (process.returncode, out) == (130, "")
    assert err == (
        f"tapfall: interrupted: {done} of 6 recordings are done and kept; the same command goes "
        "on with the others\n"
    )


def cmdline(pid: int) -> bytes:
    """What a process was started with."""
    try:
        return (Path("/proc") / str(pid) / "cmdline").read_bytes()
    except OSError:
        return b""


@pytest.mark.parametrize("address", ["nonsense", "x://host:1", "tcp://host", "tcp://a b:1", ""])
def test_what_is_no_address(address: str) -> None:
    with (
        pytest.raises(SettingError, match=r"^--scheduler: found .*; allowed the address of a Dask"),
        cluster(address),
    ):
        pass


def test_without_dask(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with (
        pytest.raises(SettingError, match=r"pip install 'tapfall\[cluster\]'"),
        cluster("tcp://localhost:1"),
    ):
        pass


def test_a_cluster_that_loses_a_worker(tmp_path: Path, made: Path) -> None:
    if importlib.util.find_spec("distributed") is None:
        pytest.skip("needs pip install 'tapfall[cluster]'")
    manifest, out = study_of(tmp_path, made, 6), tmp_path / "out"
    done = subprocess.run(
        [sys.executable, "-m", "tests.study.on_cluster", str(manifest), str(out)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert (found["killed"], found["threads"]) == (1, 2)
    assert "tcp://127.0.0.1:1: found no Dask scheduler (" in found["nobody"]
    # Dask gives the killed worker's recording to another, or gives it up: never more.
    assert found["read"] + found["failed"] == 6
    assert found["failed"] <= 1
    executor = Counting()
    again = run(manifest, out, executor=executor)
    assert (again.read, len(executor.given)) == (6, found["failed"])
