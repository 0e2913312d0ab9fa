"""A cluster on this computer for the tests, and what a run wrote with and without it."""

from __future__ import annotations

import contextlib
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import distributed
from places import child_env
from study_kit import jump_bytes, make

from cmjlab.study.export import write_results
from cmjlab.study.store.batch import Progress
from cmjlab.study.study import Study

FILES = 24
#: Written by a run for people; where they were measured must not show in any of them.
TABLES = ("jumps.csv", "sessions.csv", "checks.csv", "problems.csv", "jumps.parquet")
#: Of scheduler and workers that a test starts by their own commands.
ENV = child_env()


@contextlib.contextmanager
def started(n: int, **more: Any) -> Iterator[distributed.LocalCluster]:
    """Start a scheduler here and workers in processes of their own; its page has any free port."""
    with distributed.LocalCluster(
        n_workers=n, threads_per_worker=1, processes=True, dashboard_address="127.0.0.1:0", **more
    ) as made:
        yield made


@contextlib.contextmanager
def client_of(address: str) -> Iterator[distributed.Client]:
    """Hold a connection of the test's own."""
    with distributed.Client(address, set_as_default=False) as client:
        yield client


@contextlib.contextmanager
def bare_worker(address: str) -> Iterator[subprocess.Popen[bytes]]:
    """Start a worker that nobody starts again when it ends."""
    words = ["-m", "distributed.cli.dask_worker", address, "--no-nanny", "--nthreads", "1"]
    run = subprocess.Popen(
        [sys.executable, *words, "--no-dashboard"], env=ENV, stderr=subprocess.DEVNULL
    )
    try:
        yield run
    finally:
        run.kill()
        run.wait()


def spoiled_study(folder: Path) -> Path:
    """Write a study in which something is wrong with some files; nothing is measured."""
    make(folder, athletes="A01,A02,A03", trials=4)
    recordings = folder / "recordings"
    (recordings / "sub-A01_ses-base1_run-04.csv").write_bytes(jump_bytes(50, copies=3))
    (recordings / "sub-A02_ses-post_run-04.csv").write_bytes(b"\x89PNG no recording")
    (recordings / "sub-A03_ses-post_run-04.csv").write_bytes(b"")
    return folder


def written_alone(folder: Path) -> Path:
    """Return the folder of what one process wrote of a study, beside it."""
    study = Study.open(folder, folder.parent / "alone")
    study.measure(workers=1)
    write_results(study)
    return study.results


def same(results: Path, alone: Path) -> None:
    """Hold every table against the one of one process, byte by byte."""
    for name in TABLES:
        assert (results / name).read_bytes() == (alone / name).read_bytes(), name


def measured(
    folder: Path, results: Path, address: str, progress: Callable[[Progress], None] | None = None
) -> list[Progress]:
    """Measure on a cluster and write the tables; returns what was told."""
    told: list[Progress] = []
    study = Study.open(folder, results)
    study.measure(progress=progress or told.append, cluster=address)
    write_results(study)
    return told
