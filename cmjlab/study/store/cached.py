"""Rows of all files of a study: kept ones from the store, the rest measured now."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import pandas as pd

from cmjlab.method import Method
from cmjlab.study.store.batch import Run, measure_tasks
from cmjlab.study.store.checksum_index import ChecksumIndex
from cmjlab.study.store.lock import locked
from cmjlab.study.store.one_file import FileResult, Task, unreadable_file
from cmjlab.study.store.parts import CHECK_COLUMNS, JUMP_COLUMNS, Store, frame_of

Rows = tuple[pd.DataFrame, pd.DataFrame]


def can_write(results: Path) -> bool:
    """Return whether results can be kept in a folder, which is made when it is missing."""
    try:
        (results / "store").mkdir(parents=True, exist_ok=True)
    except OSError:
        return False
    return os.access(results / "store", os.W_OK)


def with_checksums(
    tasks: Iterable[Task], index: ChecksumIndex
) -> tuple[list[Task], list[FileResult]]:
    """Return tasks with the SHA-256 of their files, and rows for files that cannot be opened.

    The latter are never kept: the next run tries again.
    """
    ready, unreadable = [], []
    for task in tasks:
        try:
            ready.append(replace(task, sha256=index.sha256(task.file, task.path)))
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
            found[task.file] = index.sha256(task.file, task.path, anew=True)
    index.save({t.file for t in tasks})
    return found


def hashes_of(rows: pd.DataFrame) -> dict[str, str]:
    """Return the SHA-256 of each file by the rows that were measured from it."""
    return dict(zip(rows["file"], rows["sha256"], strict=True))


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

    Returns
    -------
    tuple of DataFrame
        Columns JUMP_COLUMNS and CHECK_COLUMNS of ``cmjlab.study.store.parts``, in no special order.
    """
    store = Store(results, method.key) if results is not None else None
    index = ChecksumIndex(None if results is None else results / "store" / "files.json")
    ready, fresh = with_checksums(tasks, index)
    jumps, checks, missing = _stored(store, ready)
    if missing and store is None:
        fresh += measure_tasks(missing, method, run=run)
    elif missing and store is not None:
        with locked(store.root, force=run.force):
            jumps, checks, missing = _stored(store, ready)  # another run may have done it
            fresh += measure_tasks(missing, method, store=store, run=run)
    index.save({t.file for t in tasks})
    if not fresh:
        return jumps, checks
    new_jumps = frame_of([j for r in fresh for j in r.jumps], JUMP_COLUMNS)
    new_checks = frame_of([c for r in fresh for c in r.checks], CHECK_COLUMNS)
    return (
        pd.concat([jumps, new_jumps], ignore_index=True),
        pd.concat([checks, new_checks], ignore_index=True),
    )


def _stored(
    store: Store | None, tasks: Sequence[Task]
) -> tuple[pd.DataFrame, pd.DataFrame, list[Task]]:
    """Return the kept rows of these tasks, and the tasks that have none."""
    if store is None:
        return frame_of([], JUMP_COLUMNS), frame_of([], CHECK_COLUMNS), list(tasks)
    jumps, checks = store.load()
    keys = {t.key for t in tasks}
    known = set(jumps["key"])
    if not known <= keys:
        jumps = jumps[jumps["key"].isin(keys)].reset_index(drop=True)
        checks = checks[checks["key"].isin(keys)].reset_index(drop=True)
    return jumps, checks, [t for t in tasks if t.key not in known]
