"""Every recording read once and measured by every Method; only what is asked for is kept.

Kept results of the study hold all metrics of one Method. Two hundred Methods of all metrics would
be two hundred stores; here a jump gives a few numbers per Method, and nothing is written.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from cmjlab.errors import CmjlabError
from cmjlab.method import Method
from cmjlab.study.decide.jumps_table import apply_decisions, join_recordings, sort_jumps
from cmjlab.study.store.batch import Progress, ProgressCallback, n_workers
from cmjlab.study.store.one_file import Task, flags_of, jumps_in, read_task

if TYPE_CHECKING:
    from cmjlab.study.study import Study

#: What decisions about a jump need, whatever is asked for.
NEEDED = ("jump_height_m", "body_weight_n", "body_mass_kg")
#: Files that a process measures before it hands them back.
_CHUNK = 6
#: One jump by one Method: stretch, accepted by its own rules, flags, error, metrics.
Measured = tuple[int, bool, str, str, tuple[float, ...]]


@dataclass(frozen=True)
class OfFile:
    """The jumps of one file by each Method, in the order of the Methods."""

    file: str
    jumps: list[list[Measured]]


def measure_by_each(
    tasks: Sequence[Task], methods: Sequence[Method], metrics: Sequence[str]
) -> list[OfFile]:
    """Return the jumps of some files by every Method; each file is read once."""
    return [OfFile(t.file, _of_one(t, methods, metrics)) for t in tasks]


def _of_one(task: Task, methods: Sequence[Method], metrics: Sequence[str]) -> list[list[Measured]]:
    nothing = tuple([float("nan")] * len(metrics))
    try:
        recording = read_task(task)
    except (CmjlabError, OSError) as problem:
        return [[(i, False, "", str(problem), nothing) for i in range(len(task.stretches))]] * len(
            methods
        )
    out = []
    for method in methods:
        jumps: list[Measured] = []
        for stretch, jump in jumps_in(recording, task, method):
            if isinstance(jump, CmjlabError):
                jumps.append((stretch, False, "", str(jump), nothing))
                continue
            values = tuple(jump.metrics.get(m, float("nan")) for m in metrics)
            jumps.append((stretch, jump.accepted, flags_of(jump), "", values))
        out.append(jumps)
    return out


def tables_by_method(
    study: Study,
    methods: Sequence[Method],
    metrics: Sequence[str],
    *,
    workers: int | str = "auto",
    progress: ProgressCallback | None = None,
) -> Iterator[pd.DataFrame]:
    """Yield one table of jumps per Method, with decisions applied, in the order of the Methods.

    Parameters
    ----------
    study : Study
    methods : sequence of Method
    metrics : sequence of str
        Metrics that are kept, beside those of :data:`NEEDED`.
    workers : int or "auto"
    progress : callable, optional
        Called with a Progress after each file.

    Yields
    ------
    pandas.DataFrame
        file, jump, athlete, session, load_kg, accepted, flags, verdict, error and the metrics, in
        the order of the study's own jumps table.
    """
    names = list(dict.fromkeys((*NEEDED, *metrics)))
    tasks = [study.weighed_task(file).anywhere() for file in dict.fromkeys(study.files["file"])]
    borrowed = {(t.file, jump) for t in tasks for jump in t.weights}
    files = list(_every_file(tasks, methods, names, n_workers(workers), progress))
    files.sort(key=lambda f: f.file)
    for number in range(len(methods)):
        rows = _frame(files, number, names)
        if borrowed:
            places = zip(rows["file"], rows["jump"], strict=True)
            rows["weight_borrowed"] = [place in borrowed for place in places]
        yield _with_decisions(rows, study)


def _every_file(
    tasks: Sequence[Task],
    methods: Sequence[Method],
    names: Sequence[str],
    count: int,
    progress: ProgressCallback | None,
) -> Iterator[OfFile]:
    """Yield the files as they are done, in this process or in several."""
    chunks = [tasks[i : i + _CHUNK] for i in range(0, len(tasks), _CHUNK)]
    done = 0
    for part in _chunks(chunks, methods, names, count):
        for one in part:
            done += 1
            if progress is not None:
                progress(Progress(done, len(tasks), one.file))
            yield one


def _chunks(
    chunks: Sequence[Sequence[Task]], methods: Sequence[Method], names: Sequence[str], count: int
) -> Iterator[list[OfFile]]:
    if count == 1 or len(chunks) == 1 or len(methods) == 1:
        yield from (measure_by_each(c, methods, names) for c in chunks)
        return
    from joblib import Parallel, delayed

    pool = Parallel(n_jobs=min(count, len(chunks)), return_as="generator_unordered")
    yield from pool(delayed(measure_by_each)(c, methods, names) for c in chunks)


def _frame(files: Sequence[OfFile], number: int, names: Sequence[str]) -> pd.DataFrame:
    """Return the rows of one Method, as rows of files are kept."""
    rows = [(f.file, j, *one) for f in files for j, one in enumerate(f.jumps[number], start=1)]
    file, jump, stretch, accepted, flags, error, values = zip(*rows, strict=True)
    array: NDArray[np.float64] = np.array(values, dtype=np.float64).reshape(len(rows), len(names))
    frame = pd.DataFrame(array, columns=list(names))
    frame["file"] = pd.array(file, dtype="str")
    frame["jump"], frame["stretch"] = np.array(jump), np.array(stretch)
    frame["accepted_by_rules"] = np.array(accepted, dtype=bool)
    frame["flags"] = pd.array(flags, dtype="str")
    frame["error"] = pd.array(error, dtype="str")
    return frame


def _with_decisions(rows: pd.DataFrame, study: Study) -> pd.DataFrame:
    """Return rows as a person's decisions and checks against other jumps leave them."""
    joined = join_recordings(rows, study.files)
    ordered = sort_jumps(joined, study.settings.session_order, study.athletes)
    jumps, _ = apply_decisions(ordered, study.decided)
    return jumps
