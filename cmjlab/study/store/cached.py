"""Rows of all files of a study: kept ones from the store, the rest measured now."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from cmjlab.method import Method
from cmjlab.study.store.batch import Run, measure_tasks
from cmjlab.study.store.checksum_index import ChecksumIndex
from cmjlab.study.store.cluster import hashed_on_cluster
from cmjlab.study.store.lock import locked
from cmjlab.study.store.one_file import FileResult, Task, unreadable_file
from cmjlab.study.store.parts import CHECK_COLUMNS, JUMP_COLUMNS, Store, frame_of


def can_write(results: Path) -> bool:
    """Return whether results can be kept in a folder, which is made when it is missing."""
    try:
        (results / "store").mkdir(parents=True, exist_ok=True)
    except OSError:
        return False
    return os.access(results / "store", os.W_OK)


def with_checksums(
    tasks: Sequence[Task], index: ChecksumIndex, cluster: str | None = None
) -> tuple[list[Task], list[FileResult]]:
    """Return tasks with the SHA-256 of their files, and rows for files that cannot be opened.

    The latter are never kept: the next run tries again. What lies at a URL is read by the workers
    of a cluster, when there is one.
    """
    ready, unreadable = [], []
    if cluster is not None:
        unknown = [t for t in tasks if t.remote is not None and not index.knows(t.file, t.remote)]
        for task, sha256 in hashed_on_cluster(unknown, cluster):
            if task.remote is not None:
                index.note(task.file, task.remote, sha256)
        index.save({t.file for t in tasks})
    for task in tasks:
        try:
            sha256 = index.sha256(task.file, task.path, remote=task.remote)
            ready.append(replace(task, sha256=sha256))
        except OSError as problem:
            text = f"{task.file}: cannot be opened ({problem.strerror or problem})."
            unreadable.append(unreadable_file(task, text, keep=False))
    return ready, unreadable


def hashed_anew(tasks: Sequence[Task], results: Path | None) -> dict[str, str]:
    """Return the SHA-256 of every file that can be read, from its bytes, and note them in the index."""
    index = ChecksumIndex(None if results is None else results / "store" / "files.json")
    found = {}
    for task in tasks:
        with contextlib.suppress(OSError):  # it becomes a row with its reason when it is measured
            found[task.file] = index.sha256(task.file, task.path, remote=task.remote, anew=True)
    index.save({t.file for t in tasks})
    return found


def hashes_of(rows: pd.DataFrame) -> dict[str, str]:
    """Return the SHA-256 of each file by the rows that were measured from it."""
    return dict(zip(rows["file"], rows["sha256"], strict=True))


@dataclass(frozen=True)
class Rows:
    """Rows of all files, in no special order.

    Attributes
    ----------
    jumps : pandas.DataFrame
        Columns JUMP_COLUMNS of ``cmjlab.study.store.parts``.
    checks : callable
        Returns their checks, columns CHECK_COLUMNS. There are some thirty for each jump and most
        work needs none, so they are read when somebody asks.
    """

    jumps: pd.DataFrame
    checks: Callable[[], pd.DataFrame]


def measured_rows(
    tasks: Sequence[Task],
    method: Method,
    *,
    results: Path | None,
    run: Run,
) -> Rows:
    """Return jumps and checks of all files; only what the store does not hold is measured.

    Parameters
    ----------
    tasks : sequence of Task
        One per file.
    method : Method
    results : Path or None
        Results folder; None: nothing is kept.
    run : Run
        How they are measured, as ``Study.measure`` says.
    """
    index = ChecksumIndex(None if results is None else results / "store" / "files.json")
    ready, fresh = with_checksums(tasks, index, run.cluster)
    if results is None:
        fresh += measure_tasks(ready, method, run=run)
        return Rows(_jumps_in(fresh), lambda: _checks_in(fresh))
    store = Store(results, method.key)
    jumps, missing = _stored(store, ready)
    if missing:
        with locked(store.root, force=run.force):
            jumps, missing = _stored(store, ready)  # another run may have done it
            fresh += measure_tasks(missing, method, store=store, run=run)
            jumps, missing = _stored(store, ready)
    index.save({t.file for t in tasks})
    known = {r.key for r in fresh}
    fresh += measure_tasks([t for t in missing if t.key not in known], method, run=Run())
    if fresh:
        jumps = pd.concat([jumps, _jumps_in(fresh)], ignore_index=True)
    return Rows(jumps, lambda: _all_checks(store, method, ready, jumps, fresh))


def _stored(store: Store, tasks: Sequence[Task]) -> tuple[pd.DataFrame, list[Task]]:
    """Return the kept jumps of these tasks, and the tasks that have none."""
    jumps = store.load_jumps()
    keys = {t.key for t in tasks}
    known = set(jumps["key"])
    if not known <= keys:
        jumps = jumps[jumps["key"].isin(keys)].reset_index(drop=True)
    return jumps, [t for t in tasks if t.key not in known]


def _all_checks(
    store: Store,
    method: Method,
    tasks: Sequence[Task],
    jumps: pd.DataFrame,
    fresh: Sequence[FileResult],
) -> pd.DataFrame:
    """Return the checks of jumps; files whose kept checks cannot be read are measured again."""
    own = _checks_in(fresh)
    wanted = set(jumps.loc[jumps["error"] == "", "key"]) - set(own["key"])
    kept = store.load_checks()
    gone = wanted - set(kept["key"])
    lost = [t for t in tasks if t.key in gone]
    if lost and not store.folder.is_dir():  # somebody removed the results since
        own = pd.concat([own, _checks_in(measure_tasks(lost, method))], ignore_index=True)
    elif lost:
        with locked(store.root):
            measure_tasks(lost, method, store=store)
        kept = store.load_checks()
    if not set(kept["key"]) <= wanted:
        kept = kept[kept["key"].isin(wanted)].reset_index(drop=True)
    return pd.concat([kept, own], ignore_index=True) if len(own) else kept


def _jumps_in(results: Sequence[FileResult]) -> pd.DataFrame:
    return frame_of([j for r in results for j in r.jumps], JUMP_COLUMNS)


def _checks_in(results: Sequence[FileResult]) -> pd.DataFrame:
    return frame_of([c for r in results for c in r.checks], CHECK_COLUMNS)
