"""Whoever of a cluster is killed, nothing that was measured is lost and the run ends as it should."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from typing import Any

import dask
import pytest
from cluster_kit import (
    ENV,
    FILES,
    bare_worker,
    client_of,
    measured,
    same,
    started,
)

import cmjlab as cj
from cmjlab.study.export import write_results
from cmjlab.study.store import cluster
from cmjlab.study.store.batch import Progress
from cmjlab.study.study import Study

# ---- who is killed ----------------------------------------------------------------------------


def _killer(address: str, after: int) -> Any:
    """Return a callback that kills one worker after some files, and notes which."""
    with client_of(address) as client:
        pids = list(client.run(os.getpid).values())
    killed: list[int] = []

    def step(state: Progress) -> None:
        if state.done == after:
            os.kill(pids[0], signal.SIGKILL)
            killed.append(pids[0])

    return step, killed


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is POSIX only")
def test_a_killed_worker_loses_nothing(base, alone, tmp_path):
    with started(2, silence_logs=50) as made:
        step, killed = _killer(made.scheduler_address, after=2)
        measured(base, tmp_path / "r", made.scheduler_address, progress=step)
    assert len(killed) == 1
    same(tmp_path / "r", alone)


@pytest.mark.skipif(os.name != "posix", reason="kill -9 is POSIX only")
def test_a_killed_worker_that_nobody_starts_again_loses_nothing(base, alone, tmp_path):
    with started(0, silence_logs=50) as made:
        address = made.scheduler_address
        with bare_worker(address) as one, bare_worker(address) as other, client_of(address) as c:
            c.wait_for_workers(2, timeout=30)
            step, killed = _killer(address, after=2)
            measured(base, tmp_path / "r", address, progress=step)
            ended = [run.pid for run in (one, other) if run.poll() is not None]
    assert ended == killed != []
    same(tmp_path / "r", alone)


#: In a worker: this file takes the process with it, as one that needs too much memory does.
FATAL = """
import os
from cmjlab.study.store import one_file
usual = one_file.__dict__.setdefault("usual", one_file.measure_file)
def fatal(task, method):
    if task.file == "sub-A01_ses-base1_run-02.csv":
        os._exit(9)
    return usual(task, method)
one_file.measure_file = fatal
"""


@pytest.mark.skipif(os.name != "posix", reason="a process that ends at once")
def test_a_file_that_ends_every_worker_costs_only_itself(base, alone, tmp_path):
    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 0}),
        started(2, silence_logs=50, preload=[FATAL]) as made,
    ):
        table = Study.open(base, tmp_path / "r").measure(cluster=made.scheduler_address)
    bad = table["error"].fillna("").str.contains("every worker that measured it ended")
    assert table["file"][bad].tolist() == ["sub-A01_ses-base1_run-02.csv"]
    told: list[Progress] = []
    study = Study.open(base, tmp_path / "r")
    study.measure(progress=told.append)
    assert [p.what for p in told] == ["sub-A01_ses-base1_run-02.csv"]
    write_results(study)
    same(study.results, alone)


CLIENT = """
import sys
from pathlib import Path
from cmjlab.study.store import batch
from cmjlab.study.study import Study
batch._KEEP_EVERY_FILES = 4
def step(state):
    print(state.done, flush=True)
Study.open(sys.argv[1], sys.argv[2]).measure(progress=step, cluster=sys.argv[3])
"""


def _tasks_of(address: str) -> int:
    with client_of(address) as client:
        return client.run_on_scheduler(lambda dask_scheduler: len(dask_scheduler.tasks))


def _emptied(address: str) -> bool:
    """Return whether nothing is left with the scheduler, after a while at most."""
    until = time.monotonic() + 10
    while time.monotonic() < until:
        if _tasks_of(address) == 0:
            return True
        time.sleep(0.1)
    return False


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
@pytest.mark.parametrize("sign", [signal.SIGKILL, signal.SIGINT])
def test_a_client_that_is_stopped_goes_on_where_it_stood(base, alone, two, tmp_path, sign):
    run = subprocess.Popen(
        [sys.executable, "-c", CLIENT, str(base), str(tmp_path / "r"), two],
        env=ENV,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert run.stdout is not None
    seen = [run.stdout.readline().strip() for _ in range(9)]
    run.send_signal(sign)
    wrong = run.communicate(timeout=30)[1]
    assert seen == [str(i) for i in range(1, 10)], wrong
    assert run.returncode in (-sign, 130, 1), wrong
    assert _emptied(two)
    told = measured(base, tmp_path / "r", two)
    assert len(told) <= FILES - 8
    same(tmp_path / "r", alone)


def test_ctrl_c_keeps_what_was_measured_and_takes_the_tasks_back(base, alone, two, tmp_path):
    def step(state: Progress) -> None:
        if state.done == 5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        Study.open(base, tmp_path / "r").measure(progress=step, cluster=two)
    assert _emptied(two)
    told = measured(base, tmp_path / "r", two)
    assert len(told) == FILES - 5
    same(tmp_path / "r", alone)


@pytest.mark.slow
def test_a_scheduler_that_goes_away_ends_in_one_sentence(base, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "CONNECT_S", 1.0)

    def step(state: Progress) -> None:
        if state.done == 2:
            made.close()

    with started(1, silence_logs=50) as made:
        address = made.scheduler_address
        with pytest.raises(cj.StudyError, match="What was measured is kept; start scheduler"):
            Study.open(base, tmp_path / "r").measure(progress=step, cluster=address)
    told: list[Progress] = []
    Study.open(base, tmp_path / "r").measure(progress=told.append)
    assert len(told) <= FILES - 2


@pytest.mark.slow
def test_workers_that_all_end_are_waited_for_and_then_told(base, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "NOBODY_S", 2.0)
    with started(0, silence_logs=50) as made:
        address = made.scheduler_address
        with bare_worker(address), client_of(address) as client:
            client.wait_for_workers(1, timeout=30)
            step, _ = _killer(address, after=2)
            with pytest.raises(cj.StudyError, match="has had no worker for a while"):
                Study.open(base, tmp_path / "r").measure(progress=step, cluster=address)
