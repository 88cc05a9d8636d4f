"""The same backlog on a local cluster of two workers: the same file; a lost worker loses no row."""

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from cuttable.engine.assessor import AssessorCore
from cuttable.engine.backlog.asked import Asked
from cuttable.engine.backlog.cluster import Cluster
from cuttable.engine.backlog.readers import open_backlog
from cuttable.engine.backlog.runner import Runner
from distributed import Client

Run = Callable[..., "subprocess.CompletedProcess[str]"]
PATIENCE = 240.0
"""Seconds that processes may take to be there: a guard against waiting for ever, no goal."""


def start(*words: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-m", "distributed.cli." + words[0], *words[1:]],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[Any]]]:
    """A scheduler and two workers, each a process of its own."""
    told = tmp_path / "scheduler.json"
    processes = [
        start("dask_scheduler", "--port", "0", "--dashboard-address", ":0", "--host", "127.0.0.1",
              "--scheduler-file", str(told))
    ]  # fmt: skip
    deadline = time.monotonic() + PATIENCE
    while not told.exists() and time.monotonic() < deadline:
        time.sleep(0.05)
    while not (text := told.read_text()) and time.monotonic() < deadline:
        time.sleep(0.05)
    address = json.loads(text)["address"]
    processes += [
        start("dask_worker", address, "--nthreads", "1", "--nworkers", "1", "--no-dashboard",
              "--name", name, "--local-directory", str(tmp_path / name))
        for name in ("w0", "w1")
    ]  # fmt: skip
    try:
        # The tool gives a scheduler ten seconds to answer; how long it starts is no matter of it.
        with Client(address, timeout=PATIENCE, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=PATIENCE)
        yield address, processes[1:]
    finally:
        for process in processes:
            process.terminate()
        for process in processes:
            process.wait(timeout=PATIENCE)


def backlog(path: Path, rows: int) -> None:
    lines = [
        f"J{row},tube {30 + 10 * (row % 18)} x {2 + row % 5} mm,{900 + 50 * (row % 120)} mm"
        for row in range(rows)
    ]
    path.write_text("job,section,length\n" + "\n".join([*lines, "bad,nonsense,6 m"]) + "\n")


def test_the_cluster_gives_the_file_of_one_machine(
    cuttable: Run, cluster: tuple[str, list[Any]], tmp_path: Path
) -> None:
    """Parquet in and out by the real command, against a run without a cluster."""
    source = tmp_path / "a.csv"
    backlog(source, 3000)
    words = ["batch", str(source), "--machine", "rowan-150", "--machine", "alder-320"]
    here, there = tmp_path / "here.parquet", tmp_path / "there.parquet"
    one = cuttable(*words, "--out", str(here))
    two = cuttable(*words, "--out", str(there), "--scheduler", cluster[0])
    assert one.returncode == two.returncode == 2, two.stderr
    assert one.stdout.splitlines()[1:] == two.stdout.splitlines()[1:]
    assert pq.read_table(here).equals(pq.read_table(there))


def test_a_lost_worker_loses_no_row(cluster: tuple[str, list[Any]], tmp_path: Path) -> None:
    """One of two workers is killed while they work: every row is answered, and the same."""
    source = tmp_path / "a.csv"
    backlog(source, 6000)
    assessor = AssessorCore()
    asked = Asked((assessor.catalogue.machine("alder-320"),))
    chunk = next(iter(open_backlog(source).chunks()))
    expected = Runner(assessor, asked, 1).answer(chunk.columns, chunk.rows, 1, chunk.faults)
    decider = Cluster(cluster[0], assessor.rule_set.digest)
    submit, killed = decider._client.submit, []

    def submit_and_kill(*words: Any, **options: Any) -> Any:
        future = submit(*words, **options)
        if not killed:
            os.kill(cluster[1][0].pid, 9)
            killed.append(True)
        return future

    decider._client.submit = submit_and_kill
    runner = Runner(assessor, asked, decider=decider)
    found = runner.answer(chunk.columns, chunk.rows, 1, chunk.faults)
    runner.close()
    assert killed
    assert found.num_rows == 6001
    assert found.equals(expected)


def test_no_scheduler_is_told(cuttable: Run, tmp_path: Path) -> None:
    """A code and a remedy, not a wait without end."""
    source = tmp_path / "a.csv"
    backlog(source, 3)
    done = cuttable(
        "batch", str(source), "--out", str(tmp_path / "b.csv"), "--scheduler", "tcp://127.0.0.1:1"
    )
    assert done.returncode == 2
    assert "[cluster-unreachable]" in done.stderr
