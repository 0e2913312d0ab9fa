"""Measure many files: with kept results, in parallel when that pays, resumable.

Finished files are kept in parts as the work goes on; a run that was stopped goes on where it
stood. Progress is told through a callback; nothing is printed.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Generator, Sequence
from contextlib import closing
from dataclasses import dataclass

from cmjlab.checks import shown
from cmjlab.errors import ArgumentError
from cmjlab.method import Method
from cmjlab.study.store.cluster import checked_address, measured_on_cluster
from cmjlab.study.store.one_file import FileResult, Task, measure_chunk, measure_file
from cmjlab.study.store.parts import Store

#: Seconds it takes to start worker processes that import the analysis (generous).
POOL_START_S = 3.0
#: More processes are started only when they are expected to be faster by this factor.
_WORTH = 1.2
#: Files measured in this process before "auto" decides.
_TRIAL_FILES = 12
_KEEP_EVERY_S = 10.0
_KEEP_EVERY_FILES = 250


@dataclass(frozen=True)
class Progress:
    """How far a long piece of work is: ``done`` of ``total``, and what was done last."""

    done: int
    total: int
    what: str


ProgressCallback = Callable[[Progress], None]
Results = Generator[FileResult, None, None]


@dataclass(frozen=True)
class Run:
    """How files are measured; nothing in it can change a number.

    Attributes
    ----------
    workers : int or "auto"
        Processes of this computer; "auto" measures some files first and starts more processes
        only when the rest takes longer than starting them.
    progress : callable, optional
        Called with a Progress after each file.
    force : bool
        Go on although another run holds the study's lock.
    cluster : str, optional
        Address of a Dask scheduler whose workers measure instead.
    """

    workers: int | str = "auto"
    progress: ProgressCallback | None = None
    force: bool = False
    cluster: str | None = None

    def __post_init__(self) -> None:
        if self.cluster is not None:
            checked_address(self.cluster)


_HERE = Run()


def n_workers(workers: int | str) -> int:
    """Return how many processes may be used; ArgumentError for anything but "auto" or n >= 1."""
    if workers == "auto":
        count = getattr(os, "process_cpu_count", os.cpu_count)() or 1
        if hasattr(os, "sched_getaffinity"):
            count = len(os.sched_getaffinity(0))
        return int(count)
    if isinstance(workers, bool) or not isinstance(workers, int) or workers < 1:
        raise ArgumentError(
            f"workers: found {shown(workers)}, allowed are 'auto' or a whole number from 1."
        )
    return workers


def measure_tasks(
    tasks: Sequence[Task],
    method: Method,
    *,
    store: Store | None = None,
    run: Run = _HERE,
) -> list[FileResult]:
    """Measure files and keep the results as they come.

    Parameters
    ----------
    tasks : sequence of Task
        What to measure.
    method : Method
    store : Store, optional
        Where results are kept; nothing is kept without it.
    run : Run
        Where, and who is told.

    Returns
    -------
    list of FileResult
        Those that the store does not hold, in the order in which files were finished: without a
        store all of them, else those that may not be kept.
    """
    results: list[FileResult] = []
    waiting: list[FileResult] = []
    done, last = 0, time.monotonic()
    try:
        with closing(_source(tasks, method, run)) as source:  # a cluster is told when we stop
            for result in source:
                done += 1
                (results if store is None or not result.keep else waiting).append(result)
                if run.progress is not None:
                    what = str(result.jumps[0]["file"])
                    run.progress(Progress(done, len(tasks), what))
                late = time.monotonic() - last > _KEEP_EVERY_S
                if store is not None and (late or len(waiting) >= _KEEP_EVERY_FILES):
                    store.append(waiting)
                    waiting, last = [], time.monotonic()
    finally:
        if store is not None:
            store.append(waiting)
    return results


def _source(tasks: Sequence[Task], method: Method, run: Run) -> Results:
    """Return what yields the results: a cluster, or this computer."""
    if run.cluster is not None:
        return measured_on_cluster(tasks, method, run.cluster)
    return _all(tasks, method, run.workers)


def _all(tasks: Sequence[Task], method: Method, workers: int | str) -> Results:
    """Yield results: first in this process, then in several when that is faster."""
    count = min(n_workers(workers), max(len(tasks), 1))
    first = len(tasks) if count == 1 else (_TRIAL_FILES if workers == "auto" else 0)
    begun = time.perf_counter()
    for task in tasks[:first]:
        yield measure_file(task, method)
    rest = tasks[first:]
    if not rest:
        return
    if workers == "auto":
        each = (time.perf_counter() - begun) / first
        alone = each * len(rest)
        if alone < _WORTH * (POOL_START_S + alone / count):
            for task in rest:
                yield measure_file(task, method)
            return
    yield from _parallel(rest, method, count)


def _parallel(tasks: Sequence[Task], method: Method, count: int) -> Results:
    from joblib import Parallel, delayed

    size = max(1, min(50, len(tasks) // (4 * count) or 1))
    whole = [t.anywhere() for t in tasks]  # processes of an earlier run may stand elsewhere
    chunks = [whole[i : i + size] for i in range(0, len(whole), size)]
    pool = Parallel(n_jobs=count, return_as="generator_unordered")
    for part in pool(delayed(measure_chunk)(chunk, method) for chunk in chunks):
        yield from part
