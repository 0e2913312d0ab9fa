"""Measuring on a cluster: the same bytes as alone, whoever is killed, and sentences that help."""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import distributed
import pandas as pd
import pytest
from places import ROOT
from study_kit import jump_bytes, make
from typer.testing import CliRunner

import cmjlab as cj
from cmjlab.cli.app import app
from cmjlab.keys import ENGINE
from cmjlab.method import Method
from cmjlab.study.export import write_results
from cmjlab.study.store import batch, cluster
from cmjlab.study.store.batch import Progress
from cmjlab.study.study import Study

FILES = 24
#: Written by a run for people; where they were measured must not show in any of them.
TABLES = ("jumps.csv", "sessions.csv", "checks.csv", "problems.csv", "jumps.parquet")


@contextlib.contextmanager
def started(n: int, **more: Any) -> Iterator[distributed.LocalCluster]:
    """Start a scheduler here and workers in processes of their own; its page has any free port."""
    with distributed.LocalCluster(
        n_workers=n, threads_per_worker=1, processes=True, dashboard_address="127.0.0.1:0", **more
    ) as made:
        yield made


@contextlib.contextmanager
def client_of(address: str) -> Iterator[distributed.Client]:
    with distributed.Client(address, set_as_default=False) as client:
        yield client


@pytest.fixture(scope="module")
def two() -> Iterator[str]:
    """Return the address of a cluster with two workers."""
    with started(2) as made:
        yield made.scheduler_address


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a study in which something is wrong with some files; nothing is measured."""
    folder = make(tmp_path_factory.mktemp("cluster") / "base", athletes="A01,A02,A03", trials=4)
    recordings = folder / "recordings"
    (recordings / "sub-A01_ses-base1_run-04.csv").write_bytes(jump_bytes(50, copies=3))
    (recordings / "sub-A02_ses-post_run-04.csv").write_bytes(b"\x89PNG no recording")
    (recordings / "sub-A03_ses-post_run-04.csv").write_bytes(b"")
    return folder


@pytest.fixture(scope="module")
def alone(base: Path) -> Path:
    """Return what one process wrote."""
    study = Study.open(base, base.parent / "alone")
    study.measure(workers=1)
    write_results(study)
    return study.results


def same(results: Path, alone: Path) -> None:
    """Hold every table against the one of one process, byte by byte."""
    for name in TABLES:
        assert (results / name).read_bytes() == (alone / name).read_bytes(), name


def measured(folder: Path, results: Path, address: str, **more: Any) -> list[Progress]:
    """Measure on a cluster and write the tables; returns what was told."""
    told: list[Progress] = []
    study = Study.open(folder, results)
    study.measure(progress=more.pop("progress", told.append), cluster=address)
    write_results(study)
    return told


# ---- the same tables ---------------------------------------------------------------------------


def test_the_command_writes_the_same_bytes_as_one_process(base, alone, two, tmp_path):
    words = ["measure", str(base), "--results", str(tmp_path / "r"), "--cluster", two]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0, done.output
    same(tmp_path / "r", alone)
    errors = pd.read_csv(tmp_path / "r" / "jumps.csv", encoding="utf-8-sig")["error"].dropna()
    assert sorted(e.split(": ")[1][:16] for e in errors) == ["the file is empt", "this is a PNG pi"]


def test_the_workers_measured_and_not_this_process(base, alone, two, tmp_path, monkeypatch):
    def here(task, method):
        raise AssertionError(task.file)

    monkeypatch.setattr(batch, "measure_file", here)
    monkeypatch.setattr(cluster, "measure_file", here)
    told = measured(base, tmp_path / "r", two)
    assert [p.done for p in told] == list(range(1, FILES + 1))
    assert {p.total for p in told} == {FILES}
    same(tmp_path / "r", alone)


def test_the_order_in_which_files_end_does_not_show(base, alone, two, tmp_path, monkeypatch):
    usual, orders = cluster._parts, []
    for turned in (False, True):
        order = [-1, 1][turned]
        monkeypatch.setattr(
            cluster, "_parts", lambda *a, order=order: type(usual(*a))([*usual(*a)][::order])
        )
        told = measured(base, tmp_path / str(turned), two)
        orders.append([p.what for p in told])
        same(tmp_path / str(turned), alone)
    assert orders[0] != orders[1]


def test_weights_of_the_session_are_measured_there_too(base, two, tmp_path):
    folder = Path(shutil.copytree(base, tmp_path / "s"))
    with (folder / "study.toml").open("a", encoding="utf-8") as file:
        file.write('[method]\nbody_weight = "session"\n')
    study = Study.open(folder, tmp_path / "one")
    one = study.measure(workers=1)
    pd.testing.assert_frame_equal(Study.open(folder, tmp_path / "r").measure(cluster=two), one)


@pytest.mark.skipif(sys.platform != "linux", reason="a path that each process sees otherwise")
def test_workers_that_do_not_see_the_study_get_its_bytes(base, alone, two, tmp_path, monkeypatch):
    monkeypatch.chdir(base.parent)
    unseen = Path("/proc/self/cwd/base")
    sent = []
    usual = cluster._with_bytes
    monkeypatch.setattr(cluster, "_with_bytes", lambda task: sent.append(task) or usual(task))
    monkeypatch.setattr(cluster, "measure_file", None)
    measured(unseen, tmp_path / "r", two)
    assert len(sent) == FILES
    same(tmp_path / "r", alone)


def test_a_relative_path_is_seen_by_all(base, alone, two, tmp_path, monkeypatch):
    monkeypatch.chdir(base.parent)
    monkeypatch.setattr(cluster, "_with_bytes", None)
    measured(Path("base"), tmp_path / "r", two)
    same(tmp_path / "r", alone)


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


@contextlib.contextmanager
def bare_worker(address: str) -> Iterator[subprocess.Popen[bytes]]:
    """Start a worker that nobody starts again when it ends."""
    words = ["-m", "distributed.cli.dask_worker", address, "--no-nanny", "--nthreads", "1"]
    run = subprocess.Popen(
        [sys.executable, *words, "--no-dashboard"],
        env=os.environ | {"PYTHONPATH": str(ROOT)}, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        yield run
    finally:
        run.kill()
        run.wait()


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


def test_a_file_that_ends_every_worker_is_told_and_the_others_are_measured(base):
    """Dask gives a part up after some workers; its files are then measured one by one."""
    tasks = [Study.open(base).task(f"sub-A01_ses-base1_run-0{i}.csv") for i in (1, 2)]
    dead = distributed.KilledWorker("part", "a worker", 3)

    class Ended:
        def result(self) -> Any:
            raise dead

    work = cluster._Work(None, "tcp://h:1", cluster.Measuring(Method()), carry=False)
    assert work._results(Ended(), tasks) == []
    assert list(work.waiting) == [[tasks[0]], [tasks[1]]]
    (row,) = work._results(Ended(), tasks[:1])
    assert (row.keep, len(row.jumps)) == (False, 1)
    assert "every worker that measured it ended" in row.jumps[0]["error"]


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
        env=os.environ | {"PYTHONPATH": str(ROOT)},
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


def test_workers_that_all_end_are_waited_for_and_then_told(base, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "NOBODY_S", 2.0)
    with started(0, silence_logs=50) as made:
        address = made.scheduler_address
        with bare_worker(address), client_of(address) as client:
            client.wait_for_workers(1, timeout=30)
            step, _ = _killer(address, after=2)
            with pytest.raises(cj.StudyError, match="has had no worker for a while"):
                Study.open(base, tmp_path / "r").measure(progress=step, cluster=address)


# ---- sentences that help -----------------------------------------------------------------------


@pytest.mark.parametrize(
    "word", ["", "here", "tcp://host", "http://h:1", "tcp://h:1/x", 8786, True]
)
def test_what_is_no_address_is_told_with_those_that_are(base, word, tmp_path):
    with pytest.raises(cj.ArgumentError, match="tcp://HOST:PORT, or tls://HOST:PORT"):
        Study.open(base, tmp_path).measure(cluster=word)


def test_a_scheduler_that_does_not_answer_is_told_soon(base, tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "CONNECT_S", 1.0)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    begun = time.monotonic()
    with pytest.raises(cj.ArgumentError) as stop:
        Study.open(base, tmp_path).measure(cluster=address)
    assert time.monotonic() - begun < 4
    assert f"no scheduler answers at {address} within 1 s. Start one (dask scheduler)" in str(
        stop.value
    )


def test_a_scheduler_without_workers_is_told_with_the_command(base, tmp_path):
    with started(0) as made, pytest.raises(cj.ArgumentError) as stop:
        Study.open(base, tmp_path).measure(cluster=made.scheduler_address)
    assert str(stop.value).endswith(f"Start one: dask worker {made.scheduler_address}")


@pytest.mark.parametrize(
    ("change", "back", "found"),
    [
        ("k.ENGINE = 99", f"k.ENGINE = {ENGINE}", f"cmjlab {cj.__version__} (ENGINE 99)"),
        ("c.__version__ = '0.0.1'", f"c.__version__ = {cj.__version__!r}", "cmjlab 0.0.1 (ENGINE"),
        ("s.modules['cmjlab'] = None", "s.modules['cmjlab'] = c", "no cmjlab that can be used"),
    ],
)
def test_a_worker_of_another_version_is_refused_and_both_are_named(
    base, two, tmp_path, change, back, found
):
    begin = (
        "import sys as s, builtins as b; c = b.c = getattr(b, 'c', None) or __import__('cmjlab');"
    )
    begin += "k = b.k = getattr(b, 'k', None) or __import__('cmjlab.keys').keys;"
    with client_of(two) as client:
        one = sorted(client.nthreads())[0]
        try:
            client.run(exec, f"{begin} {change}", workers=[one])
            with pytest.raises(cj.ArgumentError) as stop:
                Study.open(base, tmp_path).measure(cluster=two)
        finally:
            client.run(exec, f"{begin} {back}", workers=[one])
    assert f"the worker at {one} has {found}" in str(stop.value)
    assert f"this computer has cmjlab {cj.__version__} (ENGINE {ENGINE})" in str(stop.value)
    assert not list(tmp_path.rglob("*.parquet"))


def test_a_worker_that_joined_late_with_another_version_measures_nothing(base):
    with pytest.raises(cj.ArgumentError, match=r"has cmjlab 0\.0\.1 \(ENGINE 1\)"):
        cluster.done_there(cluster.Measuring(Method()), [], ("0.0.1", 1))


def test_a_single_recording_takes_no_cluster(base):
    file = base / "recordings" / "sub-A01_ses-base1_run-01.csv"
    done = CliRunner().invoke(app, ["measure", str(file), "--cluster", "tcp://h:1"])
    assert done.exit_code == 2
    assert "--cluster: for a study folder" in done.output


def test_what_is_kept_already_needs_no_cluster(base, alone, tmp_path):
    """Nothing to measure: nobody is asked, and nothing is waited for."""
    kept = Path(shutil.copytree(alone, tmp_path / "r"))
    told = measured(base, kept, "tcp://127.0.0.1:1")
    # files that cannot be kept are tried again; here all can
    assert told == []
